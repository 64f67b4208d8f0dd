"""Lye: from side to side through the equalising line, and what of it dries or boils away into the gas."""

from __future__ import annotations

from collections.abc import Callable

from controller.chemistry.constants import GAS_J_MOL_K, ZERO_CELSIUS_K

from . import sides, trouble
from .contents import Contents
from .parameters import Parameters
from .properties import lye_fits

FLOODED_PA_MOL = 3e7  # R T / V of a gas room below 0.1 L
WARM_C = 60.0  # no lye boils below, at any pressure that the seals allow

# Pa that drive lye towards the oxygen side; kg/s of water and of hydroxide that follow, and their temperature, C
LevelsOf = Callable[[Contents, float, float, float], tuple[float, float, float, float]]
# mol/s: what dries away on the hydrogen side, on the oxygen side, steam to each; kg/s of lye thrown out with the steam
DriesOf = Callable[[Contents, float, float, float, float, float, float], tuple[float, float, float, float]]


def levelling(parameters: Parameters) -> LevelsOf:
    """Lye from side to side, positive towards oxygen."""
    y, gravity = parameters.hydraulics, sides.GRAVITY_PER_MM
    offset_pa_mm = sides.GRAVITY_PER_MM * lye_fits(y.lye).density_kg_m3(y.mass_fraction, 20.0)
    equalising_m3_s_pa, nearly_dry_kg, flooded_pa_mol = y.equalising_m3_s_pa, sides.NEARLY_DRY_KG, FLOODED_PA_MOL
    zero_k, gas = ZERO_CELSIUS_K, GAS_J_MOL_K

    def levels(
        held: Contents, level_offset_mm: float, equalising: float, ahead_s: float
    ) -> tuple[float, float, float, float]:
        (
            _, h_c, o_c, lye_h, lye_o, w_h, w_o, density_h, density_o, _, _, gas_h, gas_o,
            pa_mol_h, pa_mol_o, gauge_h_pa, gauge_o_pa, _, _, still_h_mm, still_o_mm,
        ) = held  # fmt: skip
        drive_pa = (
            gauge_h_pa - gauge_o_pa + gravity * (density_h * still_h_mm - density_o * still_o_mm)
            + offset_pa_mm * level_offset_mm
        )  # fmt: skip
        flow = equalising_m3_s_pa * equalising * drive_pa * density_h
        if pa_mol_h > flooded_pa_mol or pa_mol_o > flooded_pa_mol:  # lye squeezes what little gas is left
            stiff_pa_m3 = (
                gas_h * pa_mol_h * pa_mol_h / (h_c + zero_k) + gas_o * pa_mol_o * pa_mol_o / (o_c + zero_k)
            ) / gas
            flow /= 1.0 + ahead_s * equalising_m3_s_pa * equalising * stiff_pa_m3
        if flow > 0.0:
            flow *= lye_h / (lye_h + nearly_dry_kg + flow * ahead_s)
            hydroxide = flow * w_h
            return drive_pa, flow - hydroxide, hydroxide, h_c
        flow *= lye_o / (lye_o + nearly_dry_kg - flow * ahead_s)
        hydroxide = flow * w_o
        return drive_pa, flow - hydroxide, hydroxide, o_c

    return levels


def drying(parameters: Parameters) -> DriesOf:
    """Evaporation, condensation and boiling."""
    vapour_pa = lye_fits(parameters.hydraulics.lye).vapour_pa_of()
    boils, condense = trouble.boiling(parameters), trouble.condense
    surface_mol_s_pa, nearly_dry_kg, warm_c = parameters.heat.evaporation_mol_s_pa, sides.NEARLY_DRY_KG, WARM_C
    atmosphere_pa = parameters.atmosphere_pa

    def dries(
        held: Contents, water_h: float, water_o: float, vapour_h: float, vapour_o: float, cover: float, ahead_s: float
    ) -> tuple[float, float, float, float]:
        """cover: share of the electrodes in lye; water in kg, vapour in mol."""
        (
            stack_c, h_c, o_c, _, _, w_h, w_o, _, _, _, _, _, _, pa_mol_h, pa_mol_o, gauge_h_pa, gauge_o_pa,
            _, _, _, _,
        ) = held  # fmt: skip
        wet = surface_mol_s_pa * water_h / (water_h + nearly_dry_kg)
        evaporate_h = wet * (vapour_pa(w_h, h_c) - vapour_h * pa_mol_h) / (1.0 + wet * ahead_s * pa_mol_h)
        wet = surface_mol_s_pa * water_o / (water_o + nearly_dry_kg)
        evaporate_o = wet * (vapour_pa(w_o, o_c) - vapour_o * pa_mol_o) / (1.0 + wet * ahead_s * pa_mol_o)
        if evaporate_h < 0.0:
            evaporate_h = condense(evaporate_h, vapour_h, ahead_s)
        if evaporate_o < 0.0:
            evaporate_o = condense(evaporate_o, vapour_o, ahead_s)
        if stack_c > warm_c:
            stack_pa = vapour_pa(0.5 * (w_h + w_o), stack_c)
            excess_pa = stack_pa - atmosphere_pa - 0.5 * (gauge_h_pa + gauge_o_pa)
            if excess_pa > 0.0:
                least_kg = water_h if water_h < water_o else water_o
                steam, thrown = boils(excess_pa, stack_pa, stack_c, cover, least_kg, ahead_s)
                return evaporate_h, evaporate_o, steam, thrown
        return evaporate_h, evaporate_o, 0.0, 0.0

    return dries
