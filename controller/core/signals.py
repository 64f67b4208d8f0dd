"""One measured quantity: what the driver gave (a *reading*), and what may be believed of it (a *value*).

Validation is a list of questions in a fixed order; the first one answered badly is the reason. A value carries its
status after NAMUR NE 107 and the stamp of its last good sample, from which the blind time follows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

INFINITE = math.inf


class Status(IntEnum):
    """Health of a signal, after NAMUR NE 107."""

    GOOD = 0
    MAINTENANCE_REQUIRED = 1  # a valid reading: a calibration is overdue
    OUT_OF_SPECIFICATION = 2  # counts towards a trip, never against one
    FUNCTION_CHECK = 3  # forced for a proof test: forbids power
    FAILURE = 4


class Code(IntEnum):
    """Why a value is not good. The first group is the driver's own word, the second the validation's."""

    OK = 0
    ABSENT = 1
    BUS_ERROR = 2
    TIMED_OUT = 3
    WRONG_CONFIGURATION = 4
    BAD_CHECKSUM = 5
    POWER_ON_VALUE = 6
    ALL_ZERO = 7
    REFERENCE_WRONG = 8
    NOISE = 9
    COUNTER_RESTART = 10
    NOT_READ_YET = 11
    WIRE_FAULT = 12
    FORCED = 13
    CALIBRATION_OVERDUE = 14
    OUT_OF_SPECIFICATION = 15

    NOT_FINITE = 32
    FROM_THE_FUTURE = 33
    OLDER_THAN_THE_LAST = 34
    OLD = 35
    SATURATED = 36
    OUT_OF_RANGE = 37
    TOO_FAST = 38
    CONTRADICTED = 39


class Reading(NamedTuple):
    """What a driver gave: a number in the signal's unit, the start of its conversion, and the driver's own word."""

    number: float | None
    stamp_s: float
    code: Code = Code.OK


@dataclass(frozen=True, slots=True)
class Signal:
    """What is known beforehand about one measured quantity. Numbers in `unit`.

    A switch is a signal too: its number is the share of the scan for which the safe contact was proven, 0 to 1.
    """

    name: str
    title: str
    unit: str
    quantity: str
    period_s: float
    low: float
    high: float
    electrical_low: float = -INFINITE  # where converter or its supply rail ends, in `unit`
    electrical_high: float = INFINITE
    rail_is_wire_fault: bool = False  # an end that means a broken wire says nothing of the quantity
    step: float = INFINITE  # largest change between two samples, beyond which `rate_per_s` counts
    rate_per_s: float = 0.0
    filter_s: float = 0.0
    error: float = 0.0
    normal: float | None = None  # where it stands when all is well
    device: str = ""  # chip or bus it hangs on: signals lost with one device are one cause
    window_scans: int = 60  # three graces: more than half of them bad is "intermittent"
    fresh_s: float = field(init=False)  # older than one and a half periods is old
    least: float = field(init=False)  # numbers between these two, both included, are neither at an electrical end nor
    most: float = field(init=False)  # outside the range
    lost_after_s: float = field(init=False)  # unseen for so long is lost, and said: one bad sample in a hundred is not

    def __post_init__(self) -> None:
        object.__setattr__(self, "fresh_s", 1.5 * self.period_s)
        object.__setattr__(self, "lost_after_s", max(1.0, 3.0 * self.period_s))
        object.__setattr__(self, "least", max(self.low, math.nextafter(self.electrical_low, INFINITE)))
        object.__setattr__(self, "most", min(self.high, math.nextafter(self.electrical_high, -INFINITE)))


class Value(NamedTuple):
    """What may be believed of a signal in this scan."""

    number: float | None  # filtered, in the signal's unit; None unless usable
    status: Status
    code: Code
    good_stamp_s: float  # stamp of the last good sample; before the first one, the guard's start
    good_number: float | None  # last good sample, unfiltered
    rejected: float | None  # a number refused for range, saturation or rate; its side of a limit still counts
    seen_stamp_s: float  # newest stamp that the driver has given
    bad_bits: int  # one bit a scan, newest lowest, 1 = not good


def unseen(start_s: float) -> Value:
    """A signal never seen: blind since the guard's start."""
    return Value(None, Status.FAILURE, Code.NOT_READ_YET, start_s, None, None, -INFINITE, 0)


_JUDGED_BY_DRIVER = {
    Code.CALIBRATION_OVERDUE: Status.MAINTENANCE_REQUIRED,
    Code.FORCED: Status.FUNCTION_CHECK,
    Code.OUT_OF_SPECIFICATION: Status.OUT_OF_SPECIFICATION,
}
# Looking a member up in its enumeration takes Python 3.11 ten times as long as a name of the module.
_OK, _OVERDUE, _GOOD, _TO_BE_MAINTAINED = Code.OK, Code.CALIBRATION_OVERDUE, Status.GOOD, Status.MAINTENANCE_REQUIRED
_CARRIES_A_NUMBER = frozenset({Code.OK, Code.CALIBRATION_OVERDUE, Code.OUT_OF_SPECIFICATION})


def _judge(signal: Signal, last: Value, reading: Reading, now_s: float) -> tuple[Code, bool]:
    """First bad answer, and whether the number was refused for lying where it lies (range, saturation, rate)."""
    number, stamp_s, code = reading
    if number is None or code not in _CARRIES_A_NUMBER:
        return (Code.ABSENT if code in _CARRIES_A_NUMBER else code), False
    if not math.isfinite(number):
        return Code.NOT_FINITE, False
    if not stamp_s <= now_s:  # a stamp that is not a number fails here too
        return Code.FROM_THE_FUTURE, False
    if stamp_s < last.seen_stamp_s:
        return Code.OLDER_THAN_THE_LAST, False
    if now_s - stamp_s > signal.fresh_s:
        return Code.OLD, False
    if number <= signal.electrical_low or number >= signal.electrical_high:
        return (Code.WIRE_FAULT, False) if signal.rail_is_wire_fault else (Code.SATURATED, True)
    if number < signal.low or number > signal.high:
        return Code.OUT_OF_RANGE, True
    if last.good_number is not None and abs(number - last.good_number) > signal.step + signal.rate_per_s * (
        stamp_s - last.good_stamp_s
    ):
        return Code.TOO_FAST, True
    return code, code is Code.OUT_OF_SPECIFICATION


def validate(signal: Signal, last: Value, reading: Reading, now_s: float) -> Value:
    """The value of a signal in this scan.

    An unchanged sample stays what it was until it is old; a rejected one changes neither filter nor stamp, so the
    rate allowance grows and a true new level is accepted in the end.
    """
    number, stamp_s, code = reading
    last_number, _, last_code, good_stamp_s, good_number, _, seen_stamp_s, last_bits = last
    bits = (last_bits << 1) & ((1 << signal.window_scans) - 1) if last_bits else 0
    if (
        # the common case, each question asked once and none left out; what fails one is judged in words below
        code is _OK
        and number is not None
        and seen_stamp_s <= stamp_s <= now_s
        and now_s - stamp_s <= signal.fresh_s
        and signal.least <= number <= signal.most
        and (signal.step == INFINITE or (good_number is not None and abs(number - good_number) <= signal.step))
    ):
        refused = False
    else:
        code, refused = _judge(signal, last, reading, now_s)
    if code is _OK or code is _OVERDUE:
        assert number is not None
        if stamp_s == good_stamp_s and number == good_number and bits == last_bits and code is last_code:
            return last
        shown = number
        if signal.filter_s > 0.0 and good_number is not None and last_number is not None:
            # implicit Euler of a first-order lag; the same sample again (dt 0) changes nothing
            dt_s = stamp_s - good_stamp_s
            shown = last_number + (number - last_number) * dt_s / (signal.filter_s + dt_s)
        status = _GOOD if code is _OK else _TO_BE_MAINTAINED
        # a NamedTuple's own constructor costs twice as much, and this is made for every signal in every scan
        return tuple.__new__(Value, (shown, status, code, stamp_s, number, None, stamp_s, bits))
    seen_s = stamp_s if seen_stamp_s < stamp_s <= now_s else seen_stamp_s
    status = _JUDGED_BY_DRIVER.get(code, Status.FAILURE)
    bits |= status is not Status.FUNCTION_CHECK  # forced on purpose is not intermittent
    return Value(None, status, code, good_stamp_s, good_number, number if refused else None, seen_s, bits)
