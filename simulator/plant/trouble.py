"""Flows that a sound bench does not have: gas past the separator, boiling, lye running out. Called only then."""

from __future__ import annotations

from collections.abc import Callable

from controller.chemistry.constants import GAS_J_MOL_K, WATER_G_MOL, ZERO_CELSIUS_K

from .parameters import Parameters
from .properties import lye_fits
from .sides import NEARLY_DRY_KG
from .state import State

WATER_KG_MOL = WATER_G_MOL / 1000.0
SCARCE_KG = 0.02  # lye that a boiling stack can no longer draw on evenly

Passes = tuple[float, float, float, float]  # hydrogen, oxygen, air, vapour, mol/s towards the oxygen side
SeparatorOf = Callable[[State, float, float, float, float, float, float, float, float, float], Passes]


def scarce(wanted: float, held: float, made: float, ahead_s: float) -> float:
    """A flow, mol/s, kept below half of what is made and of what a step could take from what is held."""
    most = 0.5 * (made + held / (1.0 + ahead_s))
    return wanted if wanted < most else most


def condense(evaporates: float, vapour: float, ahead_s: float) -> float:
    """An evaporation below zero, mol/s: at most half of the vapour in one step, as some may pass elsewhere."""
    return max(evaporates, -0.5 * vapour / ahead_s) if ahead_s > 0.0 else evaporates


def separator(parameters: Parameters) -> SeparatorOf:
    """Gas pressed through the wet cloth beyond its bubble point, and mixing over cloth that is bare or torn."""
    y = parameters.hydraulics

    def strays(
        state: State, bare: float, torn: float, drive_pa: float, gas_drive_pa: float,
        pa_mol_h: float, pa_mol_o: float, gas_h: float, gas_o: float, ahead_s: float,
    ) -> Passes:  # fmt: skip
        stiff_s = ahead_s * (pa_mol_h + pa_mol_o)
        beyond_pa = abs(drive_pa) - y.bubble_point_pa
        blow = 0.0
        if beyond_pa > 0.0:
            blow = y.bubble_through_mol_s_pa * beyond_pa / (1.0 + stiff_s * y.bubble_through_mol_s_pa)
            if drive_pa < 0.0:
                blow = -blow
        give = y.uncovered_mol_s_pa * bare
        blow += give * gas_drive_pa / (1.0 + stiff_s * give)
        swap = y.uncovered_mol_s * max(bare, torn)
        there, back = swap + max(blow, 0.0), swap + max(-blow, 0.0)
        there /= gas_h + 2.0 * there * ahead_s
        back /= gas_o + 2.0 * back * ahead_s
        return (
            there * state.h2_h_mol - back * state.h2_o_mol,
            there * state.o2_h_mol - back * state.o2_o_mol,
            there * state.air_h_mol - back * state.air_o_mol,
            there * state.vapour_h_mol - back * state.vapour_o_mol,
        )

    return strays


def boiling(
    parameters: Parameters,
) -> Callable[[float, float, float, float, float, float], tuple[float, float]]:
    """Steam to each side, mol/s, and the lye it throws out with it, kg/s a side."""
    mol_s_pa, carries = 0.5 * parameters.heat.steam_mol_s_pa, parameters.hydraulics.steam_carries_kg_mol
    latent_j_mol = lye_fits(parameters.hydraulics.lye).latent_j_kg * WATER_KG_MOL
    clapeyron_k, cools_k_mol = latent_j_mol / GAS_J_MOL_K, 2.0 * latent_j_mol / parameters.heat.stack_j_k

    def boils(
        excess_pa: float, stack_pa: float, stack_c: float, cover: float, water_kg: float, ahead_s: float
    ) -> tuple[float, float]:
        """stack_pa: vapour pressure in the stack, excess_pa above the gas; water_kg: of the side that has less."""
        give = mol_s_pa * (cover if cover > 0.0 else 0.0)
        pa_k = stack_pa * clapeyron_k / (stack_c + ZERO_CELSIUS_K) ** 2
        steam = give * excess_pa / (1.0 + ahead_s * give * pa_k * cools_k_mol)
        steam *= water_kg / (water_kg + SCARCE_KG + 2.0 * steam * WATER_KG_MOL * ahead_s)
        return steam, steam * carries

    return boils


def pouring(parameters: Parameters) -> Callable[[float, float, float, float, float, float], tuple[float, float]]:
    """Lye that leaves one side, kg/s, and what of it reaches the floor, m3/s: overflow stays in the gas line."""
    overflow_s = parameters.hydraulics.overflow_s

    def pours(
        above_m3: float, thrown_kg_s: float, leak_ml_s: float, density: float, lye_kg: float, ahead_s: float
    ) -> tuple[float, float]:
        leak_m3_s = 0.5e-6 * leak_ml_s  # half of it from each side
        lose = thrown_kg_s + leak_m3_s * density
        if above_m3 > 0.0:
            lose += above_m3 * density / (overflow_s + ahead_s)
        pourable_kg = lye_kg - NEARLY_DRY_KG  # the rest clings
        if pourable_kg <= 0.0:
            return 0.0, 0.0
        given = pourable_kg / (pourable_kg + NEARLY_DRY_KG + lose * ahead_s)
        return lose * given, leak_m3_s * given

    return pours
