"""Lye against handbooks and libraries. Where a figure is from memory, or a library is known to be wrong, it says so."""

from __future__ import annotations

import math

import chemicals
import numpy as np
import pytest
import thermo.electrochem as electrochem
from iapws.iapws97 import _PSat_T

from controller.chemistry import batch, lye
from controller.chemistry.lye import Lye

CAS = {Lye.NAOH: "1310-73-2", Lye.KOH: "1310-58-3"}
TEMPERATURES_C = np.array([25.0, 40.0, 60.0, 80.0])

# PHREEQC's pitzer.dat (phreeqpython 1.6.2): activity of water at 25 / 40 / 60 / 80 C.
PITZER = [
    (Lye.NAOH, 0.10, [0.8974, 0.8973, 0.8972, 0.8973]),
    (Lye.NAOH, 0.15, [0.8198, 0.8218, 0.8246, 0.8277]),
    (Lye.NAOH, 0.20, [0.7169, 0.7253, 0.7370, 0.7491]),
    (Lye.KOH, 0.10, [0.9241, 0.9245, 0.9251, 0.9257]),
    (Lye.KOH, 0.20, [0.7927, 0.7935, 0.7948, 0.7963]),
    (Lye.KOH, 0.25, [0.6968, 0.6978, 0.6994, 0.7012]),
]


@pytest.mark.parametrize("kind", Lye)
def test_molar_mass_is_the_published_one(kind: Lye) -> None:
    """chemicals: IUPAC."""
    assert kind.molar_mass_g_mol == pytest.approx(chemicals.MW(CAS[kind]), rel=1e-4)


@pytest.mark.parametrize(("kind", "fraction", "activity"), PITZER)
def test_water_activity_follows_the_pitzer_model(kind: Lye, fraction: float, activity: list[float]) -> None:
    assert lye.water_activity(kind, fraction, TEMPERATURES_C) == pytest.approx(activity, rel=0.02)


@pytest.mark.parametrize(("kind", "fraction", "activity"), PITZER)
def test_vapour_pressure_is_that_share_of_pure_waters(kind: Lye, fraction: float, activity: list[float]) -> None:
    """Saturation pressure: iapws."""
    water_kpa = np.array([1000 * _PSat_T(t + 273.15) for t in TEMPERATURES_C])
    assert lye.vapour_pressure_kpa(kind, fraction, TEMPERATURES_C) == pytest.approx(water_kpa * activity, rel=0.02)


@pytest.mark.parametrize(
    ("kind", "kpa"), [(Lye.NAOH, [1.44, 3.51, 10.01, 24.94]), (Lye.KOH, [1.85, 4.39, 12.09, 29.22])]
)
def test_vapour_pressure_at_thirty_percent_is_balejs(kind: Lye, kpa: list[float]) -> None:
    """Balej, Int. J. Hydrogen Energy 10 (1985) 233, with its own saturation pressure (from memory)."""
    assert lye.vapour_pressure_kpa(kind, 0.30, TEMPERATURES_C) == pytest.approx(kpa, rel=0.02)


def test_dilute_lye_boils_a_few_kelvin_above_water() -> None:
    """5 / 10 / 15 / 20 % NaOH at 101.325 kPa: 101.3 / 103.0 / 105.2 / 107.6 C (pitzer.dat with iapws)."""
    assert lye.boiling_point_c(Lye.NAOH, np.array([0.05, 0.10, 0.15, 0.20])) == pytest.approx(
        [101.3, 103.0, 105.2, 107.6], abs=0.6
    )


def test_strong_lye_boils_where_the_handbooks_say() -> None:
    """30 / 40 % NaOH: 118 / 129 C (Perry's Duehring chart, from memory)."""
    assert lye.boiling_point_c(Lye.NAOH, np.array([0.30, 0.40])) == pytest.approx([118.0, 129.0], abs=3.0)


def test_water_boils_at_a_hundred() -> None:
    assert lye.boiling_point_c(Lye.KOH, 0.0) == pytest.approx(99.97, abs=0.02)  # IAPWS: 99.97 C at 101.325 kPa


@pytest.mark.parametrize("kind", Lye)
@pytest.mark.parametrize("temperature_c", [5.0, 20.0, 60.0, 95.0])
def test_density_is_lalibertes(kind: Lye, temperature_c: float) -> None:
    """thermo's implementation of Laliberte and Cooper 2004 with the parameters of 2009."""
    for fraction in (0.0, 0.05, 0.20, 0.30, 0.45):
        published = electrochem.Laliberte_density(temperature_c + 273.15, [fraction], [CAS[kind]])
        assert lye.density_kg_m3(kind, fraction, temperature_c) == pytest.approx(published, rel=1e-9)


@pytest.mark.parametrize(
    ("molality", "temperature_c", "kg_m3"),
    [(2.0, 25.0, 1077.87), (4.0, 25.0, 1147.76), (6.0, 25.0, 1208.66), (6.0, 70.0, 1181.92)],
)
def test_density_of_sodium_hydroxide_is_that_of_the_tables(molality: float, temperature_c: float, kg_m3: float) -> None:
    """advancedthermo.com/electrolytes/density_NaOH.html."""
    fraction = molality * 39.9971 / (1000 + molality * 39.9971)
    assert lye.density_kg_m3(Lye.NAOH, fraction, temperature_c) == pytest.approx(kg_m3, rel=0.003)


def test_density_of_strong_sodium_hydroxide_is_that_of_the_critical_tables() -> None:
    """International Critical Tables, reprinted at soapworld.biz: 24 % at 20 and 60 C, 32 and 50 % at 20 C."""
    ours = [lye.density_kg_m3(Lye.NAOH, w, t) for w, t in ((0.24, 20.0), (0.24, 60.0), (0.32, 20.0), (0.50, 20.0))]
    assert ours == pytest.approx([1262.9, 1238.8, 1349.0, 1525.3], rel=0.007)


def test_density_of_potassium_hydroxide_is_that_of_the_tables() -> None:
    """fizyka.pk.edu.pl/tabele/GesRoztw.htm: 10 / 20 / 30 / 40 % at 18 C."""
    ours = lye.density_kg_m3(Lye.KOH, np.array([0.10, 0.20, 0.30, 0.40]), 18.0)
    assert ours == pytest.approx([1091.0, 1188.0, 1290.0, 1400.0], rel=0.002)


def test_a_hydrometer_table_read_backwards_gives_its_percentages() -> None:
    """The same table: good to 0.3 % by mass."""
    ours = lye.mass_fraction(Lye.KOH, np.array([1091.0, 1188.0, 1290.0, 1400.0]), 18.0)
    assert ours == pytest.approx([0.10, 0.20, 0.30, 0.40], abs=0.003)


@pytest.mark.parametrize(("kind", "most"), [(Lye.NAOH, 0.30), (Lye.KOH, 0.45)])
def test_heat_capacity_is_lalibertes(kind: Lye, most: float) -> None:
    """thermo's implementation of Laliberte 2009."""
    for fraction in (0.01, 0.10, 0.20, most):
        for temperature_c in (5.0, 25.0, 60.0, 90.0):
            published = electrochem.Laliberte_heat_capacity(temperature_c + 273.15, [fraction], [CAS[kind]])
            assert lye.heat_capacity_j_kg_k(kind, fraction, temperature_c) == pytest.approx(published, rel=2e-3)


# Gilliam et al., Int. J. Hydrogen Energy 32 (2007) 359: mol/L, C, S/m.
GILLIAM = [(1, 25, 21.5), (4, 25, 57.0), (6, 25, 62.7), (6, 60, 107.0), (6, 80, 135.0), (8, 80, 139.0)]


@pytest.mark.parametrize(("molarity", "temperature_c", "s_m"), GILLIAM)
def test_conductivity_of_potassium_hydroxide_is_gilliams(molarity: float, temperature_c: float, s_m: float) -> None:
    fraction = 0.0
    for _ in range(30):  # molarity to mass fraction: w = c M / rho(w)
        fraction = (
            molarity * 56.1056 / electrochem.Laliberte_density(temperature_c + 273.15, [fraction], [CAS[Lye.KOH]])
        )
    assert lye.conductivity_s_m(Lye.KOH, fraction, temperature_c) == pytest.approx(s_m, rel=0.01)


@pytest.mark.parametrize(
    ("kind", "s_m", "tolerance"),
    [(Lye.KOH, [2.00, 3.85, 7.50, 17.8], 0.065), (Lye.NAOH, [2.48, 4.86, 9.31, 20.6], 0.03)],
)
def test_conductivity_of_thin_lye_is_the_handbooks(kind: Lye, s_m: list[float], tolerance: float) -> None:
    """CRC Handbook, 91st edition, section 5 (from memory): 0.5 / 1 / 2 / 5 % at 20 C. Gilliam is up to 6 % above it."""
    assert lye.conductivity_s_m(kind, np.array([0.005, 0.01, 0.02, 0.05]), 20.0) == pytest.approx(s_m, rel=tolerance)


# Kohlrausch and Holborn 1898, in Landolt-Boernstein (from memory): %, S/m at 18 C, percent a kelvin.
KOHLRAUSCH = [
    (5, 19.69, 2.01),
    (10, 31.24, 2.17),
    (15, 34.63, 2.49),
    (20, 32.70, 2.99),
    (25, 27.17, 3.68),
    (30, 20.22, 4.50),
]


@pytest.mark.parametrize(("percent", "s_m", "percent_per_k"), KOHLRAUSCH)
def test_conductivity_of_sodium_hydroxide_is_kohlrauschs(percent: float, s_m: float, percent_per_k: float) -> None:
    def of(temperature_c: float) -> float:
        return lye.conductivity_s_m(Lye.NAOH, percent / 100, temperature_c)

    assert of(18.0) == pytest.approx(s_m, rel=0.01)
    assert 100 * (of(19.0) - of(17.0)) / 2 / of(18.0) == pytest.approx(percent_per_k, rel=0.01)


@pytest.mark.parametrize(("percent", "s_m", "percent_per_k"), KOHLRAUSCH)
def test_hot_sodium_hydroxide_conducts_as_its_viscosity_lets_it(
    percent: float, s_m: float, percent_per_k: float
) -> None:
    """Fractional Walden rule with Laliberte's viscosity (thermo), its power from Kohlrausch's coefficient at 18 C."""

    def viscosity(temperature_c: float) -> float:
        return electrochem.Laliberte_viscosity(temperature_c + 273.15, [percent / 100], [CAS[Lye.NAOH]])

    power = percent_per_k / 100 / (math.log(viscosity(17.0) / viscosity(19.0)) / 2)
    for temperature_c in (5.0, 40.0, 60.0, 80.0, 90.0):
        expected = s_m * (viscosity(18.0) / viscosity(temperature_c)) ** power
        assert lye.conductivity_s_m(Lye.NAOH, percent / 100, temperature_c) == pytest.approx(expected, rel=0.05)


def test_hot_sodium_hydroxide_is_of_the_published_order() -> None:
    """20 %, 80 C: 90 to 120 S/m (International Critical Tables, from memory; no table of hot lye could be opened)."""
    assert 90.0 < lye.conductivity_s_m(Lye.NAOH, 0.20, 80.0) < 120.0
    assert lye.conductivity_s_m(Lye.NAOH, 0.20, 25.0) == pytest.approx(39.5, rel=0.02)  # Kohlrausch, 7 K further


def test_thin_lye_freezes_where_ice_and_its_water_activity_meet() -> None:
    """ln a = -(6009.5 J/mol / R)(1/T - 1/273.15) + (38/R)(273.15/T - 1 - ln(273.15/T)), a of pitzer.dat at 25 C."""

    def ice_activity(temperature_c: float) -> float:
        kelvin = temperature_c + 273.15
        ratio = 273.15 / kelvin
        return math.exp(
            -6009.5 / 8.314462 * (1 / kelvin - 1 / 273.15) + 38.0 / 8.314462 * (ratio - 1 - math.log(ratio))
        )

    for kind, fraction, activity in PITZER:
        if (kind, fraction) in {(Lye.NAOH, 0.10), (Lye.KOH, 0.10), (Lye.KOH, 0.20), (Lye.KOH, 0.25)}:
            freezing_c = lye.freezing_point_c(kind, fraction)
            assert ice_activity(freezing_c + 1.0) > activity[0] > ice_activity(freezing_c - 1.0)


def test_sodium_hydroxide_of_thirty_percent_sets_in_a_light_frost() -> None:
    """Producers' charts (from memory): eutectic -28 C at 19 %, about 0 C at 30 %; the two lyes differ most here."""
    assert lye.freezing_point_c(Lye.NAOH, 0.30) == pytest.approx(0.0, abs=4.0)
    assert lye.freezing_point_c(Lye.NAOH, 0.19) == pytest.approx(-28.0, abs=2.0)
    assert lye.freezing_point_c(Lye.KOH, 0.25) < -30.0


@pytest.mark.parametrize(("kind", "cation"), [(Lye.NAOH, "Na+"), (Lye.KOH, "K+")])
def test_heat_of_dissolving_is_the_published_one(kind: Lye, cation: str) -> None:
    """CRC Handbook: the ions in water (thermo) less the solid (chemicals): 44.3 and 57.8 kJ/mol; NBS: 44.5 and 57.6."""
    ions = electrochem.CRC_aqueous_thermodynamics.set_index("Formula")["Hf(aq)"]
    solid = chemicals.reaction.Hfs(CAS[kind], method="CRC")
    assert batch.DISSOLVING_KJ_MOL[kind] == pytest.approx((solid - ions[cation] - ions["OH-"]) / 1000, abs=0.4)


def test_a_twenty_percent_batch_warms_as_much_as_the_handbook_heat_allows() -> None:
    """w/M dH/cp: 61 K (thermo 0.6.1)."""
    made = batch.batch(Lye.NAOH, 0.20, 4.0, temperature_c=20.0)
    assert made.rise_k == pytest.approx(61.0, rel=0.10)


def test_a_litre_of_lye_holds_the_published_grams() -> None:
    """w rho with thermo's density, 20 C: 5 / 10 / 15 / 20 / 25 / 30 % NaOH."""
    grams = [batch.batch(Lye.NAOH, w, 1.0, temperature_c=20.0).pack_g for w in (0.05, 0.10, 0.15, 0.20, 0.25, 0.30)]
    assert grams == pytest.approx([52.7, 110.9, 174.6, 243.7, 318.2, 397.7], rel=0.003)
