"""`lyewatch gas` and `room`, and the list of all arithmetic commands: sums a person does by hand.

Only wiring: numbers come from controller.chemistry, words and columns from here.
"""

from __future__ import annotations

import click

from controller.chemistry import constants, efficiency, faraday, gas_safety, thermodynamics
from controller.chemistry import lye as properties
from controller.chemistry import room as rooms
from controller.chemistry.efficiency import HeatingValue
from controller.cli.problems import examples

from .answers import (
    CM2_PER_M2,
    KINDS,
    LITRES_PER_M3,
    ROOM_TEMPERATURE_C,
    Answer,
    Line,
    answering,
    kind_option,
    number_option,
)
from .lye_arithmetic import lye

S_PER_H = 3600.0
LFL_STEPS_PERCENT = (10.0, 25.0, 100.0)  # worth looking at, alarm, burns
AMPERE_AIR_M3_H = 0.05  # EN 50272-3 for a battery room, per ampere and cell

_CELLS = click.option("--cells", type=click.IntRange(min=1), default=1, show_default=True, help="Cells in series.")


@click.command(
    epilog=examples(
        "gas --amps 30 --cells 3 --volts 6.6",
        "gas --amps 30 --cells 3 --volts 6.6 --headspace 0.8 --crossover 1 --crossover-at 9",
    )
)
@number_option("--amps", "Current, A.", least=1e-6)
@_CELLS
@number_option("--volts", "Voltage over all cells together, V.", least=1e-6)
@kind_option(default="koh")
@number_option("--percent", "Strength of the lye, % by mass.", default=25.0)
@number_option("--at", "Temperature of the lye, C.", default=50.0)
@number_option("--headspace", "Gas space of one side with its line and bubbler, L.", required=False)
@number_option("--crossover", "Hydrogen once measured in the oxygen, % by volume ...", required=False)
@number_option("--crossover-at", "... and the current at which it was, A.", required=False)
@answering
def gas(
    amps: float,
    cells: int,
    volts: float,
    kind: str,
    percent: float,
    at: float,
    headspace: float | None,
    crossover: float | None,
    crossover_at: float | None,
) -> Answer:
    """Gas, water, heat and efficiency of an hour at a current."""
    if (crossover is None) != (crossover_at is None):
        raise click.UsageError("--crossover and --crossover-at belong together: one measured point")
    charge_c = amps * S_PER_H
    hydrogen, oxygen = faraday.hydrogen_mol(charge_c, cells), faraday.oxygen_mol(charge_c, cells)
    vapour_kpa = properties.vapour_pressure_kpa(KINDS[kind], percent / 100, at)
    cell_v = volts / cells
    lines = [
        Line("hydrogen_nl_h", "hydrogen, dry, 0 C, 1 atm", faraday.normal_litres(hydrogen), "NL/h", 2),
        Line("hydrogen_room_l_h", "hydrogen, dry, 25 C, 1 atm", faraday.room_litres(hydrogen), "L/h", 2),
        Line(
            "hydrogen_wet_l_h",
            f"hydrogen as it leaves, wet, {at:g} C",
            faraday.gas_litres(hydrogen, at, vapour_pressure_kpa=vapour_kpa),
            "L/h",
            2,
        ),
        Line("hydrogen_g_h", "hydrogen", faraday.hydrogen_g(charge_c, cells), "g/h", 3),
        Line("oxygen_nl_h", "oxygen, dry, 0 C, 1 atm", faraday.normal_litres(oxygen), "NL/h", 2),
        Line("oxygen_g_h", "oxygen", faraday.oxygen_g(charge_c, cells), "g/h", 2),
        Line("water_split_g_h", "water split", faraday.water_g(charge_c, cells), "g/h"),
        Line(
            "water_vapour_g_h",
            "water gone with the gas",
            faraday.evaporated_g(charge_c, vapour_kpa, cells=cells),
            "g/h",
        ),
        Line("power_w", "power", amps * volts, "W", 0),
        Line("heat_w", "heat to carry away", efficiency.heat_w(amps, cell_v, at, cells), "W", 0),
        Line("cell_v", "volts a cell", cell_v, "V", 3),
        Line(
            "reversible_v",
            "volts a cell cannot go under",
            thermodynamics.reversible_voltage_v(
                at, water_activity=properties.water_activity(KINDS[kind], percent / 100, at)
            ),
            "V",
            3,
        ),
        Line(
            "efficiency_hhv_percent",
            "efficiency, higher heating value (HHV)",
            100 * efficiency.energy_efficiency(cell_v, basis=HeatingValue.HHV),
            "%",
        ),
        Line(
            "efficiency_lhv_percent",
            "efficiency, lower heating value (LHV)",
            100 * efficiency.energy_efficiency(cell_v, basis=HeatingValue.LHV),
            "%",
        ),
        Line("energy_kwh_kg", "energy a kilogram", efficiency.energy_kwh_kg(cell_v), "kWh/kg"),
        Line("energy_kwh_nm3", "energy a normal cubic metre", efficiency.energy_kwh_nm3(cell_v), "kWh/Nm3", 2),
    ]
    if headspace is not None:
        lines += _headspace_lines(headspace, hydrogen, oxygen, at, vapour_kpa)
    if crossover is not None and crossover_at is not None:
        lines += _crossover_lines(amps, crossover, crossover_at)
    return Answer(
        f"{amps:g} A through {cells} cell{'s' if cells > 1 else ''} at {volts:g} V, "
        f"{percent:g} % {KINDS[kind].formula} at {at:g} C, every electron counted",
        lines,
        (
            "Measured gas divided by these litres is the Faraday efficiency; mind which litre your meter reads.",
            "Hydrogen burns from 4 to 77 % in air, 4 to 94 % in oxygen. Vent outdoors, high up, no sparks.",
        ),
    )


def _headspace_lines(headspace_l: float, hydrogen: float, oxygen: float, at: float, vapour_kpa: float) -> list[Line]:
    """hydrogen, oxygen: mol an hour."""
    activity = vapour_kpa / thermodynamics.water_vapour_pressure_kpa(at)
    return [
        *(
            Line(
                f"{name}_fit_after_min",
                f"{name} fit to collect after venting for",
                gas_safety.time_until_fit_min(headspace_l, faraday.room_litres(mol) / 60),
                "min",
            )
            for name, mol in (("hydrogen", hydrogen), ("oxygen", oxygen))
        ),
        Line(
            "suck_back_l",
            f"drawn back when it cools to {ROOM_TEMPERATURE_C:g} C",
            gas_safety.suck_back_l(headspace_l, at, ROOM_TEMPERATURE_C, activity),
            "L",
            2,
        ),
        Line("stored_energy_kj", "would burn with", gas_safety.stored_energy_kj(headspace_l), "kJ"),
    ]


def _crossover_lines(amps: float, percent: float, at_amps: float) -> list[Line]:
    """Electrode area cancels: amperes stand for amperes per square metre throughout."""
    leak = gas_safety.crossover_mol_s_m2(percent / 100, at_amps)
    return [
        Line(
            "hydrogen_in_oxygen_percent",
            "hydrogen in the oxygen now",
            100 * gas_safety.hydrogen_in_oxygen(amps, leak),
            "% by volume",
            2,
        ),
        *(
            Line(
                f"minimum_current_{limit}_percent_a",
                f"it reaches {limit} % when current falls to",
                gas_safety.current_density_a_m2(limit / 100, leak),
                "A",
            )
            for limit in (1, 2)
        ),
    ]


@click.command(
    epilog=examples(
        "room --floor 12 --height 2.5 --amps 30 --cells 3",
        "room --floor 12 --height 2.5 --amps 30 --cells 3 --air 60 --opening 200 --between 1.8 --stored 20",
    )
)
@number_option("--floor", "Floor area, m2.")
@number_option("--height", "Height of the room, m.")
@number_option("--amps", "Current, A.", least=1e-6)
@_CELLS
@number_option("--layer", "Depth of the layer in which the gas gathers, m (a guess).", default=0.3)
@number_option("--air", "Fresh air from the fan, m3/h.", required=False)
@number_option("--opening", "Free area of a low and of a high opening, cm2 each ...", required=False)
@number_option("--between", "... and the height between them, m.", required=False)
@number_option("--stored", "Gas in store that could escape at once, L.", required=False)
@answering
def room(
    floor: float,
    height: float,
    amps: float,
    cells: int,
    layer: float,
    air: float | None,
    opening: float | None,
    between: float | None,
    stored: float | None,
) -> Answer:
    """If all the hydrogen came into the room: air needed, time left."""
    if (opening is None) != (between is None):
        raise click.UsageError("--opening and --between belong together: two openings and their height apart")
    room_m3, layer_m3 = floor * height, rooms.layer_m3(floor, min(layer, height))
    hydrogen_m3_h = faraday.gas_litres(faraday.hydrogen_mol(amps * S_PER_H, cells), ROOM_TEMPERATURE_C) / LITRES_PER_M3
    needed_m3_h = rooms.dilution_air_m3_h(hydrogen_m3_h, 0.25 * constants.LFL_FRACTION)
    lines = [
        Line("hydrogen_m3_h", "hydrogen, if all of it escapes", hydrogen_m3_h, "m3/h", 3),
        Line("air_25_lfl_m3_h", "fresh air to stay under 25 % LFL (1 % by volume)", needed_m3_h, "m3/h"),
        Line("air_battery_rule_m3_h", "the battery-room rule asks", AMPERE_AIR_M3_H * amps * cells, "m3/h"),
        Line(
            "opening_rule_cm2", "openings for that by themselves, each", rooms.free_opening_cm2(needed_m3_h), "cm2", 0
        ),
    ]
    for step in LFL_STEPS_PERCENT:
        fraction = step / 100 * constants.LFL_FRACTION
        for name, mixed, space_m3 in (("room", "all mixed", room_m3), ("layer", f"{layer:g} m layer", layer_m3)):
            minutes = 60 * rooms.closed_room_hours(hydrogen_m3_h, space_m3, fraction)
            words = f"closed, {mixed}: {step:.0f} % LFL after"
            lines.append(Line(f"closed_{name}_{step:.0f}_lfl_min", words, minutes, "min"))
    if air is not None:
        steady = rooms.hydrogen_fraction(hydrogen_m3_h, air, room_m3, 1000.0)
        lines.append(_lfl_line("fan", f"with {air:g} m3/h, after long", steady))
    if opening is not None and between is not None:
        steady = rooms.natural_fraction(hydrogen_m3_h, opening / CM2_PER_M2, opening / CM2_PER_M2, between)
        lines.append(_lfl_line("natural", "with the two openings alone, no wind", steady))
    if stored is not None:
        for name, words, space_m3 in (("room", "mixed in the room", room_m3), ("layer", "in the layer", layer_m3)):
            share = min(1.0, stored / LITRES_PER_M3 / space_m3)
            lines.append(_lfl_line(f"stored_{name}", f"{stored:g} L let out at once, {words}", share))
    return Answer(
        f"Room of {floor:g} m2 by {height:g} m, {amps:g} A through {cells} cell{'s' if cells > 1 else ''}",
        lines,
        (
            "The gas belongs outdoors by its own line; this is what happens if that fails.",
            "Hydrogen gathers under the ceiling: openings and sensor highest up, nothing that sparks there.",
            "A fan may stop with the mains: the openings alone should hold what is already made.",
        ),
    )


def _lfl_line(name: str, words: str, fraction: float) -> Line:
    return Line(f"{name}_lfl_percent", words, gas_safety.lfl_percent(fraction), "% LFL")


COMMANDS: list[click.Command] = [lye, gas, room]
