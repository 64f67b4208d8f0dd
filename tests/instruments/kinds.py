"""Every kind of sensor that a rig can have: as a rig file says it, as a bench wires it, and what it must read.

The rig's words and the bench's parts are written apart, from the part's data sheet. In `wired`, `x` is what the sensor
looks at, in the unit of `points`. A fault that a kind cannot show by itself stands in `silent`, with what does find it.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

Row = dict[str, Any]
NOTHING: Mapping[str, Any] = MappingProxyType({})
NOBODY = 1e9  # ohms of a comb that nothing bridges


class Kind(NamedTuple):
    signal: str
    table: Row  # of the signal, in the rig file
    wired: Row  # inputs of a converter | thermometer | meter | contact | nothing
    points: tuple[tuple[float, float], ...]  # what the sensor looks at, and the number that must be read
    source: str
    normal: float  # of what it looks at, in good running
    beyond: tuple[float, ...]  # of the same: where the sensor or its converter is at an end
    chip: Mapping[str, Any] = NOTHING  # what is not as usual of its converter
    limits: Mapping[str, Any] = NOTHING
    within: float | None = None  # where it is not the stated error
    silent: Mapping[str, str] = NOTHING


def _adc(plus: int = 0, **row: Any) -> Row:
    return {"sensor": "ADS1115", "converter": "extra", "plus": plus} | row


def _part(part: str, **row: Any) -> Row:
    return {"signal": "x", "of": "x", "part": part} | row


def _inputs(first: Row, second_v: float = 0.0) -> Row:
    return {"inputs": [first, {"signal": "second", "part": "fixed", "volts_always": second_v}]}


def _own(name: str, signal: str, effect: str = "trip", **row: Any) -> Row:
    return {name: {"signals": [signal], "effect": effect, "because": "a limit for this test"} | row}


CP = "common practice, no source"
A_ENDS = {"range_low_A": -51, "range_high_A": 51, "error_A": 0.2}
C_ENDS = {"range_low_C": -55, "range_high_C": 110, "error_C": 1.0, "range_V": 4.096}
MBAR_ENDS = {"range_low_mbar": -55, "range_high_mbar": 155, "error_mbar": 1.0, "range_V": 4.096}
HALL = {"V_per_A": 0.026667, "rail_V": 3.3333, "rail_error_percent": 4}
HALL_PART = {"mv_per_a": 40.0, "top_ohm": 10e3, "bottom_ohm": 20e3}
UP = {"pull_up_ohm": 10e3, "pull_up_v": 3.3}
PERCENT = {"range_low_percent": -0.2, "range_high_percent": 4.2, "error_percent": 0.05, "range_V": 4.096}
LOOP = {"loop": {"ohm": 100, "means_percent": [0, 4]}}
MA = _part("linear", low_v=0.0, high_v=2.4, low=0.0, high=24.0)  # 100 ohm
NE_43 = "NAMUR NE 43: 4 mA and 20 mA are the ends of the range"
NE_43_BEYOND = (3.5, 0.0, 21.5, 24.0)  # mA: failure low, no loop, failure high, the most that it can
SHORTED = {"short": "the proof test of the contact, or a supervised line: to ground is where a sound one is"}
STUCK = {"stuck": "the proof test, a second probe, the thermostat in the coil circuit"}
CONTACT_ENDS = (0.0, 1.0)


def _contact(signal: str, **row: Any) -> Kind:
    """Closed while x is 1."""
    wired = {"contact": {"pin": 1, "of": "x", "closed_from": 0.5}}
    return Kind(signal, {"sensor": "switch", "pin": 1}, wired, ((1.0, 1.0), (0.0, 0.0)), CP, 1.0, (0.0,),
                silent=SHORTED, **row)  # fmt: skip


def _thermometer(signal: str, **row: Any) -> Kind:
    probe = "28-0b0a7e11000f"
    points = ((25.0625, 25.0625), (10.125, 10.125), (0.5, 0.5), (-10.125, -10.125))
    return Kind(signal, {"sensor": "DS18B20", "id": probe} | row.pop("table", {}),
                {"thermometer": {"id": probe, "of": "x"}}, points, "Maxim DS18B20, table 1", 20.0, (200.0, -90.0),
                within=0.032, silent=STUCK, **row)  # fmt: skip


def _pulled_up(
    signal: str, points: tuple[tuple[float, float], ...], source: str, scaling: Row, pull_up_ohm: float = 10e3,
    limits: Mapping[str, Any] = NOTHING,
) -> Kind:  # fmt: skip
    """A resistive thermometer that is a decade box set to the table's ohms."""
    part = _part("resistor", pull_up_ohm=pull_up_ohm, pull_up_v=3.3)
    return Kind(signal, _adc(**C_ENDS, **scaling), _inputs(part), points, source, points[0][0], (0.1, 1e8),
                limits=limits, within=0.1)  # fmt: skip


NTC = {"thermistor": {"pull_up_ohm": 10e3, "ohm_at_25_C": 10e3, "beta_K": 3950}}
BETA = "R25 exp(B (1/T - 1/298.15)), by hand"
BETA_POINTS = ((3588.2, 50.0), (10e3, 25.0), (33620.6, 0.0), (1086.7, 85.0))
LOW_MM = _own("lye low", "level_mm", below_mm=100)

KINDS: dict[str, Kind] = {
    # ---- current
    "shunt and isolated amplifier": Kind(
        "current", _adc(minus=1, range_V=0.512, middle_V=1.65, V_per_A=0.010, isolated=True, **A_ENDS),
        _inputs(_part("shunt", shunt_mv=75.0, shunt_a=50.0, gain=6.6666667, middle_v=1.65), 1.65),
        ((30.0, 30.0), (-10.0, -10.0), (0.0, 0.0)), "75 mV at 50 A x 6.667 is 10 mV/A: 30 A are code 4B00h, by hand",
        30.0, (300.0, -300.0),
    ),
    "bare shunt in the negative lead": Kind(
        "current", _adc(minus=1, range_V=0.256, middle_V=0.0, V_per_A=0.0015, **A_ENDS),
        _inputs(_part("shunt", shunt_mv=75.0, shunt_a=50.0, gain=1.0, middle_v=0.0)),
        ((40.0, 40.0), (-10.0, -10.0), (0.0, 0.0)), "60 mV in steps of 7.8125 uV: 7680 counts at 40 A, by hand",
        30.0, (300.0, -300.0),
    ),
    "Hall sensor against half of its rail": Kind(
        "current", _adc(minus=1, range_V=2.048, middle_V=1.667, hall=HALL, **A_ENDS),
        _inputs(_part("hall", **HALL_PART), 5.0 / 3.0),
        ((30.0, 30.0), (-20.0, -20.0), (0.0, 0.0)), "ACS758LCB-050B: 40 mV/A about half of 5 V (from memory)",
        30.0, (80.0, -80.0),
    ),
    "Hall sensor whose rail has sagged by 4 %": Kind(
        "current", _adc(minus=1, range_V=2.048, middle_V=1.667, hall=HALL, **A_ENDS),
        _inputs(_part("hall", rail_is_v=4.8, **HALL_PART), 1.6),
        ((30.0, 30.0), (0.0, 0.0)), "ratiometric: its zero is taken off, its gain sags by 4 %, 1.2 A of 30",
        30.0, (80.0, -80.0), within=0.2 + 0.04 * 30.0,
    ),
    "Hall sensor against ground, rail off by 1 %": Kind(
        "current",
        _adc(range_V=4.096, hall=HALL | {"rail_error_percent": 1}, **A_ENDS),
        _inputs(_part("hall", rail_is_v=4.95, **HALL_PART)),
        ((30.0, 30.0), (0.0, 0.0)), "half of 1 % of 5 V at 40 mV/A is 0.625 A, and 1 % of 30 A", 30.0, (80.0, -80.0),
        chip={"reference": {"input": 3, "volts_V": 2.5}}, within=0.2 + 0.625 + 0.3,
    ),
    # ---- volts
    "stack volts by an isolated amplifier": Kind(
        "voltage", _adc(minus=1, range_V=2.048, middle_V=1.65, V_per_V=0.1, isolated=True, range_low_V=-16,
                        range_high_V=16, error_V=0.05),
        _inputs(_part("amplifier", volt_per_volt=0.1, middle_v=1.65), 1.65), ((6.6, 6.6), (-3.0, -3.0)), "by hand",
        6.6, (30.0, -30.0),
    ),
    "stack volts by two resistors": Kind(
        "voltage", _adc(range_V=4.096, divider={"top_ohm": 40e3, "bottom_ohm": 10e3}, range_low_V=-1, range_high_V=16,
                        error_V=0.05),
        _inputs(_part("divider", top_ohm=40e3, bottom_ohm=10e3)), ((9.0, 9.0), (6.6, 6.6)), "9 V over 40 and 10 kilohm "
        "are 1.8 V, by hand", 6.6, (30.0, -3.0),
    ),
    "tap of one cell": Kind(
        "cell_2", _adc(quantity="voltage", range_V=4.096, V_per_V=0.5, isolated=True, range_low_V=-0.5, range_high_V=6,
                       error_V=0.05),
        _inputs(_part("amplifier", volt_per_volt=0.5, middle_v=0.0)), ((2.2, 2.2), (1.4, 1.4)), "by hand", 2.2,
        (20.0, -2.0), limits=_own("cell 2 high", "cell_2", above_V=2.8) | _own("cell 2 low", "cell_2", below_V=1.4),
    ),
    # ---- temperatures
    "NTC by beta": _pulled_up("cell_temperature", BETA_POINTS, BETA, NTC),
    "NTC by beta, as the bench's part": Kind(
        "cell_temperature", _adc(**C_ENDS, **NTC),
        _inputs(_part("ntc", at_25_c_ohm=10e3, beta_k=3950.0, **UP)), ((62.0, 62.0), (25.0, 25.0)),
        "case A14: 62 C is 0.62 V", 62.0, (400.0, -200.0),
    ),
    "NTC by Steinhart and Hart": _pulled_up(
        "cell_temperature", ((32650.9, 0.0), (55303.9, -10.0), (97006.9, -20.0)),
        "Campbell Scientific 109SS manual, table C-1",
        {"steinhart_hart": {"pull_up_ohm": 10e3, "a": 1.129241e-3, "b": 2.341077e-4, "c": 8.775468e-8}},
    ),
    "Pt1000": _pulled_up(
        "cell_temperature", ((1232.419, 60.0), (1308.968, 80.0), (1000.0, 0.0), (803.063, -50.0)), "IEC 60751",
        {"platinum": {"pull_up_ohm": 2000}}, pull_up_ohm=2000.0,
    ),
    "DS18B20": _thermometer("cell_temperature"),
    "coolant inlet": _thermometer("coolant_inlet", table={"mounted": "return hose", "rate_C_per_s": 2}),
    "coolant outlet": _pulled_up("coolant_outlet", BETA_POINTS, BETA, NTC),
    "ambient": _thermometer("ambient"),
    "terminal temperature": _pulled_up("terminal_temperature", BETA_POINTS, BETA, NTC),
    # ---- levels
    "pressure level": Kind(
        "level_mm", _adc(range_V=6.144, two_points={"at_V": [0.5, 4.5], "means_mm": [0, 415.5], "live_zero": True},
                         range_low_mm=-10, range_high_mm=430, error_mm=5),
        _inputs(_part("linear", low_v=0.5, high_v=4.5, low=0.0, high=50.0)), ((24.066, 200.0), (12.033, 100.0)),
        "rho g h: 200 mm of lye at 1.227 g/mL are 24.07 mbar, by hand", 24.066, (80.0, -20.0),
        chip={"supply_V": 5.0}, limits=LOW_MM | _own("lye high", "level_mm", above_mm=260),
    ),
    "capacitive level": Kind(
        "level_mm", _adc(range_V=4.096, two_points={"at_V": [2.8, 1.2], "means_mm": [0, 300], "live_zero": True},
                         range_low_mm=-10, range_high_mm=310, error_mm=5),
        _inputs(_part("linear", low_v=2.8, high_v=1.2, low=0.0, high=300.0)), ((200.0, 200.0), (100.0, 100.0)),
        "fewer volts the deeper it stands (common practice, no source)", 200.0, (800.0, -300.0), limits=LOW_MM,
    ),
    "float": _contact("level_hydrogen"),
    "float on a supervised line": Kind(
        "level_hydrogen", {"sensor": "supervised contact", "converter": "extra", "plus": 0, "range_V": 4.096,
                           "supervised": {"closed_V": 1.1, "open_V": 2.2}},
        _inputs(_part("supervised", in_line_ohm=5e3, across_ohm=15e3, closed_from=0.5, **UP)),
        ((1.0, 1.0), (0.0, 0.0)), "5 kilohm under 10 are 1.1 V, 20 are 2.2 V, by hand", 1.0, (0.0,), within=0.0,
    ),
    # ---- flow
    "flow meter": Kind(
        "coolant_flow", {"sensor": "pulse meter", "pin": 1, "pulses_per_L": 450, "least_L_min": 0.5,
                         "range_low_L_min": 0, "range_high_L_min": 10, "error_L_min": 0.1},
        {"meter": {"pin": 1, "of": "x", "pulses_per_litre": 450.0, "uneven": 0.02}},
        ((2.0, 2.0), (0.0, 0.0)), "generic G1/2 Hall turbine: 7.5 Hz for each L/min", 2.0, (0.0, 60.0), within=0.2,
    ),
    "flow meter on a counter of the kernel": Kind(
        "coolant_flow", {"sensor": "kernel counter", "path": "bus/counter/devices/counter0/count0/count",
                         "pulses_per_L": 450, "least_L_min": 0.5, "range_low_L_min": 0, "range_high_L_min": 10,
                         "error_L_min": 0.1},
        {"meter": {"pin": 1, "of": "x", "pulses_per_litre": 450.0,
                   "counter": "bus/counter/devices/counter0/count0/count"}},
        ((2.0, 2.0), (0.0, 0.0)), "generic G1/2 Hall turbine: 7.5 Hz for each L/min", 2.0, (0.0, 60.0), within=0.2,
    ),
    # ---- gas
    "gas pressure of one side, 0.5 to 4.5 V": Kind(
        "pressure_hydrogen", _adc(two_points={"at_V": [0.5, 2.5], "means_mbar": [-50, 150], "live_zero": True},
                                  **MBAR_ENDS),
        _inputs(_part("linear", low_v=0.5, high_v=4.5, low=-50.0, high=350.0)), ((5.0, 5.0), (50.0, 50.0)),
        "0.5 V + 10 mV/mbar, by hand", 5.0, (1000.0, -200.0),
    ),
    "gas pressure between the sides": Kind(
        "pressure_difference", _adc(two_points={"at_V": [0.5, 2.5], "means_mbar": [-50, 50], "live_zero": True},
                                    range_low_mbar=-55, range_high_mbar=55, error_mbar=1.0, range_V=4.096),
        _inputs(_part("linear", low_v=0.5, high_v=2.5, low=-50.0, high=50.0)), ((0.0, 0.0), (-12.5, -12.5)),
        "1.5 V + 20 mV/mbar, by hand", 0.0, (500.0, -500.0),
    ),
    "hydrogen in the room": Kind(
        "room_hydrogen", _adc(two_points={"at_V": [0.4, 2.0], "means_percent": [0, 2], "live_zero": True}, **PERCENT),
        _inputs(_part("linear", low_v=0.4, high_v=2.0, low=0.0, high=2.0)), ((0.0, 0.0), (0.8, 0.8)),
        "0.4 V + 0.8 V for each percent, by hand", 0.0, (20.0, -2.0),
    ),
    "hydrogen in oxygen, 4 to 20 mA": Kind(
        "hydrogen_in_oxygen", _adc(**PERCENT, **LOOP), _inputs(MA), ((12.0, 2.0), (4.0, 0.0), (20.0, 4.0)), NE_43, 5.2,
        NE_43_BEYOND,
    ),
    "oxygen in hydrogen, 4 to 20 mA": Kind(
        "oxygen_in_hydrogen", _adc(**PERCENT, **LOOP), _inputs(MA), ((12.0, 2.0), (4.0, 0.0), (20.0, 4.0)), NE_43, 5.2,
        NE_43_BEYOND,
    ),
    "4 to 20 mA that falls as the quantity rises": Kind(
        "hydrogen_in_oxygen", _adc(**PERCENT, loop={"ohm": 100, "means_percent": [4, 0]}), _inputs(MA),
        ((12.0, 2.0), (20.0, 0.0), (4.0, 4.0)), NE_43, 18.8, (3.5, 0.0),
    ),
    # ---- rooms and floors
    "leak comb": Kind(
        "dry_floor", {"sensor": "supervised contact", "converter": "extra", "plus": 0, "range_V": 4.096,
                      "supervised": {"closed_V": 1.98, "open_V": 0.3}},
        _inputs(_part("resistor", end_ohm=15e3, **UP)), ((NOBODY, 1.0), (500.0, 0.0)),
        "dry it is its end resistor, 15 under 10 kilohm; 500 ohm of lye across it leave 0.15 V, by hand", NOBODY,
        (5.0, 4000.0), within=0.0,
    ),
    "leak contact": _contact("dry_floor"),
    "fan proof by a vane": _contact("air_flow"),
    "cooling air by a vane": _contact("cooling_air"),
    "stop chain": _contact("stop_chain"),
    "water seal float": _contact("seal_filled"),
    # ---- the Pi itself
    "Pi under-voltage": Kind(
        "controller_supply", {"sensor": "controller supply"}, {}, ((0.0, 1.0),), "kernel, hwmon rpi_volt", 0.0, ()
    ),
    "Pi temperature": Kind(
        "controller_temperature", {"sensor": "controller temperature"}, {}, ((0.0, 48.312),), "kernel, thermal_zone0",
        0.0, (), limits=_own("Pi hot", "controller_temperature", "alarm", above_C=80, armed="always"),
    ),
}  # fmt: skip
