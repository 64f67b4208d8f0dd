"""The limits that every rig gets for the signals it has: number, delay, kind and reason of each.

A rig file may say another number with its own reason. Numbers marked (cp) are common practice, from memory and without
a source; those marked (p) are proposals: each is to be proven on the rig itself.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from controller.config.measured import Channel, Ds18b20, KernelCounter, Measured, PulseMeter
from controller.config.models import RigFile
from controller.core.limits import Arming, Effect, TripKind

MBAR_PER_MM_AT_1_G_ML = 0.0980665
HEAT_V_PER_CELL = 2.2 - 1.48  # volts in good running above the thermoneutral voltage: what becomes heat
WATER_J_L_K = 4.18e3
GAS_PRESSURE_GRACE_S = 0.5  # a shut headspace of 0.8 L rises 14 mbar a second
# Not at once: a sample is held until the next one, so that ten a second must agree four times. Where one in a hundred
# is disturbed, that is once in 1e8 samples, four months, and it takes a written reason to leave a lock-out. Not later:
# both means are told open and the relay has no edges, so nothing waits for this trip but the self-test, which may let a
# supply with a knob feed a weld: 0.3 s and two scans at 30 A are 15 C, 6 mL of hydrogen from three cells, under 1 % of
# that headspace.
WELD_DELAY_S = 0.3


class Facts(NamedTuple):
    """What a default may depend on."""

    file: RigFile
    allowed_a: float  # rated current, or the attended share of it
    chosen: dict[str, float]  # thresholds fixed so far, in the order of the table

    @property
    def attended(self) -> bool:
        return self.allowed_a < self.file.supply.rated_A

    def threshold(self, name: str) -> float | None:
        """Of a limit further up in the table; where the rig goes without that one, what it would have been."""
        default = DEFAULTS[name].threshold
        return self.chosen.get(name, default(self) if callable(default) else default)


Worked = float | Callable[[Facts], float | None]


class Default(NamedTuple):
    """One standard limit. A threshold of None is a switch; a worked one that gives None leaves the limit out."""

    title: str
    signals: tuple[str, ...]
    effect: Effect
    rises: bool
    threshold: Worked | None
    delay_s: float
    because: str
    armed: Arming = Arming.POWERED
    kind: TripKind = TripKind.RESETTABLE
    deadband: Worked = 0.0
    grace_s: float | None = None  # None: three sample periods, at least 2 s, at most 6 s
    far: float = 0.0
    far_grace_s: float = 0.0
    settle_s: Worked = 0.0
    derate_to: Worked = 0.0
    magnitude: bool = False
    proving: bool = False
    never_bypassed: bool = False


def half_seal_mbar(file: RigFile) -> float:
    """Half of what the lye between the sides holds back, mbar; half of the separator's bubble point if that is less."""
    seal_mbar = file.cell.seal_depth_mm * file.cell.lye_g_mL * MBAR_PER_MM_AT_1_G_ML
    return 0.5 * min(seal_mbar, file.cell.bubble_point_mbar or seal_mbar)


def _lye_c(inside: float, glued: float) -> Callable[[Facts], float]:
    """10 K less outside plastic: such a probe reads 5 to 15 K low."""

    def worked(facts: Facts) -> float:
        signal = facts.file.fitted.get("cell_temperature")
        outside = isinstance(signal, Ds18b20 | Channel) and signal.mounted == "outside plastic"
        return (glued if facts.file.cell.wetted == "glued PVC or acrylic" else inside) - 10.0 * outside

    return worked


def _flow_l_min(facts: Facts) -> float:
    file = facts.file
    meter = file.fitted.get("coolant_flow")
    floor = meter.least_L_min if isinstance(meter, PulseMeter | KernelCounter) else 0.0
    heat_w = HEAT_V_PER_CELL * file.supply.rated_A * file.cell.cells_in_series
    return max(1.5 * floor, heat_w / (WATER_J_L_K * 15.0) * 60.0)


def _hose_off_l_min(facts: Facts) -> float | None:
    """1.25 x the normal flow; further up where the meter's error would be a third of the way.

    Flow in a pipe goes as the root of pressure over resistance. Tap pressure may rise by half (root: 1.22) before a
    whole hose reaches 1.25; a hose off behind the meter reaches it where coil and return took 1 - 1/1.25^2 = 36 % or
    more of the pressure. The usual half gives 1.41 x normal: twice the normal flow would need three quarters.
    """
    normal, meter = facts.file.cooling.normal_L_min, facts.file.fitted.get("coolant_flow")
    error = meter.error if isinstance(meter, Measured) else 0.0
    return None if normal is None else max(1.25 * normal, normal + 3.05 * error)


def _pressure_mbar(facts: Facts) -> float:
    """Half the seal depth, rounded down to half a millibar."""
    return max(0.5, int(2.0 * half_seal_mbar(facts.file)) / 2.0)


def _part_of(name: str, share: float) -> Callable[[Facts], float | None]:
    def worked(facts: Facts) -> float | None:
        base = facts.threshold(name)
        return None if base is None else share * base

    return worked


def _beside(name: str, more: float) -> Callable[[Facts], float | None]:
    def worked(facts: Facts) -> float | None:
        base = facts.threshold(name)
        return None if base is None else base + more

    return worked


def _per_cell(volts: float) -> Callable[[Facts], float]:
    return lambda facts: volts * facts.file.cell.cells_in_series


def _over_volts(volts: float) -> Callable[[Facts], float | None]:
    """Per cell; left out where the supply cannot give as much."""

    def worked(facts: Facts) -> float | None:
        stack_v = _per_cell(volts)(facts)
        return stack_v if stack_v < facts.file.supply.open_circuit_V else None

    return worked


def zero_current_a(file: RigFile) -> float:
    """Below this no current flows: 0.5 A, or twice the error of the measurement."""
    current = file.fitted.get("current")
    return max(0.5, 2.0 * current.zero_error) if isinstance(current, Channel) else 0.5


def _after_ramp_s(facts: Facts) -> float:
    return facts.file.supply.start_lag_s + facts.file.timing.ramp_s + 5.0


_ALWAYS, _POWERED, _OPENED = Arming.ALWAYS, Arming.POWERED, Arming.OPENED
_ALARM, _DERATE, _STOP, _TRIP = Effect.ALARM, Effect.DERATE, Effect.STOP, Effect.TRIP
_LOCAL, _LOCK_OUT = TripKind.LOCAL, TripKind.LOCK_OUT
UP, DOWN = True, False

DEFAULTS: dict[str, Default] = {
    "stop chain": Default(
        "Stop button or thermostat", ("stop_chain",), _TRIP, DOWN, None, 0.0,
        "pressed, hot, or its wire is open: each of them means off (cp)",
        _ALWAYS, _LOCAL, never_bypassed=True,
    ),
    "over-temperature": Default(
        "Lye too hot", ("cell_temperature",), _TRIP, UP, _lye_c(70.0, 55.0), 2.0,
        "clamped polypropylene creeps and gaskets lose their grip long before the lye boils; at 70 C a third of the "
        "gas is steam (p)",
        _ALWAYS, deadband=2.0, far=5.0, far_grace_s=30.0, never_bypassed=True,
    ),
    "over-temperature warn": Default(
        "Lye hot", ("cell_temperature",), _ALARM, UP, _lye_c(60.0, 45.0), 2.0,
        "ten kelvin below the trip: uncooled, that is ten minutes or more to do something (p)", _ALWAYS, deadband=1.0,
    ),
    "over-temperature derate": Default(
        "Current folded back, lye hot", ("cell_temperature",), _DERATE, UP,
        _beside("over-temperature warn", 2.0), 0.0,
        "less current is less heat, and better than a trip (p)",
        derate_to=_beside("over-temperature", -2.0),
    ),
    "level low hydrogen side": Default(
        "Lye low, hydrogen side", ("level_hydrogen",), _TRIP, DOWN, None, 3.0,
        "the float stands above the separator's top edge: uncovering it lets the gases mix; use is 10 g an hour and "
        "cell, so only a leak is fast (p)",
    ),
    "level low oxygen side": Default(
        "Lye low, oxygen side", ("level_oxygen",), _TRIP, DOWN, None, 3.0,
        "as on the hydrogen side: the two sides do not share a level (p)",
    ),
    "level high": Default(
        "Lye high", ("level_not_high",), _TRIP, DOWN, None, 5.0,
        "coolant in the lye, foam, or a pump that does not stop: lye would go into the gas line (p)",
    ),
    "coolant flow low": Default(
        "Coolant flow lost", ("coolant_flow",), _TRIP, DOWN, _flow_l_min, 10.0,
        "larger of 1.5 x the meter's floor and what warms by 15 K at rated heat; a tap dips for seconds, and uncooled "
        "lye warms less than 1 K a minute (p)", proving=True,
    ),
    "coolant flow warn": Default(
        "Coolant flow small", ("coolant_flow",), _ALARM, DOWN, _part_of("coolant flow low", 1.4), 10.0,
        "grit in the turbine, or somebody has turned the tap down (p)",
    ),
    "coolant flow high": Default(
        "Coolant flow far too large", ("coolant_flow",), _TRIP, UP, _hose_off_l_min, 3.0,
        "a hose off behind the meter lets 1.4 x the normal flow through, where coil and return took half of the "
        "pressure; 1.25 x is out of reach of a tap whose pressure rises by half (p)", _ALWAYS, _LOCAL,
    ),
    "cooling fan lost": Default(
        "Cooling air lost", ("cooling_air",), _TRIP, DOWN, None, 5.0, "the fan is this rig's cooling (p)", proving=True,
    ),
    "coolant outlet hot": Default(
        "Coolant outlet hot", ("coolant_outlet",), _TRIP, UP, 55.0, 5.0,
        "scalds, and softens the hose; a late backstop behind the flow (p)", deadband=2.0, far=10.0, far_grace_s=30.0,
    ),
    "coolant outlet warn": Default(
        "Coolant outlet warm", ("coolant_outlet",), _ALARM, UP, 45.0, 5.0, "ten kelvin before the trip (p)",
        deadband=1.0,
    ),
    "frost warn": Default(
        "Coolant near freezing", ("coolant_inlet",), _ALARM, DOWN, 3.0, 10.0,
        "ice bursts the coolant side and plugs the vent (cp)", _ALWAYS, deadband=1.0,
    ),
    "terminal hot": Default(
        "Terminal hot", ("terminal_temperature",), _TRIP, UP, 70.0, 5.0,
        "a loose joint heats itself loose; PVC insulation is rated for conductors of 70 C (IEC 60364-5-52, "
        "table 52.1, from memory) (p)",
        _ALWAYS, deadband=5.0,
    ),
    "terminal warn": Default(
        "Terminal warm", ("terminal_temperature",), _ALARM, UP, 55.0, 5.0,
        "fifteen kelvin before the trip: time to look at the clamp with power off (p)", _ALWAYS, deadband=2.0,
    ),
    "over-current": Default(
        "Too much current", ("current",), _TRIP, UP, lambda facts: 1.15 * facts.allowed_a, 1.0,
        "15 % above the largest current allowed; a nudged knob is no fire, so it may last a second (p)",
        kind=_LOCAL, magnitude=True, settle_s=lambda facts: facts.file.supply.inrush_s, never_bypassed=True,
    ),
    "short": Default(
        "Short circuit", ("current",), _TRIP, UP, _part_of("over-current", 1.3), 0.0,
        "1.3 x the over-current limit, or a converter at its end, is no load that a cell can be; the fuse is the first "
        "defence (p)",
        kind=_LOCK_OUT, magnitude=True, settle_s=lambda facts: facts.file.supply.inrush_s, never_bypassed=True,
    ),
    "reversed": Default(
        "Current the wrong way", ("current",), _TRIP, DOWN, -1.0, 0.0,
        "leads swapped: the gases have changed sides and may be mixed (p)",
        kind=_LOCK_OUT, settle_s=lambda facts: facts.file.supply.inrush_s, never_bypassed=True,
    ),
    "reversed volts": Default(
        "Volts the wrong way", ("voltage",), _TRIP, DOWN, -0.3, 0.0,
        "leads swapped: the gases have changed sides and may be mixed (p)",
        kind=_LOCK_OUT, settle_s=lambda facts: facts.file.supply.inrush_s, never_bypassed=True,
    ),
    "current while off": Default(
        "Current although power is off", ("current",), _TRIP, UP, lambda facts: zero_current_a(facts.file),
        WELD_DELAY_S, "a contactor has welded, or there is another path; one sample of noise is neither (p)",
        _OPENED, _LOCK_OUT, magnitude=True, never_bypassed=True,
    ),
    "no current": Default(
        "Power on but no current", ("current",), _TRIP, DOWN,
        lambda facts: max(zero_current_a(facts.file), 0.2 * facts.file.minimum_a), 5.0,
        "dry, an open joint, or the supply has cut out and may come back by itself (p)",
        settle_s=lambda facts: facts.file.supply.start_lag_s,
    ),
    "minimum current": Default(
        "Current too small for pure gas", ("current",), _STOP, DOWN, lambda facts: facts.file.minimum_a, 60.0,
        "below it the gas that leaks through the separator is no longer diluted: at least where that makes 1 % (p)",
        settle_s=_after_ramp_s, deadband=0.5,
    ),
    "cell voltage high": Default(
        "Cell volts high", ("voltage",), _TRIP, UP, _over_volts(3.0), 2.0,
        "3.0 V a cell: an uncovered plate, a bad joint, thin lye (p)", kind=_LOCAL, deadband=0.2,
    ),
    "cell voltage warn": Default(
        "Cell volts rising", ("voltage",), _ALARM, UP, _over_volts(2.6), 2.0, "2.6 V a cell (p)", deadband=0.2,
    ),
    "cell voltage low": Default(
        "Cell volts low under load", ("voltage",), _TRIP, DOWN, _per_cell(1.4), 1.5,
        "1.4 V a cell: under 1.23 V nothing splits, so the current goes elsewhere (p)", kind=_LOCAL,
        settle_s=lambda facts: facts.file.supply.start_lag_s + 2.0,
    ),
    "one bad cell": Default(
        "One cell stands out", ("cell_spread",), _TRIP, UP, 0.5, 3.0,
        "sound cells differ by hundredths of a volt; 0.5 V is a cell two thirds dry, or a fifth of its current "
        "past it (p)",
        kind=_LOCAL, deadband=0.1, settle_s=lambda facts: facts.file.supply.start_lag_s + 2.0,
    ),
    "one bad cell warn": Default(
        "One cell drifts away", ("cell_spread",), _ALARM, UP, 0.25, 10.0, "half of the trip (p)", deadband=0.05,
        settle_s=lambda facts: facts.file.supply.start_lag_s + 2.0,
    ),
    "stack off its curve": Default(
        "Stack volts off their curve", ("off_the_curve",), _TRIP, UP, _per_cell(0.2), 5.0,
        "0.2 V a cell more or less than this current and temperature need: in a stack of three, one of them is dry or "
        "bridged (p)", kind=_LOCAL, magnitude=True, deadband=0.1, settle_s=_after_ramp_s,
    ),
    "stack off its curve warn": Default(
        "Stack volts leave their curve", ("off_the_curve",), _ALARM, UP, _per_cell(0.1), 10.0,
        "half of the trip: worn plates, thin lye, a clamp; or the curve is to be measured anew (p)", magnitude=True,
        deadband=0.05, settle_s=_after_ramp_s,
    ),
    "gas pressure hydrogen side": Default(
        "Gas pressure, hydrogen side", ("pressure_hydrogen",), _TRIP, UP, _pressure_mbar, 0.3,
        "half of what the lye between the sides holds back: more pushes gas from one side into the other; bubbling "
        "through a seal pulses, hence the delay (p)",
        _ALWAYS, deadband=lambda facts: _back_mbar(facts, "gas pressure hydrogen side"), grace_s=GAS_PRESSURE_GRACE_S,
    ),
    "gas pressure oxygen side": Default(
        "Gas pressure, oxygen side", ("pressure_oxygen",), _TRIP, UP, _pressure_mbar, 0.3,
        "as on the hydrogen side (p)",
        _ALWAYS, deadband=lambda facts: _back_mbar(facts, "gas pressure oxygen side"), grace_s=GAS_PRESSURE_GRACE_S,
    ),
    "gas pressure hydrogen side warn": Default(
        "Gas pressure rising, hydrogen side", ("pressure_hydrogen",), _ALARM, UP,
        _part_of("gas pressure hydrogen side", 0.75), 2.0, "three quarters of the trip (p)", _ALWAYS, deadband=0.5,
    ),
    "gas pressure oxygen side warn": Default(
        "Gas pressure rising, oxygen side", ("pressure_oxygen",), _ALARM, UP,
        _part_of("gas pressure oxygen side", 0.75), 2.0, "three quarters of the trip (p)", _ALWAYS, deadband=0.5,
    ),
    "pressure difference": Default(
        "Pressure across the separator", ("pressure_difference",), _TRIP, UP,
        lambda facts: min(10.0, half_seal_mbar(facts.file)), 1.0,
        "10 mbar push the lye 8 cm; at most half of what presses gas through (p)", _ALWAYS, _LOCAL, magnitude=True,
        deadband=2.0, grace_s=GAS_PRESSURE_GRACE_S,
    ),
    "under-pressure": Default(
        "Gas side below the air outside", ("pressure_hydrogen", "pressure_oxygen"), _ALARM, DOWN, -5.0, 2.0,
        "a cooling headspace draws in air or seal water: gas is not fit until vented again (p)", _ALWAYS, deadband=2.0,
    ),
    "room hydrogen": Default(
        "Hydrogen in the room", ("room_hydrogen",), _TRIP, UP, 0.8, 2.0,
        "20 % of the lower flammable limit of 4 %: early, because the layer is under the roof (cp)",
        _ALWAYS, _LOCAL, deadband=0.2, never_bypassed=True,
    ),
    "room hydrogen warn": Default(
        "Some hydrogen in the room", ("room_hydrogen",), _ALARM, UP, 0.4, 2.0,
        "10 % of the lower flammable limit (cp)", _ALWAYS, deadband=0.1,
    ),
    "hydrogen in oxygen": Default(
        "Hydrogen in the oxygen", ("hydrogen_in_oxygen",), _TRIP, UP, 2.0, 5.0,
        "half of the lower flammable limit: crossover, or a torn separator (cp)", kind=_LOCAL, deadband=0.3,
    ),
    "hydrogen in oxygen warn": Default(
        "Some hydrogen in the oxygen", ("hydrogen_in_oxygen",), _ALARM, UP, 1.0, 5.0,
        "a quarter of the lower flammable limit (cp)", deadband=0.1,
    ),
    "oxygen in hydrogen": Default(
        "Oxygen in the hydrogen", ("oxygen_in_hydrogen",), _TRIP, UP, 2.0, 5.0,
        "well below the 5 % at which hydrogen burns with it (cp)", kind=_LOCAL, deadband=0.3,
    ),
    "oxygen in hydrogen warn": Default(
        "Some oxygen in the hydrogen", ("oxygen_in_hydrogen",), _ALARM, UP, 1.0, 5.0, "half of the trip (cp)",
        deadband=0.1,
    ),
    "seal dry": Default(
        "Water seal dry", ("seal_filled",), _TRIP, DOWN, None, 2.0,
        "the seal keeps flames and pressure out; bubbles splash, hence the delay (p)",
    ),
    "leak": Default(
        "Liquid on the floor", ("dry_floor",), _TRIP, DOWN, None, 2.0,
        "lye or coolant in the tray: power off and water shut (cp)", _ALWAYS, _LOCAL,
    ),
    "ventilation lost": Default(
        "Ventilation lost", ("air_flow",), _TRIP, DOWN, None, 5.0,
        "a leak is only harmless while air moves; the fan's own word is not proof (cp)", proving=True,
    ),
    "controller supply": Default(
        "Controller's supply sags", ("controller_supply",), _STOP, DOWN, None, 1.0,
        "a Pi that browns out corrupts buses and timing before it stops (cp)",
    ),
}  # fmt: skip


def _back_mbar(facts: Facts, name: str) -> float:
    """A pressure trip may be left once the pressure is back under 5 mbar, or 2 mbar above what the water seal holds."""
    seal_mbar = (facts.file.gas.water_seal_mm or 0.0) * MBAR_PER_MM_AT_1_G_ML
    return max(0.0, facts.chosen[name] - max(5.0, seal_mbar + 2.0))


# What a rig needs before it may run at all, unless it says that it goes without and is then attended only.
MANDATORY = {
    "over-temperature": "cell_temperature",
    "level low hydrogen side": "level_hydrogen",
    "level low oxygen side": "level_oxygen",
    "over-current": "current",
}
COOLING_PROOF = {"water": ("coolant flow low", "coolant_flow"), "fan": ("cooling fan lost", "cooling_air")}


def mandatory(file: RigFile) -> dict[str, str]:
    """Limits without which nothing may run, and the signal of each. Cooling asks for a proof of its own kind."""
    wanted = dict(MANDATORY)
    if file.cooling.kind in COOLING_PROOF:
        limit, signal = COOLING_PROOF[file.cooling.kind]
        wanted[limit] = signal
    return wanted
