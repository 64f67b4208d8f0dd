"""What happened, as numbered values: the only record the core makes, and the one that nobody may lose."""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple


class Happened(IntEnum):
    STATE = 0  # the sequence moved: subject = new state, detail = why
    TRIP = 1  # first-out: subject = cause
    LATER_CAUSE = 2
    ALARM = 3
    ALARM_CLEARED = 4
    STOP_DEMANDED = 5
    ACCEPTED = 6  # a command: subject = verb, detail = source
    REFUSED = 7  # a command: subject = verb, detail = why
    RESET = 8
    SIGNAL_LOST = 9
    SIGNAL_BACK = 10
    SELF_TEST = 11
    BYPASSED = 12
    BYPASS_ENDED = 13
    LATE_SCAN = 14
    GAS = 15  # fit, or no longer
    STARTED = 16  # the guard itself: subject = how the last run of it ended
    NOTE = 17


class Event(NamedTuple):
    number: int  # counts from 1 for ever within one boot of the guard; the guard's ring keeps them until acknowledged
    at_s: float  # monotonic
    what: Happened
    subject: str
    detail: str = ""
    source: str = ""
    ticket: int = 0
    seen: float | None = None  # the number that decided, in the signal's unit
    limit: float | None = None
