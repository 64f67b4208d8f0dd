"""What a rig file says that cannot be true, or cannot protect, though every key of it is well formed.

Each question is one function in a table. Each answer says what would be right: nobody is left without a way out.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

from controller.config import inputs, measured, models
from controller.config.defaults import MBAR_PER_MM_AT_1_G_ML, WELD_DELAY_S, half_seal_mbar, zero_current_a
from controller.config.limits import Reasoned
from controller.config.lines import Path
from controller.config.problems import Problems
from controller.config.signals import Fitted
from controller.config.units import as_written
from controller.core.limits import Arming, Effect, Limit

PRESSURE_GRACE_S = 1.0
LEAST_PULSES = 3  # in the second over which a flow is told
MOST_HZ = 500  # pulses that a pin takes without loss: tests/hardware/test_flow_meter.py holds it to that
MOST_SCAN_SHARE = 5  # scans that must fit into the watchdog relay's time


class Question(NamedTuple):
    file: models.RigFile
    signals: dict[str, Fitted]
    limits: dict[str, Reasoned]
    problems: Problems
    allowed_a: float

    def of(self, limit: Limit) -> list[Fitted]:
        every = list(self.signals.values())
        return [every[member] for member in limit.members]


def _key(q: Question, limit: Reasoned, signal: Fitted) -> Path:
    """The key of a limit's threshold: as written, or as it would be where the number is a default."""
    if limit.core.is_switch:
        return limit.path
    side = "above" if limit.core.rises else "below"
    return q.problems.names.get((*limit.path, side), (*limit.path, as_written(side, signal.quantity)))


def _shown(number: float, signal: Fitted) -> str:
    return f"{number:g} {signal.core.unit}".rstrip()


def can_fire(q: Question) -> None:
    """A threshold must lie inside what instrument and converter can show, or the limit is an ornament."""
    for limit in q.limits.values():
        core = limit.core
        if core.is_switch:
            continue
        for signal in q.of(core):
            low, high = signal.readable_low, signal.readable_high
            reached = low < core.threshold < high
            if core.magnitude:
                reached = core.threshold < high and -core.threshold > low
            if not reached:
                q.problems.add(
                    _key(q, limit, signal),
                    f"{_shown(core.threshold, signal)} is never read: {signal.core.name} ends at {low:g} and "
                    f"{_shown(high, signal)}, the narrower of its range and its converter (range_V, supply_V)",
                    "Give a threshold inside that, or a wider range or another scaling.",
                )


def within_the_supply(q: Question) -> None:
    """No stack shows more volts than its supply has."""
    open_v = q.file.supply.open_circuit_V
    for limit in q.limits.values():
        signal = q.of(limit.core)[0]
        if signal.quantity == "voltage" and limit.core.rises and limit.core.threshold >= open_v:
            wrong = f"{_shown(limit.core.threshold, signal)} is never reached: the supply has {open_v:g} V open-circuit"
            q.problems.add(_key(q, limit, signal), wrong, f"Give less than {open_v:g} V, or leave the limit out.")


def power_on_value(q: Question) -> None:
    """A DS18B20 that lost power says 85.0 C: nothing may hang on that number."""
    for limit in q.limits.values():
        for signal in q.of(limit.core):
            if isinstance(q.file.signals[signal.core.name], measured.Ds18b20) and 84.0 <= limit.core.threshold <= 86.0:
                q.problems.add(
                    _key(q, limit, signal),
                    f"{limit.core.threshold:g} C is too near 85.0 C, which a DS18B20 says when it has lost power",
                    "Give less than 84 or more than 86 C.",
                )


def _normal(limit: Limit, signal: Fitted) -> float | None:
    """What the signal is in good running, where the limit is armed in it."""
    return None if limit.armed is Arming.OPENED else signal.normal


def order(q: Question) -> None:
    """normal < alarm < derate < trip < hard-wired cut < weakest part, or the other way round for a lower limit."""
    file = q.file
    beyond: dict[str, list[tuple[str, Path, float | None]]] = {
        "over-temperature": [
            ("the thermostat", ("power", "thermostat_C"), file.power.thermostat_C),
            ("the weakest part", ("cell", "weakest_part_C"), file.cell.weakest_part_C),
        ],
        "over-current": [
            ("the fuse", ("supply", "fuse_A"), file.supply.fuse_A),
            ("the cable", ("supply", "cable_A"), file.supply.cable_A),
        ],
        "gas pressure hydrogen side": _gas_ends(file),
        "gas pressure oxygen side": _gas_ends(file),
    }
    for name, limit in q.limits.items():
        if limit.core.is_switch or limit.core.effect is not Effect.TRIP:
            continue
        signal = q.of(limit.core)[0]
        steps: list[tuple[str, Path, float | None]] = [
            (
                "normal",
                ("signals", signal.core.name, as_written("normal", signal.quantity)),
                _normal(limit.core, signal),
            )
        ]
        for before in _before(q, limit.core):
            what = "the derate" if before.core.effect is Effect.DERATE else "the alarm"
            steps.append((what, _key(q, before, signal), before.core.threshold))
            if before.core.effect is Effect.DERATE:
                steps.append((f"{what}'s end", (*before.path, "derate_to"), before.core.derate_to))
        steps.append(("the trip", _key(q, limit, signal), limit.core.threshold))
        steps += beyond.get(name, [])
        _rising(q, steps, limit.core.rises, signal)


def _before(q: Question, trip: Limit) -> list[Reasoned]:
    """Alarms and derates on the way to a trip, in the order in which they must come."""
    found = [
        limit
        for limit in q.limits.values()
        if limit.core.effect in (Effect.ALARM, Effect.DERATE)
        and limit.core.rises is trip.rises
        and set(limit.core.members) & set(trip.members)
    ]
    sign = 1.0 if trip.rises else -1.0
    return sorted(found, key=lambda limit: (limit.core.effect, sign * limit.core.threshold))


def _gas_ends(file: models.RigFile) -> list[tuple[str, Path, float | None]]:
    return [
        ("the relief", ("gas", "relief_mbar"), file.gas.relief_mbar),
        ("the weakest part", ("gas", "weakest_part_mbar"), file.gas.weakest_part_mbar),
    ]


def _rising(q: Question, steps: list[tuple[str, Path, float | None]], rises: bool, signal: Fitted) -> None:
    known = [(what, path, number) for what, path, number in steps if number is not None]
    for (what, _, number), (next_what, path, following) in pairwise(known):
        if (following <= number) if rises else (following >= number):
            side = "above" if rises else "below"
            q.problems.add(
                path,
                f"{next_what} at {_shown(following, signal)} is not {side} {what} at {_shown(number, signal)}",
                f"Give {next_what} {side} {number:g}, or move {what}: "
                "normal, alarm, derate, trip, hard-wired cut, weakest part, each beyond the one before.",
            )


def sensor_error(q: Question) -> None:
    """A sensor must tell normal from trip: its error is under a third of the way between."""
    for limit in q.limits.values():
        if limit.core.effect is not Effect.TRIP or limit.core.is_switch:
            continue
        for signal in q.of(limit.core):
            normal = _normal(limit.core, signal)
            if normal is None:
                continue
            way = limit.core.threshold - normal if limit.core.rises else normal - limit.core.threshold
            if 0.0 < way <= 3.0 * signal.error:
                q.problems.add(
                    ("signals", signal.core.name, as_written("error", signal.quantity)),
                    f"an error of {_shown(signal.error, signal)} is a third or more of the {_shown(way, signal)} "
                    f"between normal and the trip {limit.core.name!r}",
                    f"Fit a sensor with an error under {_shown(way / 3.0, signal)}, or move the trip further away.",
                )


def watchdog(q: Question) -> None:
    relay = q.file.power.watchdog
    shortest_s = relay.drops_after_s * (1.0 - relay.tolerance_percent / 100.0)
    if MOST_SCAN_SHARE * q.file.scan_s > relay.drops_after_s * 1.000001 or 2.0 * q.file.scan_s >= shortest_s:
        q.problems.add(
            ("scan_s",),
            f"an edge each {q.file.scan_s:g} s is too slow for a watchdog relay that drops after "
            f"{relay.drops_after_s:g} s +-{relay.tolerance_percent:g} %",
            f"Give scan_s of at most {relay.drops_after_s / MOST_SCAN_SHARE:g}, or a slower relay.",
        )


def grace(q: Question) -> None:
    """What a limit tolerates not seeing: enough for a lost sample, not enough for harm."""
    for limit in q.limits.values():
        core = limit.core
        members = q.of(core)
        periods_s = 3.0 * max(s.core.period_s for s in members)
        path = (*limit.path, "grace_s")
        if members[0].quantity == "pressure" and core.effect is Effect.TRIP and core.grace_s > PRESSURE_GRACE_S:
            right = f"Give at most {PRESSURE_GRACE_S:g} s, or leave it out for 0.5 s."
            q.problems.add(path, f"{core.grace_s:g} s blind is 14 mbar a second in a shut headspace of 0.8 L", right)
        if 0.0 < core.far_grace_s <= core.grace_s:
            wrong = f"{core.far_grace_s:g} s is no longer than grace_s, {core.grace_s:g} s"
            q.problems.add((*limit.path, "far_grace_s"), wrong, "Give more, or leave it out.")
        if core.effect is Effect.TRIP and max(core.grace_s, core.far_grace_s) < periods_s - 1e-9:
            q.problems.warn(
                limit.path,
                f"{core.grace_s:g} s of grace is under three sample periods ({periods_s:g} s): "
                "one lost sample can trip; a sensor that is read more often would not",
            )


def votes_on_one_device(q: Question) -> None:
    """A vote of two or more is there to live through the loss of one; members that are lost together are one."""
    for limit in q.limits.values():
        devices = {signal.core.device for signal in q.of(limit.core)}
        votes = limit.core.needed > 1 and limit.core.effect >= Effect.STOP
        if votes and len(devices) == 1 and "" not in devices:
            q.problems.warn(
                (*limit.path, "signals"),
                f"all of them hang on {devices.pop()}: lost together they are one sensor; put one of them elsewhere",
            )


def weld_or_noise(q: Question) -> None:
    """A lock-out takes a person with a written reason: one disturbed sample must not be enough for it."""
    limit = q.limits.get("current while off")
    if limit is not None and limit.core.delay_s <= 0.0:
        q.problems.warn(
            (*limit.path, "delay_s"),
            f"at {limit.core.delay_s:g} s one disturbed sample locks the rig out; leave it out for {WELD_DELAY_S:g} s",
        )


def pressure_against_seal(q: Question) -> None:
    half_mbar = half_seal_mbar(q.file)
    cell = q.file.cell
    for limit in q.limits.values():
        signal = q.of(limit.core)[0]
        if signal.quantity != "pressure" or limit.core.effect is not Effect.TRIP or not limit.core.rises:
            continue
        if limit.core.threshold > half_mbar * 1.0005:
            per_mm = cell.lye_g_mL * MBAR_PER_MM_AT_1_G_ML
            seal_mbar = cell.seal_depth_mm * per_mm
            bubble = cell.bubble_point_mbar
            least = f", and the separator lets gas through at {bubble:g} mbar" if bubble and bubble < seal_mbar else ""
            q.problems.add(
                _key(q, limit, signal),
                f"{limit.core.threshold:g} mbar pushes gas from one side into the other: {cell.seal_depth_mm:g} mm of "
                f"lye at {cell.lye_g_mL:g} g/mL hold {cell.seal_depth_mm:g} x {per_mm:.4f} = {seal_mbar:.1f} mbar"
                f"{least}; half of the smaller is {half_mbar:.1f} mbar",
                f"Give at most {int(10.0 * half_mbar) / 10.0:g} mbar.",
            )


def minimum_current(q: Question) -> None:
    file = q.file
    given = file.supply.minimum_current_A
    path: Path = ("supply", "minimum_current_A")
    if given is not None and given < file.purity_a * 0.9995:
        at_a = file.cell.crossover_at_A or file.supply.rated_A
        q.problems.add(
            path,
            f"at {given:g} A more than 1 % hydrogen is in the oxygen: {file.cell.crossover_percent:g} % at {at_a:g} A "
            f"is 1 % at {file.purity_a:.2f} A",
            f"Give at least {int(100.0 * file.purity_a + 1.0) / 100.0:g} A, or measure the crossover.",
        )
    if file.minimum_a >= q.allowed_a:
        wrong = (
            f"the minimum of {file.minimum_a:g} A leaves nothing under the {q.allowed_a:g} A that this rig may run at"
        )
        if q.allowed_a < file.supply.rated_A:
            q.problems.warn(path, f"{wrong}: attended runs are below it, their gas is not pure")
        else:
            q.problems.add(path, wrong, f"Give less than {q.allowed_a:g} A, or a better separator.")


def current_both_ways(q: Question) -> None:
    """Leads the wrong way must not read as no current."""
    current = q.signals.get("current")
    if current is not None and current.readable_low >= -2.0 * max(1.0, current.error):
        q.problems.add(
            ("signals", "current", "range_low_A"),
            f"this channel cannot read below {_shown(current.readable_low, current)}: leads the wrong way would read "
            "as almost no current, and a reversed short as none",
            "Use an amplifier with a mid-point, read it against that (plus, minus), and give a range on both sides.",
        )


def supply_and_set_point(q: Question) -> None:
    kind = q.file.supply.kind
    if kind == "settable" and q.file.set_point is None:
        right = "Describe [set_point], or give the kind of knob it has."
        q.problems.add(("supply", "kind"), "a settable supply needs a way to be told its current", right)
    if kind != "settable" and q.file.set_point is not None:
        right = 'Leave [set_point] out, or say kind = "settable".'
        q.problems.add(("set_point",), f"a supply of kind {kind!r} cannot be told its current", right)
    inrush_a = q.file.supply.inrush_A
    fuse_a = q.file.supply.fuse_A
    if inrush_a is not None and fuse_a is not None and inrush_a > 10.0 * fuse_a:
        q.problems.add(
            ("supply", "inrush_A"), f"{inrush_a:g} A would blow a fuse of {fuse_a:g} A", "Give a slower fuse."
        )


def travel_times(q: Question) -> None:
    """Contactors must have opened before anything waits for them."""
    power = q.file.power
    for part in ("main", "second"):
        breaker: models.Breaker | None = getattr(power, part)
        if breaker is not None and breaker.opening_s > power.watchdog.drops_after_s:
            wrong = f"{breaker.opening_s:g} s to open is longer than the watchdog relay takes"
            q.problems.add(("power", part, "opening_s"), wrong, f"Give at most {power.watchdog.drops_after_s:g} s.")


def pulses_in_time(q: Question) -> None:
    """A turbine's flow is told from the pulses of the last second: few at a limit cannot tell it from the next flow,
    and more than a Pi's pins can stamp are lost."""
    for name, meter in q.file.fitted.items():
        if not isinstance(meter, measured.PulseMeter | measured.KernelCounter):
            continue
        path: Path = ("signals", name, "pulses_per_L")
        hz_L_min = meter.pulses_per_L / 60.0
        for limit in q.limits.values():
            if limit.core.rises or name not in (signal.core.name for signal in q.of(limit.core)):
                continue
            least_hz = hz_L_min * limit.core.threshold
            if least_hz < LEAST_PULSES:
                q.problems.add(
                    path,
                    f"at the {limit.core.threshold:g} L/min of {limit.core.name!r} it gives {least_hz:.2g} pulses a "
                    f"second; {LEAST_PULSES} are needed",
                    "Give the pulses of one litre, as in the data sheet (hundreds are common), or fit a finer meter.",
                )
                break
        most_hz = hz_L_min * meter.range_high
        if isinstance(meter, measured.PulseMeter) and most_hz > MOST_HZ:
            q.problems.add(
                path,
                f"at {meter.range_high:g} L/min it gives {most_hz:.0f} pulses a second; a pin takes {MOST_HZ}",
                "Give the pulses of one litre, a smaller range_high_L_min, or let the kernel count (kernel counter).",
            )


def zero_below_minimum(q: Question) -> None:
    if "current" in q.signals and zero_current_a(q.file) >= q.file.minimum_a:
        error = q.signals["current"].core.error
        wrong = f"with an error of {error:g} A nobody can tell {q.file.minimum_a:g} A from none"
        q.problems.add(("signals", "current", "error_A"), wrong, f"Give less than {q.file.minimum_a / 2.0:g} A.")


QUESTIONS: tuple[Callable[[Question], None], ...] = (
    can_fire,
    within_the_supply,
    power_on_value,
    order,
    sensor_error,
    lambda q: inputs.broken_wire_shows(q.file, q.signals, q.limits, q.problems),
    watchdog,
    grace,
    votes_on_one_device,
    weld_or_noise,
    pressure_against_seal,
    minimum_current,
    current_both_ways,
    lambda q: inputs.within_supply(q.file, q.problems),
    supply_and_set_point,
    travel_times,
    zero_below_minimum,
    pulses_in_time,
)


def look(question: Question) -> None:
    """Put every question."""
    for ask in QUESTIONS:
        ask(question)
