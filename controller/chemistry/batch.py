"""Lye by hand: weighing a batch, correcting a filled rig, and what use and air do to it.

A pack's purity is the share of hydroxide in it; the rest is taken as water, which it mostly is. Heats are those of
infinite dilution, which are a few percent above the real ones: the cautious side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .constants import ROOM_C
from .elementwise import elementwise
from .errors import OutOfRange, within
from .lye import FRACTION, Lye, density_kg_m3, heat_capacity_j_kg_k

PURITY = (0.5, 1.0)
LITRES = (0.0, 1000.0)
PORTION_RISE_K = 15.0  # add so much caustic that a portion warms the batch by at most this: a choice of ours
AIR_CO2_FRACTION = 420e-6  # background air, 2023; a closed shed with a heater has several times that
OPEN_SURFACE_M_S = (
    1e-3  # mass transfer to still, open lye: own estimate from gas film and fast reaction, within 3 times
)
AIR_L_MOL = 24.47  # at 25 C and 101.325 kPa

DISSOLVING_KJ_MOL = {Lye.NAOH: 44.5, Lye.KOH: 57.6}  # NBS tables of 1982, pellets, infinite dilution

CAUTIONS = (
    "Caustic into water, never water onto caustic: it spits.",
    "In portions, stirred, the vessel standing in cold water; cooled between portions, cold before it is filled in.",
    "Goggles and gloves, every time. A splash: running water at once, 15 minutes; an eye: then a doctor. No vinegar.",
    "Vessel of polyethylene or polypropylene, never aluminium or zinc: lye makes hydrogen of them.",
    "Plain hydroxide and deionised water only. Drain cleaner with metal chips makes hydrogen in the bucket.",
)


@dataclass(frozen=True, slots=True)
class Batch:
    """What to weigh, and what will happen."""

    pack_g: float  # from the pack, impurity included
    water_g: float
    solution_kg: float
    litres: float  # once cold
    heat_kj: float
    rise_k: float  # if none of the heat could leave
    portions: int


@dataclass(frozen=True, slots=True)
class Correction:
    """How to bring a filled rig to another mass fraction, in either of two ways."""

    add: str  # "water" or "caustic"
    add_g: float  # without draining: the level rises
    litres_after: float
    drain_l: float  # or drain this much lye first ...
    replace_g: float  # ... and add this much instead: the volume stays


def batch(lye: Lye, mass_fraction: float, litres: float, purity: float = 1.0, temperature_c: float = ROOM_C) -> Batch:
    """Grams for a wanted mass fraction and volume.

    mass_fraction: 0 to 0.30 NaOH, 0 to 0.45 KOH. litres: at temperature_c, above 0 to 1000 L. purity: 0.5 to 1, above
    mass_fraction. temperature_c: of the water and of the finished batch, 0 to 60 C.
    Source: lye.density_kg_m3, lye.heat_capacity_j_kg_k; heats of solution from the NBS tables of 1982.
    """
    _made_from_pack(mass_fraction, purity)
    within("litres", litres, 1e-3, LITRES[1], "L")
    within("temperature_c", temperature_c, 0.0, 60.0, "C")
    heat_capacity = heat_capacity_j_kg_k(lye, mass_fraction, temperature_c)
    solution_kg = density_kg_m3(lye, mass_fraction, temperature_c) * litres / 1000.0
    pure_g = 1000.0 * solution_kg * mass_fraction
    heat_kj = pure_g / lye.molar_mass_g_mol * DISSOLVING_KJ_MOL[lye]
    rise_k = 1000.0 * heat_kj / (solution_kg * heat_capacity)
    return Batch(
        pack_g=pure_g / purity,
        water_g=1000.0 * solution_kg - pure_g / purity,
        solution_kg=solution_kg,
        litres=litres,
        heat_kj=heat_kj,
        rise_k=rise_k,
        portions=max(1, math.ceil(rise_k / PORTION_RISE_K)),
    )


def correct(
    lye: Lye,
    now_fraction: float,
    wanted_fraction: float,
    litres: float,
    purity: float = 1.0,
    temperature_c: float = ROOM_C,
) -> Correction:
    """Bring lye in a rig up or down.

    now_fraction, wanted_fraction: above 0 to 0.5. litres: in the rig now, above 0 to 1000 L, at temperature_c (0 to 60
    C). purity: of the pack, 0.5 to 1, above wanted_fraction. Source: mass balance, lye.density_kg_m3.
    """
    within("now_fraction", now_fraction, 1e-4, 0.5, FRACTION)
    within("wanted_fraction", wanted_fraction, 1e-4, 0.5, FRACTION)
    _made_from_pack(wanted_fraction, purity)
    within("litres", litres, 1e-3, LITRES[1], "L")
    within("temperature_c", temperature_c, 0.0, 60.0, "C")
    stronger = wanted_fraction > now_fraction
    added_fraction = purity if stronger else 0.0
    now_kg_l = density_kg_m3(lye, now_fraction, temperature_c) / 1000.0
    wanted_kg_l = density_kg_m3(lye, wanted_fraction, temperature_c) / 1000.0
    now_kg, kept_volume_kg = now_kg_l * litres, wanted_kg_l * litres
    add_kg = now_kg * (wanted_fraction - now_fraction) / (added_fraction - wanted_fraction)
    replace_kg = kept_volume_kg * (wanted_fraction - now_fraction) / (added_fraction - now_fraction)
    return Correction(
        add="caustic" if stronger else "water",
        add_g=1000.0 * add_kg,
        litres_after=(now_kg + add_kg) / wanted_kg_l,
        drain_l=(now_kg - (kept_volume_kg - replace_kg)) / now_kg_l,
        replace_g=1000.0 * replace_kg,
    )


def _made_from_pack(mass_fraction: float, purity: float) -> None:
    within("purity", purity, *PURITY, FRACTION)
    if mass_fraction >= purity:
        raise OutOfRange("mass_fraction", mass_fraction, 0.0, purity, "(share of mass), less than the pack's purity")


@elementwise
def fraction_after(
    mass_fraction: float, lye_kg: float, water_used_kg: float = 0.0, added_kg: float = 0.0, added_fraction: float = 0.0
) -> float:
    """Mass fraction after some water was split or evaporated and something was poured in.

    mass_fraction: 0 to 0.5, of lye_kg (above 0). water_used_kg: 0 to the water there is. added_kg: 0 and up, of water
    (added_fraction 0) or of lye. Electrolysis takes only water, so use alone makes lye stronger.
    Source: mass balance.
    """
    within("mass_fraction", mass_fraction, 0.0, 0.5, FRACTION)
    within("lye_kg", lye_kg, 1e-6, 1e6, "kg")
    within("water_used_kg", water_used_kg, 0.0, 1e6, "kg")
    within("added_kg", added_kg, 0.0, 1e6, "kg")
    within("added_fraction", added_fraction, 0.0, 1.0, FRACTION)
    hydroxide_kg = mass_fraction * lye_kg + added_fraction * added_kg
    left_kg = lye_kg - water_used_kg + added_kg
    within("water left", left_kg - hydroxide_kg, 1e-9, 1e6, "kg")
    return hydroxide_kg / left_kg


@elementwise
def carbonate_open_surface_mol(
    surface_m2: float, hours: float, co2_fraction: float = AIR_CO2_FRACTION, transfer_m_s: float = OPEN_SURFACE_M_S
) -> float:
    """Carbonate taken up by lye standing open in still air, mol.

    surface_m2, hours: 0 and up. co2_fraction: 0 to 0.1. transfer_m_s: 1 mm/s is an own estimate, good to a factor of
    three: natural convection brings about 3 mm/s, the fast reaction with hydroxide takes as much.
    Source: film theory; no measurement.
    """
    within("surface_m2", surface_m2, 0.0, 1e3, "m2")
    within("hours", hours, 0.0, 1e6, "h")
    within("co2_fraction", co2_fraction, 0.0, 0.1, "(share by volume)")
    mol_m3 = co2_fraction * 1000.0 / AIR_L_MOL
    return transfer_m_s * mol_m3 * surface_m2 * hours * 3600.0


@elementwise
def hydroxide_fraction_after_carbonate(lye: Lye, mass_fraction: float, lye_kg: float, carbonate_mol: float) -> float:
    """Mass fraction of hydroxide left, the mass of the lye taken as unchanged.

    mass_fraction: 0 to 0.5. lye_kg: above 0. carbonate_mol: 0 to half the hydroxide. A hydrometer cannot see it:
    carbonate is heavy too. Source: CO2 + 2 OH- -> carbonate + water.
    """
    within("mass_fraction", mass_fraction, 0.0, 0.5, FRACTION)
    within("lye_kg", lye_kg, 1e-6, 1e6, "kg")
    hydroxide_mol = 1000.0 * mass_fraction * lye_kg / lye.molar_mass_g_mol
    within("carbonate_mol", carbonate_mol, 0.0, hydroxide_mol / 2.0, "mol")
    return (hydroxide_mol - 2.0 * carbonate_mol) * lye.molar_mass_g_mol / (1000.0 * lye_kg)
