"""From the signals of a rig file to the core's signals and to what is plugged in where."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from controller.config import measured, models
from controller.config.lines import Path
from controller.config.problems import Problems, shown
from controller.config.units import QUANTITIES, quantity_of
from controller.core.signals import Signal
from controller.hardware import description as hw
from controller.hardware.scales import (
    CurrentLoop,
    LiveZero,
    NtcBeta,
    NtcSteinhartHart,
    Platinum,
    PulledUp,
    Scale,
    SupervisedContact,
    TwoPoint,
    divider,
    shunt_amplifier,
)

# Slow readers that share a bus take turns.
CONVERSION_S = 0.95  # of one 1-Wire sensor
KERNEL_S = 1.05  # of one question to the kernel
MOST_GRACE_S = 6.0
SCALINGS = ("V_per_A", "V_per_V", "hall", "divider", "two_points", "loop", "thermistor", "steinhart_hart", "platinum")
WORKED_OUT = ("spread", "sum")
# A rail is not quite reached, and a converter shows the code before its last one as its own end.
RAIL = 0.99
# A bare shunt in the negative lead, or the volts behind two resistors, go this far under ground when the leads are
# changed over, and keep their sign; the chip stands 0.3 V (ADS1115 data sheet, absolute maximum ratings).
BELOW_GROUND_V = 0.1
LAST_CODE = 32767 / 32768


class Fitted(NamedTuple):
    """One signal as the core knows it, where it comes from, and what can be read of it at all."""

    core: Signal
    source: hw.Source
    quantity: str
    readable_low: float  # ends of what instrument and converter can mean, in the signal's unit
    readable_high: float
    error: float  # at its normal reading; that of the core is at rest
    normal: float | None


def standard_grace_s(period_s: float) -> float:
    """Three sample periods, at least 2 s, at most 6 s."""
    return min(MOST_GRACE_S, max(2.0, 3.0 * period_s))


def chips(file: models.RigFile, problems: Problems) -> dict[str, hw.Ads1115]:
    """Converters by name."""
    out: dict[str, hw.Ads1115] = {}
    for name, table in file.converters.items():
        path: Path = ("converters", name)

        def made(table: measured.Ads1115 = table) -> hw.Ads1115:
            known = table.reference
            return hw.Ads1115(
                table.bus,
                table.address,
                table.data_rate_per_s,
                None
                if known is None
                else hw.KnownVoltage(known.input, known.volts_V, known.range_V, known.tolerance_percent / 100.0),
            )

        chip = accepted(made, path, problems)
        if chip is not None:
            out[name] = chip
        reference = table.reference
        if reference is not None:
            if reference.range_V not in hw.FULL_SCALES_V:
                problems.add(
                    (*path, "reference", "range_V"), f"{reference.range_V:g} V is no range of an ADS1115", _RANGES
                )
            elif reference.volts_V >= min(reference.range_V, table.supply_V):
                end = min(reference.range_V, table.supply_V)
                problems.add(
                    (*path, "reference", "volts_V"),
                    f"{reference.volts_V:g} V cannot be read: the channel ends at {end:g} V",
                    f"Give a reference under {end:g} V, or a wider range_V.",
                )
    return out


_RANGES = f"Give one of {', '.join(f'{v:g}' for v in hw.FULL_SCALES_V)}."


def accepted(make: Callable[[], hw.Ads1115], path: Path, problems: Problems) -> hw.Ads1115 | None:
    """What `make` gives, or None with its refusal reported at `path`."""
    try:
        return make()
    except ValueError as refusal:
        refused(refusal, path, problems)
        return None


def refused(refusal: ValueError, path: Path, problems: Problems) -> None:
    """Report the text of a hardware description's refusal: what is wrong, then what would be right."""
    wrong, _, right = str(refusal).partition(". ")
    problems.add(path, wrong, right or "Give another.")


def _periods_s(file: models.RigFile) -> dict[str, float]:
    """Sample periods of what is read in turn, by device.

    A sample is stamped at the start of its reading and is there when that is over, so at most (sharers + 1) readings
    old when the next one comes: the period is long enough for it not to be called old (1.5 periods) before that.
    """

    def turns_s(one_s: float, *kinds: type) -> float:
        sharers = sum(isinstance(s, kinds) for s in file.fitted.values())
        return max(file.scan_s, one_s * sharers, one_s * (sharers + 1) / 1.5)

    return {
        "1-Wire bus": turns_s(CONVERSION_S, measured.Ds18b20),
        "controller": turns_s(KERNEL_S, measured.ControllerSupply, measured.ControllerTemperature),
    }


def _period_s(source: hw.Source, file: models.RigFile, periods_s: dict[str, float]) -> float:
    """What is worked out is as old as the slowest of what it is made from."""
    if isinstance(source, hw.WorkedOut):
        slow = any(isinstance(file.fitted[name], measured.Ds18b20) for name in source.of)
        return periods_s["1-Wire bus"] if slow else file.scan_s
    return periods_s.get(source.device, file.scan_s)


def compile_signals(file: models.RigFile, allowed_a: float, problems: Problems) -> dict[str, Fitted]:
    """Every fitted signal by name, in the order of the file. allowed_a: the largest current that its grade allows."""
    converters = chips(file, problems)
    periods_s = _periods_s(file)
    out: dict[str, Fitted] = {}
    for name, signal in file.fitted.items():
        path: Path = ("signals", name)
        quantity = quantity_of(name, {"quantity": signal.quantity})
        if not quantity or signal.quantity not in (None, quantity):
            given = "its quantity is not known" if signal.quantity is None else f"{shown(signal.quantity)} is not right"
            right = f"Leave it out: {name} is a {quantity}." if quantity else f"Give one of {', '.join(QUANTITIES)}."
            problems.add((*path, "quantity"), given, right)
            continue
        is_contact = not isinstance(signal, measured.Measured)
        if is_contact and quantity != "switch":
            wrong = f"a {signal.sensor} is a switch, not a {quantity}"
            problems.add((*path, "sensor"), wrong, 'Give quantity = "switch", or another sensor.')
            continue
        try:
            source = _source(signal, converters, file, path, problems)
        except ValueError as refusal:
            refused(refusal, path, problems)
            continue
        if source is not None:
            out[name] = _fitted(file, name, signal, source, quantity, periods_s, allowed_a, problems)
    return out


def _source(
    signal: measured.Fitted, converters: dict[str, hw.Ads1115], file: models.RigFile, path: Path, problems: Problems
) -> hw.Source | None:
    match signal:
        case measured.Channel() | measured.SupervisedChannel():
            return _channel(signal, converters, file, path, problems)
        case measured.Ds18b20():
            return hw.Ds18b20(signal.id, signal.step or 0.5, 0.1 if signal.rate is None else signal.rate)
        case measured.PulseMeter():
            return hw.PulseMeter(
                signal.pin,
                signal.pulses_per_L,
                signal.least_L_min,
                signal.range_high,
                signal.shortest_pulse_s,
                signal.pull,
            )
        case measured.KernelCounter():
            return hw.CountedMeter(
                signal.path, signal.width_bits, signal.pulses_per_L, signal.least_L_min, signal.range_high
            )
        case measured.Switch():
            return hw.Switch(signal.pin, signal.pull, signal.proven_when)
        case measured.ControllerSupply():
            return hw.SupplyGood()
        case measured.ControllerTemperature():
            return hw.CoreTemperature()
        case measured.Spread():
            return hw.WorkedOut(_members(signal.of, file))
        case measured.Sum():
            return hw.WorkedOut(_members(list(signal.of), file), tuple(signal.of.values()), signal.offset)


def _members(names: list[str], file: models.RigFile) -> tuple[str, ...]:
    """Names of measured signals, each once. Raises ValueError with what would be right."""
    for name in names:
        other = file.fitted.get(name)
        if not isinstance(other, measured.Measured) or isinstance(other, measured.Spread | measured.Sum):
            fitted = [n for n, s in file.fitted.items() if isinstance(s, measured.Measured)]
            known = [n for n in fitted if file.fitted[n].sensor not in WORKED_OUT]
            raise ValueError(f"{shown(name)} is no measured signal. Name some of {', '.join(known)}.")
    if len(set(names)) < len(names):
        raise ValueError("a signal is named twice. Name each once.")
    return tuple(names)


def _channel(
    signal: measured.Channel | measured.SupervisedChannel,
    converters: dict[str, hw.Ads1115],
    file: models.RigFile,
    path: Path,
    problems: Problems,
) -> hw.Ads1115Channel | None:
    chip = converters.get(signal.converter)
    if chip is None:
        if signal.converter not in file.converters:
            known = ", ".join(file.converters) or "none yet"
            problems.add(
                (*path, "converter"),
                f"there is no converter {shown(signal.converter)}",
                f"Give the name of a table under [converters]: {known}.",
            )
        return None
    supply_v = file.converters[signal.converter].supply_V
    if isinstance(signal, measured.SupervisedChannel):
        contact = SupervisedContact(signal.supervised.closed_V, signal.supervised.open_V)
        return hw.Ads1115Channel(chip, signal.plus, signal.range_V, contact)
    given = [key for key in SCALINGS if getattr(signal, key) is not None]
    if len(given) != 1:
        problems.add(
            path,
            f"{' and '.join(given)} are given" if given else "no scaling is given",
            f"Give exactly one of {', '.join(SCALINGS)}.",
        )
        return None
    return hw.Ads1115Channel(chip, signal.plus, signal.range_V, _scale(signal, supply_v), signal.minus)


def _scale(signal: measured.Channel, supply_v: float) -> Scale:
    if signal.V_per_A is not None:
        return shunt_amplifier(signal.V_per_A)
    if signal.hall is not None:
        middle_v = 0.0 if signal.minus is not None else signal.hall.rail_V / 2.0
        return TwoPoint(middle_v, 0.0, middle_v + signal.hall.V_per_A, 1.0)
    if signal.V_per_V is not None:
        return TwoPoint(0.0, 0.0, signal.V_per_V, 1.0)
    if signal.divider is not None:
        return divider(signal.divider.top_ohm, signal.divider.bottom_ohm)
    if signal.loop is not None:
        return CurrentLoop(signal.loop.ohm, *signal.loop.means)
    if signal.thermistor is not None:
        wired = PulledUp(signal.thermistor.pull_up_ohm, supply_v)
        return NtcBeta(wired, signal.thermistor.ohm_at_25_C, signal.thermistor.beta_K)
    if signal.steinhart_hart is not None:
        given = signal.steinhart_hart
        return NtcSteinhartHart(PulledUp(given.pull_up_ohm, supply_v), given.a, given.b, given.c)
    if signal.platinum is not None:
        return Platinum(PulledUp(signal.platinum.pull_up_ohm, supply_v), signal.platinum.ohm_at_0_C)
    points = signal.two_points
    assert points is not None
    (low_v, high_v), (low, high) = points.at_V, points.means
    line = TwoPoint(low_v, low, high_v, high)
    if not points.live_zero:
        return line
    least_v, most_v = min(points.at_V), max(points.at_V)
    if not 0.0 < least_v < most_v < supply_v:
        raise ValueError(
            f"points at {least_v:g} and {most_v:g} V leave no room to the rails at 0 and {supply_v:g} V. "
            "Give points between the rails, or leave live_zero out."
        )
    return LiveZero(line, least_v / 2.0, (most_v + supply_v) / 2.0)


def _fitted(
    file: models.RigFile,
    name: str,
    signal: measured.Fitted,
    source: hw.Source,
    quantity: str,
    periods_s: dict[str, float],
    allowed_a: float,
    problems: Problems,
) -> Fitted:
    path: Path = ("signals", name)
    ends = ENDLESS
    if isinstance(signal, measured.Channel):
        assert isinstance(source, hw.Ads1115Channel)
        try:
            ends = _ends(signal, source.scale, file.converters[signal.converter].supply_V)
        except (ValueError, OverflowError, ZeroDivisionError) as refusal:
            refused(ValueError(str(refusal)), path, problems)
    low, high, error, filter_s = 0.0, 1.0, 0.0, 0.0
    step, rate_per_s, normal = math.inf, 0.0, None
    if isinstance(signal, measured.Measured):
        low, high, filter_s = signal.range_low, signal.range_high, signal.filter_s
        error = signal.zero_error
        step, rate_per_s, normal = signal.step or math.inf, signal.rate or 0.0, signal.normal
        if low >= high:
            problems.add((*path, "range_low"), f"{low:g} is not below range_high", f"Give less than {high:g}.")
    if name == "current" and normal is not None:
        normal = min(normal, allowed_a)
    if isinstance(source, hw.Ds18b20):
        step, rate_per_s = source.step_c, source.rate_c_per_s
    core = Signal(
        name=name,
        title=signal.title or name.replace("_", " ").capitalize(),
        unit=QUANTITIES[quantity].shown,
        quantity=quantity,
        period_s=_period_s(source, file, periods_s),
        low=low,
        high=high,
        electrical_low=ends.pinned_low,
        electrical_high=ends.pinned_high,
        rail_is_wire_fault=isinstance(signal, measured.Channel) and bool(
            signal.thermistor or signal.steinhart_hart or signal.platinum
        ),
        step=step,
        rate_per_s=rate_per_s,
        filter_s=filter_s,
        error=error,
        normal=normal,
        device=source.device,
    )
    whole_error = signal.whole_error if isinstance(signal, measured.Measured) else 0.0
    return Fitted(
        core, source, quantity, max(ends.readable_low, low), min(ends.readable_high, high), whole_error, normal
    )


class Ends(NamedTuple):
    """Numbers at the two ends of what a channel can show, and those of them at which the converter is pinned."""

    readable_low: float
    readable_high: float
    pinned_low: float
    pinned_high: float


ENDLESS = Ends(-math.inf, math.inf, -math.inf, math.inf)


def volts_at_ends(signal: measured.Channel, supply_v: float) -> tuple[float, float]:
    """Least and most volts that the channel can show: the converter's range or the rails of its supply."""
    middle_v = (signal.middle_V or 0.0) if signal.minus is not None else 0.0
    bare_shunt = signal.V_per_A is not None and signal.minus is not None and not signal.isolated
    below_v = BELOW_GROUND_V if bare_shunt or signal.divider is not None else 0.0
    return max(-signal.range_V, -middle_v - below_v), min(signal.range_V * LAST_CODE, RAIL * supply_v - middle_v)


def _ends(signal: measured.Channel, scale: Scale, supply_v: float) -> Ends:
    low_v, high_v = volts_at_ends(signal, supply_v)
    match scale:
        case LiveZero():  # beyond its bands the scale itself says that a wire is broken
            low_v, high_v = max(low_v, scale.broken_below_v), min(high_v, scale.broken_above_v)
            scale = scale.line
        case CurrentLoop():
            low_v = max(low_v, 3.61e-3 * scale.ohm)
        case NtcBeta() | NtcSteinhartHart() | Platinum():
            if isinstance(scale, Platinum):
                least_v, most_v = scale.ends_v()
                low_v, high_v = max(low_v, least_v), min(high_v, most_v)
            low_v, high_v = max(low_v, 0.011 * supply_v), min(high_v, 0.989 * supply_v)
    first, last = scale(low_v).number, scale(high_v).number
    if first is None or last is None:
        raise ValueError(
            "the scaling has no meaning at the ends of this channel. Give a range_V that covers the sensor."
        )
    # against ground nothing is pinned at 0 V: a quantity at rest reads it, give or take a count
    open_ended = signal.minus is None and not isinstance(scale, NtcBeta | NtcSteinhartHart | Platinum)
    if first <= last:
        return Ends(first, last, -math.inf if open_ended else first, last)
    return Ends(last, first, last, math.inf if open_ended else first)
