"""What harm is, on one rig: bounds of the true plant, which faults lead there, and which part would see it coming.

Judged on the plant's truth, never on a sensor's word. Prices are round guesses in euros, from memory, to rank parts by.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from controller.config.defaults import MBAR_PER_MM_AT_1_G_ML
from controller.config.load import CompiledRig
from simulator.plant.observe import Seen
from simulator.rehearsal.runner import Bound

LOWER_FLAMMABLE_PERCENT = 4.0  # hydrogen in air and in oxygen, by volume
OXYGEN_IN_HYDROGEN_PERCENT = 5.0  # of oxygen in hydrogen: where a mixture burns from
FLOOD_MM = 30.0  # in the tray: three litres
CABLE_K = 1.45**2 * 40.0  # a fuse may let 1.45 x the rated current through for an hour: IEC 60364-4-43, from memory
THIN_FRACTION = 0.12  # of hydroxide, under which the lye no longer carries the current it is meant for


class Part(NamedTuple):
    """A part that would have seen a harm coming."""

    signal: str
    words: str
    euro: float
    quantity: str
    sees: float | Callable[[CompiledRig], float | None]  # where its standard limit stands
    rises: bool


class Harm(NamedTuple):
    name: str
    says: str
    quantity: str
    rises: bool
    at: Callable[[CompiledRig], float | None]
    faults: tuple[str, ...]  # the fastest credible ones, for the study
    limits: tuple[str, ...]  # that are there to prevent it
    parts: tuple[Part, ...]


def _seal_mbar(rig: CompiledRig) -> float:
    cell = rig.file.cell
    seal_mbar = cell.seal_depth_mm * cell.lye_g_mL * MBAR_PER_MM_AT_1_G_ML
    return min(seal_mbar, cell.bubble_point_mbar or seal_mbar)


_FLOW = Part("coolant_flow", "a turbine flow meter in the cooling water", 8.0, "coolant_flow_l_min", 0.75, False)
_FLOW_UP = Part(
    "coolant_flow", "a turbine flow meter in the cooling water", 8.0, "coolant_flow_l_min",
    lambda rig: next((limit.threshold for limit in rig.core.limits if limit.name == "coolant flow high"), None), True,
)  # fmt: skip
_LYE = Part("cell_temperature", "a thermometer in a dry well of the cell", 3.0, "cell_temperature_c", 70.0, True)
_OUTLET = Part("coolant_outlet", "a thermometer on the return hose", 3.0, "coolant_outlet_c", 55.0, True)
_FLOOR = Part("dry_floor", "a leak sensor in the tray", 3.0, "tray_mm", 2.0, True)
_ROOM = Part("room_hydrogen", "a hydrogen sensor under the roof", 15.0, "room_h2_percent", 0.8, True)
_HIGH = Part("level_not_high", "a float near the top", 4.0, "level_h_mm", 260.0, True)
_VOLTS = Part("voltage", "a tap for the stack's volts", 8.0, "stack_voltage_v", lambda rig: 3.0 * rig.core.cells, True)
_LEVEL_UP = Part("level_mm", "a level in mm", 25.0, "level_h_mm", 260.0, True)
_LEVEL_DOWN = Part("level_mm", "a level in mm", 25.0, "level_h_mm", 100.0, False)
_OXYGEN = Part("oxygen_in_hydrogen", "an oxygen sensor in the hydrogen", 60.0, "o2_in_h2_percent", 2.0, True)
_PURITY = Part("hydrogen_in_oxygen", "an analyser for hydrogen in the oxygen", 150.0, "h2_in_o2_percent", 2.0, True)
_CURRENT = Part(
    "current", "a shunt with an isolated amplifier", 12.0, "current_a", lambda r: 1.15 * r.core.supply.rated_a, True
)


def _half_seal(rig: CompiledRig) -> float:
    return 0.5 * _seal_mbar(rig)


_PRESSURE_H = Part(
    "pressure_hydrogen", "a pressure sensor on the hydrogen side", 12.0, "pressure_h_mbar", _half_seal, True
)
_PRESSURE_O = Part("pressure_oxygen", "a pressure sensor on the oxygen side", 12.0, "pressure_o_mbar", _half_seal, True)
_FLOAT_H = Part("level_hydrogen", "a float on the hydrogen side", 4.0, "level_h_mm", 100.0, False)
_FLOAT_O = Part("level_oxygen", "a float on the oxygen side", 4.0, "level_o_mm", 100.0, False)

HARMS: tuple[Harm, ...] = (
    Harm(
        "too hot", "the lye gets hotter than the weakest part stands", "cell_temperature_c", True,
        lambda rig: rig.file.cell.weakest_part_C, ("coolant-lost", "supply-constant-voltage"),
        ("over-temperature", "coolant flow low", "coolant outlet hot"), (_LYE, _FLOW, _OUTLET),
    ),
    Harm(
        "hydrogen side bursts through", "gas pressure passes what the lye between the sides holds back",
        "pressure_h_mbar",
        True, _seal_mbar, ("outlet-h-blocked",), ("gas pressure hydrogen side", "pressure difference"), (_PRESSURE_H,),
    ),
    Harm(
        "oxygen side bursts through", "gas pressure passes what the lye between the sides holds back",
        "pressure_o_mbar",
        True, _seal_mbar, ("outlet-o-blocked",), ("gas pressure oxygen side", "pressure difference"), (_PRESSURE_O,),
    ),
    Harm(
        "separator bare, hydrogen side", "the lye sinks below the separator's top edge and the gases can mix",
        "level_h_mm",
        False, lambda rig: 0.0, ("lye-leak",), ("level low hydrogen side", "leak"), (_FLOAT_H, _FLOOR, _LEVEL_DOWN),
    ),
    Harm(
        "separator bare, oxygen side", "the lye sinks below the separator's top edge and the gases can mix",
        "level_o_mm",
        False, lambda rig: 0.0, ("lye-leak",), ("level low oxygen side", "leak"), (_FLOAT_O, _FLOOR, _LEVEL_DOWN),
    ),
    Harm(
        "explosive oxygen", "hydrogen in the oxygen reaches the lower flammable limit", "h2_in_o2_percent", True,
        lambda rig: LOWER_FLAMMABLE_PERCENT, ("separator-torn", "supply-reversed"),
        ("hydrogen in oxygen", "reversed", "reversed volts", "minimum current"), (_VOLTS, _OXYGEN, _PURITY),
    ),
    Harm(
        "explosive hydrogen", "oxygen in the hydrogen reaches the flammable range", "o2_in_h2_percent", True,
        lambda rig: OXYGEN_IN_HYDROGEN_PERCENT, ("separator-torn", "supply-reversed"),
        ("oxygen in hydrogen", "reversed", "reversed volts", "hydrogen in oxygen"), (_VOLTS, _OXYGEN, _PURITY),
    ),
    Harm(
        "explosive room", "hydrogen in the room reaches the lower flammable limit", "room_h2_percent", True,
        lambda rig: LOWER_FLAMMABLE_PERCENT, ("hydrogen-leak", "hydrogen-leak+ventilation-lost"), ("room hydrogen",
        "ventilation lost"),
        (_ROOM,),
    ),
    Harm(
        "flood", "three litres stand in the tray and run over", "tray_mm", True, lambda rig: FLOOD_MM,
        ("hose-off",), ("leak", "coolant flow high"), (_FLOOR, _FLOW_UP),
    ),
    Harm(
        "cable overheats", "the cable gets hotter than its fuse would ever let it", "cable_k", True,
        lambda rig: CABLE_K,
        ("supply-runs-away",), ("over-current", "short"), (_CURRENT,),
    ),
    Harm(
        "lye in the gas line", "lye runs or froths out through a gas outlet", "liquid_in_gas_line", True,
        lambda rig: 0.5,
        ("coolant-into-cell", "lye-froths", "lye-diluted"), ("level high",), (_HIGH, _LEVEL_UP),
    ),
    Harm(
        "lye spoilt", "so much water has come in that the lye is too thin", "mass_fraction", False,
        lambda rig: THIN_FRACTION, ("coolant-into-cell",), ("level high",), (_HIGH, _LEVEL_UP),
    ),
)  # fmt: skip


def bounds_of(rig: CompiledRig, skip: frozenset[str] = frozenset()) -> tuple[Bound, ...]:
    """Every harm as a bound of the true plant. skip: quantities that begin beyond it."""
    found = []
    for harm in HARMS:
        at = harm.at(rig)
        if at is not None and harm.quantity not in skip:
            place = Seen._fields.index(harm.quantity)
            found.append(Bound(harm.name, place, at if harm.rises else None, None if harm.rises else at))
    return tuple(found)


def parts_that_see(rig: CompiledRig, harm: Harm) -> tuple[tuple[Part, Bound], ...]:
    """Parts that are made to see this harm coming, and where each would: of this rig or not, cheapest first."""
    found = []
    for part in sorted(harm.parts, key=lambda p: p.euro):
        sees = part.sees(rig) if callable(part.sees) else part.sees
        if sees is not None:
            place = Seen._fields.index(part.quantity)
            name = f"part {part.signal} {'above' if part.rises else 'below'} {sees:g}"
            found.append((part, Bound(name, place, sees if part.rises else None, None if part.rises else sees)))
    return tuple(found)


BY_NAME = {harm.name: harm for harm in HARMS}
