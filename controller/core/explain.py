"""What the rig is doing and why, in one plain sentence, with the numbers that stand behind it.

The numbers in a sentence are those of the memory it was made from; `Sentence.numbers` carries them, so that a test can
compare. Nothing is computed here that the decision did not use.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.by_hand import to_do_by_hand
from controller.core.crosschecks import first_power_goes_on
from controller.core.events import Event, Happened
from controller.core.limits import Limit
from controller.core.margins import Margin, nearest
from controller.core.memory import Memory, gas_may_be_present
from controller.core.rig import Rig
from controller.core.sequence import Check, State
from controller.core.signals import Code
from controller.core.trips import FINDINGS, Cause, Seen


class Sentence(NamedTuple):
    text: str
    numbers: tuple[tuple[str, float], ...] = ()


PLAIN: dict[Code, str] = {
    Code.OK: "good",
    Code.ABSENT: "no answer",
    Code.BUS_ERROR: "the bus reports errors",
    Code.TIMED_OUT: "no answer in time",
    Code.WRONG_CONFIGURATION: "the converter was not set as it was told",
    Code.BAD_CHECKSUM: "the answer is garbled",
    Code.POWER_ON_VALUE: "the sensor shows its power-on value",
    Code.ALL_ZERO: "the line reads all zero",
    Code.REFERENCE_WRONG: "the reference voltage reads wrong",
    Code.NOISE: "pulses that no flow makes",
    Code.COUNTER_RESTART: "the counter began anew",
    Code.NOT_READ_YET: "not read yet",
    Code.WIRE_FAULT: "broken or shorted wire",
    Code.FORCED: "forced for a test",
    Code.CALIBRATION_OVERDUE: "good, calibration overdue",
    Code.OUT_OF_SPECIFICATION: "outside what the sensor is made for",
    Code.NOT_FINITE: "not a number",
    Code.FROM_THE_FUTURE: "its time lies ahead",
    Code.OLDER_THAN_THE_LAST: "older than the reading before",
    Code.OLD: "no new reading",
    Code.SATURATED: "at the end of what the converter can read",
    Code.OUT_OF_RANGE: "outside the sensor's range",
    Code.TOO_FAST: "faster than it can change",
    Code.CONTRADICTED: "contradicted by another signal",
}

_STEP_IN_WORDS: dict[Check, str] = {
    Check.PROVE: "waiting for flow and air to be proven",
    Check.RELAY_PICKS_UP: "the watchdog relay closes",
    Check.SECOND_ALONE: "the second contactor alone lets no current through",
    Check.SECOND_OPENS: "the second contactor opens",
    Check.MAIN_ALONE: "the main contactor alone lets no current through",
    Check.RELAY_DROPS: "without edges the watchdog relay opens the contactor",
    Check.STAYS_OPEN: "the contactor stays open until it is told to close",
    Check.READY: "writing down that power is about to come on",
}


def duration(seconds: float) -> str:
    """A time span as people say it.

    >>> duration(5400), duration(42), duration(600)
    ('1 h 30 min', '42 s', '10 min')
    """
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"


def number(value: float, unit: str) -> str:
    """A measured number as people read it, with its unit.

    >>> number(61.94, "C"), number(0.4213, "L/min"), number(12.3, "A")
    ('61.9 C', '0.42 L/min', '12.3 A')
    """
    digits = 2 if abs(value) < 10.0 else 1
    return f"{value:.{digits}f} {unit}".replace("-0.00 ", "0.00 ")


def _limit(rig: Rig, name: str) -> Limit | None:
    return next((limit for limit in rig.limits if limit.name == name), None)


def title(rig: Rig, cause: Cause) -> str:
    """The cause in a few words."""
    limit = _limit(rig, cause.name)
    if limit is not None:
        return limit.title
    found = FINDINGS.get(cause.name)
    return found.title.capitalize() if found else f"Lost together: everything on {cause.name}"


def explain_cause(rig: Rig, cause: Cause) -> Sentence:
    """Why power was cut: what was seen, against which limit."""
    what = title(rig, cause)
    limit = _limit(rig, cause.name)
    signal = next((s for s in rig.signals if s.name == cause.signal), None)
    if cause.seen is Seen.OWN:
        detail = f" ({cause.signal})" if cause.signal else ""
        return Sentence(f"{what}{detail}.", _pairs(cause))
    if limit is None or signal is None:
        return Sentence(f"{what}: {PLAIN[Code(cause.code)]}.")
    if cause.seen is Seen.BLIND:
        return Sentence(f"{what}: cannot be ruled out, {signal.title.lower()} is not seen ({PLAIN[Code(cause.code)]}).")
    if cause.seen is Seen.INTERMITTENT:
        return Sentence(f"{what}: cannot be ruled out, {signal.title.lower()} comes and goes.")
    if limit.is_switch:
        return Sentence(f"{what}: the contact is open, or its wire is broken.", _pairs(cause))
    assert cause.number is not None
    assert cause.limit is not None
    sign = "or more" if limit.rises else "or less"
    found = f"{what}: {number(cause.number, signal.unit)}; the limit is {number(cause.limit, signal.unit)} {sign}"
    if cause.seen is Seen.REFUSED:
        found += f" (the reading is {PLAIN[Code(cause.code)]}: it may be the sensor, or it may be so)"
    return Sentence(found + ".", _pairs(cause))


def _pairs(cause: Cause) -> tuple[tuple[str, float], ...]:
    pairs = (("number", cause.number), ("limit", cause.limit))
    return tuple((name, value) for name, value in pairs if value is not None)


def _proven(rig: Rig, memory: Memory) -> str:
    main, second, _ = memory.contacts
    role = rig.roles.current
    current_a = memory.values[role].number if role >= 0 else None
    if memory.sequence.powered or main or second:
        return "Power is not proven off yet."
    seen = "contactors open" if main is False else "contactors told to open"
    amps = "current not known" if current_a is None else f"{abs(current_a):.1f} A"
    return f"Power is off: {seen}, {amps}."


def _way_left(rig: Rig, margin: Margin | None) -> tuple[str, tuple[tuple[str, float], ...]]:
    if margin is None:
        return "", ()
    signal = rig.signals[margin.signal]
    if margin.left is None:
        return f" {signal.title} is not seen.", ()
    if margin.due_in_s is not None:
        text = f" {signal.title} is at its limit"
        text += f": power goes off in {margin.due_in_s:.0f} s if it stays." if margin.due_in_s > 0.0 else "."
        return text, (("due_in_s", margin.due_in_s),)
    text = f" {signal.title} is nearest its limit: {number(margin.left, signal.unit)} left"
    if margin.seconds is not None:
        text += f", about {duration(margin.seconds)} at this trend"
    pairs = (("left", margin.left),) + ((("seconds", margin.seconds),) if margin.seconds is not None else ())
    return text + ".", pairs


def explain(rig: Rig, memory: Memory, found: tuple[Margin, ...]) -> Sentence:
    """What the rig is doing, since when, and which limit is nearest. `found`: the margins of the same memory."""
    seq, latch, run = memory.sequence, memory.latch, memory.run
    role = rig.roles.current
    current_a = memory.values[role].number if role >= 0 else None
    amps = "an unknown current" if current_a is None else number(current_a, "A")
    numbers: tuple[tuple[str, float], ...] = () if current_a is None else (("current_a", current_a),)
    for_s = memory.now_s - seq.since_s
    match seq.state:
        case State.TRIPPED | State.LOCKED_OUT:
            first = latch.causes[0]
            why = explain_cause(rig, first)
            head = "Locked out" if seq.state is State.LOCKED_OUT else "Tripped"
            return Sentence(f"{head} {duration(for_s)} ago. {why.text} {_proven(rig, memory)}", why.numbers)
        case State.CHECKING:
            return Sentence(f"Checking before the start: {_STEP_IN_WORDS[seq.check]}.{to_do_by_hand(rig, memory)}")
        case State.RAMPING if first_power_goes_on(seq, run):
            hold = "held there, " if rig.supply.settable else ""
            seen = f"{hold}for {rig.timing.first_power_s:.0f} s it is seen whether volts and current fit"
            return Sentence(f"First power with this rig file: {amps}; {seen}.", numbers)
        case State.RAMPING:
            return Sentence(f"Starting: {amps} of {run.wanted_a:.0f} A.", numbers)
        case State.VENTING:
            left = max(0.0, rig.vent_charge_c - run.vented_c)
            wait = f", fit to use in about {duration(left / current_a)}" if current_a and current_a > 0.0 else ""
            text, more = _way_left(rig, nearest(rig, found))
            text = to_do_by_hand(rig, memory) + text
            return Sentence(f"Running at {amps}, the first gas goes to the vent{wait}.{text}", numbers + more)
        case State.RUNNING:
            text, more = _way_left(rig, nearest(rig, found))
            text = to_do_by_hand(rig, memory) + text
            return Sentence(f"Running at {amps} for {duration(memory.now_s - run.began_s)}.{text}", numbers + more)
        case State.STOPPING:
            why_text = f": {run.ending}" if run.ending else ""
            return Sentence(f"Stopping{why_text}.", numbers)
        case State.COOLING:
            why_text = f" It ended: {run.ending}." if run.ending else ""
            return Sentence(f"Cooling down. {_proven(rig, memory)}{why_text}{_gas(memory)}")
        case State.OUT_OF_SERVICE:
            return Sentence(f"Out of service by {latch.held_by}: {latch.hold_reason}. {_proven(rig, memory)}")
        case State.SERVICE:
            driven = memory.person.driven or "nothing"
            return Sentence(f"In service: outputs are driven by hand, now {driven}.")
        case _:
            return Sentence(f"Off. {_proven(rig, memory)}{_gas(memory)}")


def _gas(memory: Memory) -> str:
    return " Gas may still be present." if gas_may_be_present(memory) else ""


_WORDS: dict[Happened, str] = {
    Happened.STATE: "{subject}: {detail}",
    Happened.TRIP: "tripped by {subject}",
    Happened.LATER_CAUSE: "also found: {subject}",
    Happened.ALARM: "alarm: {detail}",
    Happened.ALARM_CLEARED: "alarm over: {detail}",
    Happened.STOP_DEMANDED: "orderly stop: {detail}",
    Happened.ACCEPTED: "{source} asked to {subject}: done",
    Happened.REFUSED: "{source} asked to {subject}: refused, {detail}",
    Happened.RESET: "{subject} reset by {source}",
    Happened.SIGNAL_LOST: "{subject} lost: {detail}",
    Happened.SIGNAL_BACK: "{subject} is back",
    Happened.SELF_TEST: "self-test, {subject}: {detail}",
    Happened.BYPASSED: "{subject} bypassed by {source}: {detail}",
    Happened.BYPASS_ENDED: "bypass of {subject} over",
    Happened.LATE_SCAN: "a scan came late",
    Happened.GAS: "gas is {subject}",
    Happened.STARTED: "the guard started: {subject}",
    Happened.NOTE: "{subject}: {detail}",
}


def explain_event(rig: Rig, event: Event) -> str:
    """One line for the record."""
    subject, detail = event.subject, event.detail
    if event.what in (Happened.ACCEPTED, Happened.REFUSED, Happened.STATE):
        subject = subject.lower().replace("_", " ")
    if event.what is Happened.SIGNAL_LOST:
        detail = PLAIN[Code[detail]] if detail in Code.__members__ else detail
    text = _WORDS[event.what].format(subject=subject, detail=detail, source=event.source.lower() or "the guard")
    if event.seen is not None and event.limit is not None:
        limit = _limit(rig, event.subject)
        unit = rig.signals[limit.members[0]].unit if limit is not None and not limit.is_switch else ""
        if unit:
            text += f" ({number(event.seen, unit)}, limit {number(event.limit, unit)})"
    return text
