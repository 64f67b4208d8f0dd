"""Properties of the two lyes a home-built cell is filled with, against mass fraction and temperature.

A mass fraction is grams of hydroxide per gram of solution, 0 to 1. General electrolyte libraries are badly wrong for
concentrated lye (conductivity by a factor of two at 20 % sodium hydroxide), so each property has a correlation made for
it, named beside it, and a range. Temperatures to 120 C are accepted so that a boiling cell can be simulated; the data
behind density, heat capacity and conductivity end between 90 and 100 C, beyond which they are extrapolations.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any, cast

import numpy as np

from .constants import ATMOSPHERE_KPA, ZERO_CELSIUS_K
from .elementwise import elementwise, root
from .errors import within
from .thermodynamics import water_heat_capacity_j_kg_k, water_vapour_pressure_kpa

TEMPERATURE_C = (0.0, 120.0)
VAPOUR_TEMPERATURE_C = (0.0, 200.0)
BOILING_KPA = (5.0, 500.0)
FRACTION = "(share of mass)"


class Lye(Enum):
    """Which hydroxide, with its formula and molar mass in g/mol (IUPAC atomic weights)."""

    NAOH = ("NaOH", 39.9971)
    KOH = ("KOH", 56.1056)

    def __init__(self, formula: str, molar_mass_g_mol: float) -> None:
        self.formula = formula
        self.molar_mass_g_mol = molar_mass_g_mol


@dataclass(frozen=True, slots=True)
class _Coefficients:
    density: tuple[float, float, float, float, float]  # Laliberte and Cooper 2004, parameters of 2009
    heat_capacity: tuple[float, float, float, float, float, float]  # Laliberte 2009
    activity: tuple[float, float, float]  # Balej 1985: polynomial in molality
    activity_slope: tuple[float, float, float]  # Balej 1985: its part that goes with log p*
    density_to: float  # largest mass fraction, here and below
    heat_capacity_to: float
    activity_to: float
    conductivity_to: float
    freezing_to: float
    freezing: tuple[tuple[float, ...], tuple[float, ...]]  # mass fractions, C


_OF = {
    Lye.NAOH: _Coefficients(
        density=(319.020509469838, 528.592358475315, -0.102197896602724, 0.000350420706415566, 765.970470238438),
        heat_capacity=(
            -0.922780764834469,
            -0.0412353462450485,
            1.8722524604359,
            -5.94223565147303,
            3.13007617842649,
            0.141040805508813,
        ),
        activity=(-0.010986, -1.461e-3, 2.03528e-5),
        activity_slope=(-1.34141e-3, 7.07241e-4, -9.5362e-6),
        density_to=0.50,
        heat_capacity_to=0.30,
        activity_to=0.40,
        conductivity_to=0.30,
        freezing_to=0.40,
        # Beyond the eutectic hydrates crystallise: 30 % lye sets solid in an ordinary frost, 20 % does not.
        freezing=(
            (0.0, 0.01, 0.02, 0.04, 0.06, 0.08, 0.10, 0.12, 0.14, 0.19, 0.25, 0.30, 0.32, 0.388, 0.40),
            (0.0, -0.86, -1.74, -3.59, -5.60, -7.87, -10.47, -13.42, -16.76, -28.0, -18.0, 0.0, 5.0, 15.5, 15.0),
        ),
    ),
    Lye.KOH: _Coefficients(
        density=(821.119043254761, 1043.20173374381, 0.112873330222752, 0.00124023636407386, 539.630388368877),
        heat_capacity=(
            -0.612709529812129,
            -0.0454225316920391,
            1.87598005977999,
            -5.62731016809735,
            2.42547035549534,
            1.24500822569176,
        ),
        activity=(-0.01508, -1.6788e-3, 2.25887e-5),
        activity_slope=(-1.2062e-3, 5.6024e-4, -7.8228e-6),
        density_to=0.50,
        heat_capacity_to=0.45,
        activity_to=0.45,
        conductivity_to=0.40,  # beyond, the cubic turns up again when cold
        freezing_to=0.30,  # the eutectic lies just beyond
        freezing=(
            (0.0, 0.01, 0.02, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30),
            (0.0, -0.61, -1.24, -3.36, -8.1, -14.7, -23.3, -36.5, -57.0),
        ),
    ),
}


@elementwise
def molality_mol_kg(lye: Lye, mass_fraction: float) -> float:
    """Hydroxide per kilogram of water, mol/kg. mass_fraction: 0 to 0.5. Source: definition."""
    within("mass_fraction", mass_fraction, 0.0, 0.5, FRACTION)
    return 1000.0 * mass_fraction / (lye.molar_mass_g_mol * (1.0 - mass_fraction))


@elementwise
def density_kg_m3(lye: Lye, mass_fraction: float, temperature_c: float) -> float:
    """Density, kg/m3 (a hydrometer's 1.210 is 1210).

    mass_fraction: 0 to 0.5. temperature_c: 0 to 120 C (data 4 to 95 C for KOH, to 120 C for NaOH).
    Source: Laliberte and Cooper, J. Chem. Eng. Data 49 (2004) 1141, parameters of 2009; within 0.3 % to 25 %, 0.7 % to
    50 % of the tables of the International Critical Tables.

    >>> round(density_kg_m3(Lye.KOH, 0.20, 18.0))
    1188
    """
    of = _OF[lye]
    within("mass_fraction", mass_fraction, 0.0, of.density_to, FRACTION)
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    t, w = temperature_c, mass_fraction
    c0, c1, c2, c3, c4 = of.density
    water = 999.83952 + t * (
        16.945176 + t * (-0.0079870401 + t * (-4.6170461e-5 + t * (1.0556302e-7 - t * 2.8054253e-10)))
    )
    water /= 1.0 + 0.01687985 * t
    solute = (c0 * w + c1) * np.exp(1e-6 * (t + c4) ** 2) / (w + c2 + c3 * t)
    return cast("float", 1.0 / ((1.0 - w) / water + w / solute))


@elementwise
def mass_fraction(lye: Lye, density_kg_m3: float, temperature_c: float) -> float:
    """Mass fraction from a hydrometer reading taken at a temperature; the inverse of density_kg_m3.

    density_kg_m3: from that of water to that of 50 % lye at that temperature, either missed by 1 kg/m3 at most (a
    hydrometer is read no closer; the answer is then 0 or 0.5). temperature_c: 0 to 120 C.
    Good to about 0.003, as the density is. The glass of a hydrometer is taken as unchanged (0.1 % over 40 K).
    Source: density_kg_m3, solved.
    """
    of = _OF[lye]
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    thinnest, thickest = _density(lye, 0.0, temperature_c), _density(lye, of.density_to, temperature_c)
    within("density_kg_m3", density_kg_m3, thinnest - 1.0, thickest + 1.0, "kg/m3 at that temperature")
    return root(lambda w: _density(lye, w, temperature_c) - density_kg_m3, 0.0, of.density_to)


def _density(lye: Lye, fraction: Any, temperature_c: Any) -> Any:
    """density_kg_m3, where an argument has taken that name."""
    return density_kg_m3(lye, fraction, temperature_c)


@elementwise
def heat_capacity_j_kg_k(lye: Lye, mass_fraction: float, temperature_c: float) -> float:
    """Specific heat capacity, J/(kg K).

    mass_fraction: 0 to 0.30 NaOH, 0 to 0.45 KOH. temperature_c: 0 to 120 C. Within 2 %.
    Source: Laliberte, J. Chem. Eng. Data 54 (2009) 1725.
    """
    of = _OF[lye]
    within("mass_fraction", mass_fraction, 0.0, of.heat_capacity_to, FRACTION)
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    a1, a2, a3, a4, a5, a6 = of.heat_capacity
    t, w = temperature_c, mass_fraction
    solute = a1 * np.exp(a2 * t + a3 * np.exp(0.01 * t) + a4 * w) + a5 * w**a6
    return cast("float", (1.0 - w) * water_heat_capacity_j_kg_k(t) + 1000.0 * w * solute)


@elementwise
def conductivity_s_m(lye: Lye, mass_fraction: float, temperature_c: float) -> float:
    """Specific conductivity of the lye free of bubbles, S/m.

    mass_fraction: 0 to 0.30 NaOH, 0 to 0.40 KOH. temperature_c: 0 to 120 C.
    Source: KOH: Gilliam et al., Int. J. Hydrogen Energy 32 (2007) 359, fitted to 12 mol/L and 0 to 100 C; within 6 %.
    NaOH: Kohlrausch's series at 18 C and its temperature coefficients, carried to other temperatures by the
    Vogel-Fulcher form; within 4 % at 15 to 30 C. No table of hot NaOH could be confirmed: expect
    15 % at 80 C, most above 25 %, where it is the more likely too high.
    """
    of = _OF[lye]
    within("mass_fraction", mass_fraction, 0.0, of.conductivity_to, FRACTION)
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    return _CONDUCTIVITY[lye](mass_fraction, temperature_c)


def _conductivity_koh(w: float, temperature_c: float) -> float:
    kelvin = temperature_c + ZERO_CELSIUS_K
    m = w * density_kg_m3(Lye.KOH, w, temperature_c) / Lye.KOH.molar_mass_g_mol  # mol/L
    per_molar = -2.041 + 0.005332 * kelvin + 207.2 / kelvin + m * (-0.0028 - 3e-7 * kelvin**2 + 0.001043 * m)
    return 100.0 * m * per_molar


def _conductivity_naoh(w: float, temperature_c: float) -> float:
    """Kohlrausch and Holborn 1898 (in Landolt-Boernstein, from memory) as two polynomials in mass fraction.

    Near 18 C the coefficient is Kohlrausch's. Its straight line must not be stretched to 80 C: mobilities follow
    exp(-B/(T - T0)). T0 = 160 K + 125 K w follows the viscosity of the lye (Laliberte 2007) to the power that fits the
    coefficient, within 5 % from 5 to 90 C; the same rule applied to KOH meets Gilliam within 3 % at 20 to 40 %.
    """
    at_18_c = w * (485.1715 + w * (-1829.759 + w * (433.852 + w * 3415.123)))
    per_kelvin = 0.02022 + w * (-0.0196143 + w * 0.3414286)
    above_18_c = temperature_c - 18.0
    above_t0 = 18.0 + ZERO_CELSIUS_K - (160.0 + 125.0 * w)
    return cast("float", at_18_c * np.exp(per_kelvin * above_18_c * above_t0 / (above_t0 + above_18_c)))


_CONDUCTIVITY = {Lye.NAOH: _conductivity_naoh, Lye.KOH: _conductivity_koh}


@elementwise
def water_activity(lye: Lye, mass_fraction: float, temperature_c: float) -> float:
    """Vapour pressure over the lye as a share of that over water, 0 to 1.

    mass_fraction: 0 to 0.40 NaOH, 0 to 0.45 KOH. temperature_c: 0 to 200 C. Within 2 % of the Pitzer model from 5 to
    25 % and 25 to 80 C, within 5 % beyond. Source: Balej, Int. J. Hydrogen Energy 10 (1985) 233; it is out of use at
    50 %, where it boils 7 K too hot.
    """
    within("mass_fraction", mass_fraction, 0.0, _OF[lye].activity_to, FRACTION)
    within("temperature_c", temperature_c, *VAPOUR_TEMPERATURE_C, "C")
    of = _OF[lye]
    kelvin = temperature_c + ZERO_CELSIUS_K
    log_p_water = 35.4462 - 3343.93 / kelvin - 10.9 * np.log10(kelvin) + 0.0041645 * kelvin
    m = molality_mol_kg(lye, mass_fraction)
    a1, a2, a3 = of.activity
    b1, b2, b3 = of.activity_slope
    activity: float = 10.0 ** (m * (a1 + m * (a2 + m * a3)) + m * (b1 + m * (b2 + m * b3)) * log_p_water)
    return activity


@elementwise
def vapour_pressure_kpa(lye: Lye, mass_fraction: float, temperature_c: float) -> float:
    """Pressure of water vapour over the lye, kPa. Ranges and source of water_activity, times IAPWS saturation."""
    return water_activity(lye, mass_fraction, temperature_c) * water_vapour_pressure_kpa(temperature_c)


@elementwise
def boiling_point_c(lye: Lye, mass_fraction: float, pressure_kpa: float = ATMOSPHERE_KPA) -> float:
    """Temperature at which the lye boils, C.

    mass_fraction: 0 to 0.40 NaOH, 0 to 0.45 KOH. pressure_kpa: absolute, 5 to 500. Within 1 K to 20 %, 3 K to 40 %.
    Source: vapour_pressure_kpa, solved. 20 % boils only 8 K above water: 60 or 70 C is no boiling limit.
    """
    within("mass_fraction", mass_fraction, 0.0, _OF[lye].activity_to, FRACTION)
    within("pressure_kpa", pressure_kpa, *BOILING_KPA, "kPa")

    def beyond(temperature_c: Any) -> Any:
        return vapour_pressure_kpa(lye, mass_fraction, temperature_c) - pressure_kpa

    return root(beyond, *VAPOUR_TEMPERATURE_C)


@elementwise
def freezing_point_c(lye: Lye, mass_fraction: float) -> float:
    """Temperature at which the first crystals form on cooling, C.

    mass_fraction: 0 to 0.40 NaOH, 0 to 0.30 KOH. Straight lines between the entries of a table; ice below the eutectic
    (19 % NaOH, 31 % KOH), within 1 K to 20 % and 3 K beyond; above it hydrates of NaOH, within 4 K.
    Source: CRC Handbook, section 8, for the dilute end, producers' charts for the rest, both from memory; the ice line
    agrees with the equilibrium of ice and water activity.
    """
    within("mass_fraction", mass_fraction, 0.0, _OF[lye].freezing_to, FRACTION)
    return cast("float", np.interp(mass_fraction, *_OF[lye].freezing))
