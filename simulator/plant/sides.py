"""The two hydraulic sides: how high lye of a given volume stands, and how gas leaves a side through its water seal.

A side is a step-shaped vessel: half of the stack, a narrow riser, a reservoir with a lid. The gas room is what the lye
leaves of it, never a constant: a bubble that surfaces lowers the level and does not raise a shut vessel's pressure.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from .parameters import CellParameters, HydraulicParameters, SideParameters

WATER_PA_MM = 9.80665  # 1000 kg/m3, per mm
GRAVITY_PER_MM = 9.80665e-3  # times a density in kg/m3: Pa per mm of lye
NEARLY_DRY_KG = 0.002  # below this a side gives up its lye ever more slowly
CREEPING_AREA = 1e-4  # share of an electrode that lye wets by creeping up, until there is none

LevelOf = Callable[[float], float]


class Vessel(NamedTuple):
    """Volumes that follow from a side's sizes."""

    lid_m3: float  # all of it
    outlet_m3: float  # lye and bubbles beyond this run out through the gas outlet


def separator_mm(cell: CellParameters) -> float:
    return cell.electrode_height_mm + 2.0 * cell.separator_overlap_mm


def vessel(side: SideParameters, hydraulics: HydraulicParameters) -> Vessel:
    riser_m3 = side.riser_m2 * side.reservoir_from_mm * 1e-3
    reservoir_m3 = side.reservoir_m2 * (side.reservoir_to_mm - side.reservoir_from_mm) * 1e-3
    lid_m3 = side.stack_m3 + riser_m3 + reservoir_m3
    return Vessel(lid_m3, lid_m3 - hydraulics.smallest_gas_m3)


def level(side: SideParameters, cell: CellParameters) -> LevelOf:
    """The function from volume, m3, to height above the separator's top edge, mm."""
    height_mm = separator_mm(cell)
    stack_m3 = side.stack_m3
    stack_mm_m3 = height_mm / stack_m3
    riser_mm_m3 = 1000.0 / side.riser_m2
    reservoir_mm_m3 = 1000.0 / side.reservoir_m2
    from_mm = side.reservoir_from_mm
    riser_to_m3 = stack_m3 + from_mm / riser_mm_m3

    def level_mm(volume_m3: float) -> float:
        if volume_m3 > riser_to_m3:
            return from_mm + (volume_m3 - riser_to_m3) * reservoir_mm_m3
        if volume_m3 > stack_m3:
            return (volume_m3 - stack_m3) * riser_mm_m3
        return (volume_m3 - stack_m3) * stack_mm_m3

    return level_mm


def outflow(
    gauge_pa: float, made_pa_s: float, pa_mol: float, out_mol_s_pa: float, seal_pa: float, lift_pa: float,
    burst_pa: float, burst_mol_s_pa: float, ahead_s: float,
) -> tuple[float, float, float]:  # fmt: skip
    """Gas out through the water seal, air back through it, and gas past a hose that came off, mol/s.

    Solved at the end of a step of ahead_s, so that a small gas room may be filled fast.

    gauge_pa: pressure now; made_pa_s: its rise if nothing left; pa_mol: R T / V; seal_pa: pressure at which gas bubbles
    out; lift_pa: under-pressure at which air comes back. With ahead_s = 0 it is the flow at the pressure now.
    """
    shut_pa = gauge_pa + ahead_s * made_pa_s
    if shut_pa > seal_pa:
        give = ahead_s * pa_mol * out_mol_s_pa
        then_pa = (shut_pa + give * seal_pa) / (1.0 + give)
        if then_pa <= burst_pa:
            return out_mol_s_pa * (then_pa - seal_pa), 0.0, 0.0
        torn = ahead_s * pa_mol * burst_mol_s_pa
        then_pa = (shut_pa + give * seal_pa + torn * burst_pa) / (1.0 + give + torn)
        return out_mol_s_pa * (then_pa - seal_pa), 0.0, burst_mol_s_pa * (then_pa - burst_pa)
    if shut_pa < -lift_pa:
        give = ahead_s * pa_mol * out_mol_s_pa
        then_pa = (shut_pa - give * lift_pa) / (1.0 + give)
        return 0.0, -out_mol_s_pa * (then_pa + lift_pa), 0.0
    return 0.0, 0.0, 0.0


def cover(cell: CellParameters) -> Callable[[float, float], float]:
    """Share of the electrodes in lye, for the lower side's level (mm above the separator's top edge) and water (kg)."""
    overlap_mm, electrode_mm = cell.separator_overlap_mm, cell.electrode_height_mm

    def share(level_mm: float, water_kg: float) -> float:
        if level_mm >= -overlap_mm:
            return 1.0
        wet = 1.0 + (level_mm + overlap_mm) / electrode_mm
        if wet > CREEPING_AREA:
            return wet
        return CREEPING_AREA * water_kg / (water_kg + NEARLY_DRY_KG)

    return share


def void(cell: CellParameters) -> Callable[[float], float]:
    """Share of the gap between the electrodes that bubbles fill, for all bubbles under way, m3."""
    per_m3 = cell.gap_share_of_bubbles / (cell.gap_m * cell.electrode_area_m2 * cell.cells)
    largest = cell.void_largest

    def share(bubbles_m3: float) -> float:
        filled = per_m3 * bubbles_m3
        return filled if filled < largest else largest

    return share
