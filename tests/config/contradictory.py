"""One changed rig file for each contradiction: what was changed, and which refusal must come of it."""

from __future__ import annotations

from typing import NamedTuple

from tests.config.changed import table

CURRENT, FLOW, VOLTAGE = table("signals.current"), table("signals.coolant_flow"), table("signals.voltage")


class Case(NamedTuple):
    what: str
    changes: tuple[tuple[str, str], ...]
    key: str
    wrong: str
    right: str


def in_table(header: str, old: str, new: str) -> tuple[str, str]:
    """A change within one table of the boathouse."""
    before = table(header)
    assert before.count(old) == 1, (header, old)
    return before, before.replace(old, new)


LIMIT = "limits.{}".format
CASES = [
    Case(
        "two devices on one pin",
        (in_table("signals.level_oxygen", "pin = 16", "pin = 6"),),
        "signals.level_oxygen.pin",
        "pin 6 is taken by signals.level_hydrogen.pin",
        "its own pin",
    ),
    Case(
        "an output on a pin of an input",
        (in_table("outputs.lamp", "pin = 11", "pin = 20"),),
        "signals.level_not_high.pin",
        "pin 20 is taken by outputs.lamp.pin",
        "its own pin",
    ),
    Case(
        "a device on the pin of the 1-Wire bus",
        (in_table("signals.dry_floor", "pin = 21", "pin = 4"),),
        "signals.dry_floor.pin",
        "pin 4 is taken by 1-Wire",
        "its own pin",
    ),
    Case(
        "a device on a pin of the I2C bus",
        (in_table("signals.dry_floor", "pin = 21", "pin = 2"),),
        "signals.dry_floor.pin",
        "pin 2 is taken by I2C data",
        "its own pin",
    ),
    Case(
        "two signals on one converter input",
        (in_table("signals.pressure_oxygen", "plus = 1", "plus = 0"),),
        "signals.pressure_oxygen.plus",
        "input 0 of gas is taken by signals.pressure_hydrogen",
        "of its own",
    ),
    Case(
        "a signal on the reference's input",
        (in_table("signals.pressure_oxygen", "plus = 1", "plus = 3"),),
        "signals.pressure_oxygen.plus",
        "input 3 of gas is taken by converters.gas.reference",
        "of its own",
    ),
    Case(
        "two converters at one address",
        (("address = 0x49", "address = 0x48"),),
        "converters.gas.address",
        "0x48 on bus 1 is taken by converters.power",
        "ADDR",
    ),
    Case(
        "one thermometer twice",
        (("28-0b0a7e110002", "28-0b0a7e110001"),),
        "signals.coolant_outlet.id",
        "28-0b0a7e110001 is taken by signals.cell_temperature",
        "of its own",
    ),
    Case(
        "a limit on a signal that is not there",
        ((FLOW, ""),),
        'limits."coolant flow low"',
        "no signal 'coolant_flow'",
        "Known: current",
    ),
    Case(
        "a limit of one's own on a signal that is not there",
        (
            (
                "\n[timing]\n",
                '\n[limits.mine]\nsignals = ["joint"]\nabove_C = 60\neffect = "trip"\nbecause = "own"\n[timing]\n',
            ),
        ),
        "limits.mine.signals",
        "no signal 'joint'",
        "Known: current",
    ),
    Case(
        "a trip above what the converter can show",
        (("above_A = 45.5", "above_A = 52"), in_table("supply", "fuse_A = 50", "fuse_A = 60")),
        "limits.short.above_A",
        "52 A is never read: current ends at -51.2 and 51.1984 A",
        "a wider range",
    ),
    Case(
        "a trip above what the rail lets through",
        (in_table("converters.power", "supply_V = 3.3", "supply_V = 2.1"),),
        "limits.short.above_A",
        "is never read: current ends at -51.2 and 42.9 A",
        "a wider range",
    ),
    Case(
        "a trip outside the instrument's range",
        (in_table("signals.room_hydrogen", "range_high_percent = 2.2", "range_high_percent = 0.8"),),
        'limits."room hydrogen".above_percent',
        "0.8 % is never read",
        "inside that",
    ),
    Case(
        "a lower trip under the instrument's range",
        (in_table("signals.coolant_flow", "range_low_L_min = 0", "range_low_L_min = 1"),),
        'limits."coolant flow low".below_L_min',
        "0.8 L/min is never read",
        "inside that",
    ),
    Case(
        "a limit at the power-on value of a DS18B20",
        (in_table(LIMIT('"coolant outlet hot"'), "above_C = 55", "above_C = 85"),),
        'limits."coolant outlet hot".above_C',
        "too near 85.0 C",
        "less than 84 or more than 86",
    ),
    Case(
        "an alarm below good running",
        (in_table(LIMIT('"over-temperature warn"'), "above_C = 65", "above_C = 61"),),
        'limits."over-temperature warn".above_C',
        "the alarm at 61 C is not above normal at 62 C",
        "above 62",
    ),
    Case(
        "an alarm at the trip",
        (in_table(LIMIT('"over-temperature warn"'), "above_C = 65", "above_C = 70"),),
        'limits."over-temperature derate".above_C',
        "the derate at 66 C is not above the alarm at 70 C",
        "move the alarm",
    ),
    Case(
        "a derate that ends beyond the trip",
        (("derate_to_C = 69", "derate_to_C = 71"),),
        "limits.over-temperature.above_C",
        "the trip at 70 C is not above the derate's end at 71 C",
        "above 71",
    ),
    Case(
        "a trip above the thermostat",
        (("thermostat_C = 85", "thermostat_C = 68"),),
        "power.thermostat_C",
        "the thermostat at 68 C is not above the trip at 70 C",
        "above 70",
    ),
    Case(
        "a thermostat above the weakest part",
        (("weakest_part_C = 95", "weakest_part_C = 83"),),
        "cell.weakest_part_C",
        "the weakest part at 83 C is not above the thermostat at 85 C",
        "above 85",
    ),
    Case(
        "a fuse that blows before the trip",
        (("fuse_A = 50", "fuse_A = 32"),),
        "supply.fuse_A",
        "the fuse at 32 A is not above the trip at 35 A",
        "above 35",
    ),
    Case(
        "a cable thinner than its fuse",
        (("cable_A = 70", "cable_A = 40"),),
        "supply.cable_A",
        "the cable at 40 A is not above the fuse at 50 A",
        "above 50",
    ),
    Case(
        "a lower alarm under its trip",
        (in_table(LIMIT('"coolant flow warn"'), "below_L_min = 1.1", "below_L_min = 0.7"),),
        'limits."coolant flow low".below_L_min',
        "the trip at 0.8 L/min is not below the alarm at 0.7",
        "below 0.7",
    ),
    Case(
        "a sensor too coarse for its limit",
        (in_table("signals.pressure_oxygen", "error_mbar = 1.0", "error_mbar = 3.7"),),
        "signals.pressure_oxygen.error_mbar",
        "3.7 mbar is a third or more of the 11.1 mbar",
        "under 3.7 mbar",
    ),
    Case(
        "edges too slow for the watchdog relay",
        (("scan_s = 0.1", "scan_s = 0.25"),),
        "scan_s",
        "an edge each 0.25 s is too slow for a watchdog relay that drops after 1 s",
        "at most 0.2",
    ),
    Case(
        "a mandatory signal left out",
        ((table("signals.level_hydrogen"), ""),),
        "signals.level_hydrogen",
        "is missing, and without it nobody sees level low hydrogen side",
        "fitted = false",
    ),
    Case(
        "a coil on a pin that is pulled up at reset",
        (in_table("power.second", "pin = 23", "pin = 3"),),
        "power.second.pin",
        "pin 3 is pulled up from reset",
        "9 to 13 or 16 to 27",
    ),
    Case(
        "a coil on the console",
        ((table("buttons"), ""), in_table("power.second", "pin = 23", "pin = 14")),
        "power.second.pin",
        "pin 14 is the console and toggles",
        "9 to 13 or 16 to 27",
    ),
    Case(
        "the watchdog's edge on a pin that is pulled up",
        (in_table("power.watchdog", "pin = 17", "pin = 3"),),
        "power.watchdog.pin",
        "pin 3 is pulled up from reset",
        "9 to 13 or 16 to 27",
    ),
    Case(
        "an output that a booting Pi switches on",
        ((table("buttons"), ""), in_table("outputs.horn", "pin = 13", "pin = 15")),
        "outputs.horn",
        "pin 15 cannot be an output",
        "9 to 13 or 16 to 27",
    ),
    Case(
        "real and emulated drivers mixed",
        (("[converters.gas]", '[converters.gas]\ndriver = "pi"'),),
        "converters.gas.driver",
        "a driver cannot be chosen part by part",
        "never mixed",
    ),
    Case(
        "too long a grace",
        (in_table(LIMIT('"over-temperature"'), "delay_s = 2\n", "delay_s = 2\ngrace_s = 7\n"),),
        "limits.over-temperature.grace_s",
        "7 is not right",
        "at most 6 s",
    ),
    Case(
        "too long a far grace",
        (("far_grace_s = 30", "far_grace_s = 40"),),
        "limits.over-temperature.far_grace_s",
        "40 is not right",
        "at most 30 s",
    ),
    Case(
        "seconds without seeing a gas pressure",
        (in_table(LIMIT('"gas pressure oxygen side"'), "delay_s = 0.3\ngrace_s = 0.5", "delay_s = 0.3\ngrace_s = 2"),),
        'limits."gas pressure oxygen side".grace_s',
        "2 s blind is 14 mbar a second",
        "at most 1 s",
    ),
    Case(
        "a pressure limit over half the seal depth",
        (("seal_depth_mm = 310", "seal_depth_mm = 200"), ("lye_g_mL = 1.21", "lye_g_mL = 1.25")),
        'limits."gas pressure oxygen side".above_mbar',
        "200 mm of lye at 1.25 g/mL hold 200 x 0.1226 = 24.5 mbar",
        "12.2 mbar",
    ),
    Case(
        "a pressure limit over half the bubble point",
        (("bubble_point_mbar = 60", "bubble_point_mbar = 20"),),
        'limits."gas pressure oxygen side".above_mbar',
        "lets gas through at 20 mbar; half of the smaller is 10.0",
        "at most 10 mbar",
    ),
    Case(
        "a minimum current at which the gas is not pure",
        (("minimum_current_A = 9 ", "minimum_current_A = 5 "),),
        "supply.minimum_current_A",
        "0.3 % at 30 A is 1 % at 8.94 A",
        "at least 8.94 A",
    ),
    Case(
        "a minimum above the rated current",
        (("crossover_percent = 0.3", "crossover_percent = 1.2"), ("minimum_current_A = 9 ", "minimum_current_A = 37 ")),
        "supply.minimum_current_A",
        "the minimum of 37 A leaves nothing under the 30 A",
        "less than 30 A",
    ),
    Case(
        "ventilation that stops when the Pi dies",
        (in_table("outputs.ventilation", 'safe = "on"\n', ""),),
        "outputs.ventilation.safe",
        "ventilation must be on when the Pi is dead",
        'safe = "on"',
    ),
    Case(
        "a safe state on without its wiring",
        ((table("outputs.ventilation"), '[outputs.ventilation]\npin = 9\nactive = "low"\nsafe = "on"\n'),),
        "outputs.ventilation.wiring",
        "a dead Pi switches nothing on",
        "break contact",
    ),
    Case(
        "a safe state on that low switches off",
        (in_table("outputs.ventilation", 'active = "low"', 'active = "high"'),),
        "outputs.ventilation",
        "switches on when high, and should be on when the Pi is dead",
        "on when its input is low",
    ),
    Case(
        "an output of the gas way outside the watchdog relay",
        (in_table("outputs.collect", "behind_watchdog = true", "behind_watchdog = false"),),
        "outputs.collect.behind_watchdog",
        "would stay as it is when the guard dies",
        "through the watchdog relay",
    ),
    Case(
        "a set-point that outlives the guard",
        (in_table("set_point", "behind_watchdog = true", "behind_watchdog = false"),),
        "set_point.behind_watchdog",
        "stay at its last pulse width",
        "through the watchdog relay",
    ),
    Case(
        "a current channel that reads one way only",
        ((CURRENT, CURRENT.replace("minus = 3\nmiddle_V = 1.65\n", "").replace("range_V = 0.512", "range_V = 1.024")),),
        "signals.current.range_low_A",
        "cannot read below 0 A",
        "mid-point",
    ),
    Case(
        "open-circuit volts on a divider pin",
        (
            ("open_circuit_V = 15 ", "open_circuit_V = 75 "),
            ("V_per_V = 0.1\n", "divider = { top_ohm = 40e3, bottom_ohm = 10e3 }\n"),
        ),
        "signals.voltage.divider",
        "75 V become 15.00 V at a pin of a chip on 3.3 V",
        "top_ohm of at least 242525",
    ),
    Case(
        "a common mode outside the converter's supply",
        ((VOLTAGE, VOLTAGE.replace("middle_V = 1.65", "middle_V = 6.6")),),
        "signals.voltage.middle_V",
        "6.6 V is outside -0.3 V to 3.6 V",
        "negative lead, or through an isolating",
    ),
    Case(
        "a differential channel without its common mode",
        ((VOLTAGE, VOLTAGE.replace("middle_V = 1.65\n", "")),),
        "signals.voltage.middle_V",
        "is missing",
        "1.65",
    ),
    Case(
        "a shunt that shares the converter's ground",
        (
            (
                CURRENT,
                CURRENT.replace("minus = 3\nmiddle_V = 1.65\n", "").replace("isolated = true", "isolated = false"),
            ),
        ),
        "signals.current",
        "would share the converter's ground",
        "isolated = true",
    ),
    Case(
        "a contact that a broken wire closes",
        (in_table("signals.dry_floor", "pin = 21", 'pin = 21\nproven_when = "high"'),),
        "signals.dry_floor",
        "reads high when the wire breaks",
        "closed when all is well",
    ),
    Case(
        "more volts than the supply has",
        (("open_circuit_V = 15 ", "open_circuit_V = 8.5 "),),
        'limits."cell voltage high".above_V_per_cell',
        "9 V is never reached: the supply has 8.5 V",
        "less than 8.5 V",
    ),
    Case(
        "a settable supply that nothing can set",
        ((table("set_point"), ""),),
        "supply.kind",
        "needs a way to be told its current",
        "[set_point]",
    ),
    Case(
        "a set-point for a knob",
        (('kind = "settable"', 'kind = "current knob"'),),
        "set_point",
        "cannot be told its current",
        'kind = "settable"',
    ),
    Case(
        "two scalings",
        (("V_per_V = 0.1\n", "V_per_V = 0.1\nloop = { ohm = 100, means_V = [0, 4] }\n"),),
        "signals.voltage",
        "V_per_V and loop are given",
        "exactly one of",
    ),
    Case(
        "a standard limit turned round",
        (in_table(LIMIT('"over-temperature"'), "above_C = 70", "below_C = 70"),),
        "limits.over-temperature.below_C",
        "on the other side",
        "above_C",
    ),
    Case(
        "a standard limit made harmless",
        (in_table(LIMIT('"over-temperature"'), "above_C = 70", 'above_C = 70\neffect = "alarm"'),),
        "limits.over-temperature.effect",
        "is fixed",
        "a name of your own",
    ),
    Case(
        "a vote that can never be won",
        (in_table(LIMIT('"leak"'), "delay_s = 2", "delay_s = 2\nneeded = 2"),),
        "limits.leak.needed",
        "2 of 1 can never agree",
        "1 to 1",
    ),
    Case(
        "a threshold for a switch",
        (in_table(LIMIT('"leak"'), "delay_s = 2", "delay_s = 2\nbelow_mm = 2"),),
        "limits.leak.below_mm",
        "a switch is given in no unit",
        "leave it out",
    ),
    Case(
        "an error larger than the minimum current",
        (in_table("signals.current", "error_A = 0.2", "error_A = 4.6"),),
        "signals.current.error_A",
        "nobody can tell 9 A from none",
        "less than 4.5 A",
    ),
    Case(
        "a reference beyond its rail",
        (("volts_V = 2.5", "volts_V = 3.4"),),
        "converters.gas.reference.volts_V",
        "3.4 V cannot be read: the channel ends at 3.3 V",
        "under 3.3 V",
    ),
]
