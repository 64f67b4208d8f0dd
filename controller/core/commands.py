"""What people and programs may ask, and from where.

The source is decided by the guard from the socket a command came through, never from the message. Commands reach the
core already authenticated; what each source may ask is one table.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple


class Source(IntEnum):
    BUTTON = 0  # at the rig, wired to a pin
    LOCAL = 1  # a person at the rig's own terminal
    PLAN = 2  # the run plan, its own user
    REMOTE = 3  # through the link, signed by an enrolled key
    LINK = 4  # through the link, unsigned: may only stop


class Verb(IntEnum):
    START = 0
    STOP = 1
    RESET = 2
    RELEASE = 3  # leave lock-out: a written reason and a passed self-test
    PRESENT = 4  # somebody is at the bench
    ENABLE = 5  # let plan and remote start for some hours
    DISABLE = 6
    CONFIRM = 7  # the card before a start: vents free, seals filled, lye in, hands off
    HOLD = 8  # out of service, with a name
    LIFT = 9
    BYPASS = 10
    SET_CURRENT = 11
    RENEW = 12  # a run asked by plan or remote goes on
    SILENCE = 13  # the horn
    ACCEPT_SETTINGS = 14  # the rig file has changed
    SERVICE = 15  # outputs by hand, supply isolated
    LEAVE_SERVICE = 16
    DRIVE = 17  # one output in service
    TOPPED_UP = 18  # the level has been seen: full, or `number` litres were added


class Command(NamedTuple):
    """One request. `number` means amperes, hours, seconds or on/off by verb; `text` a reason or a name."""

    verb: Verb
    source: Source
    ticket: int = 0  # the shell's own number, so that the answer finds its way back
    number: float | None = None
    subject: str = ""  # the limit to bypass, the output to drive
    text: str = ""
    who: str = ""
    seconds: float | None = None  # a start that ends after a time
    charge_c: float | None = None  # a start that ends after a charge (litres of gas, through Faraday)
    retained: bool = False  # MQTT's retained messages are refused, whatever they ask


AT_THE_RIG = frozenset({Source.BUTTON, Source.LOCAL})
ANYBODY = frozenset(Source)

MAY_ASK: dict[Verb, frozenset[Source]] = {
    Verb.START: frozenset({Source.BUTTON, Source.LOCAL, Source.PLAN, Source.REMOTE}),
    Verb.STOP: ANYBODY,
    Verb.RESET: frozenset({Source.BUTTON, Source.LOCAL, Source.REMOTE}),
    Verb.RELEASE: AT_THE_RIG,
    Verb.PRESENT: AT_THE_RIG,
    Verb.ENABLE: AT_THE_RIG,
    Verb.DISABLE: ANYBODY,
    Verb.CONFIRM: AT_THE_RIG,
    Verb.HOLD: frozenset({Source.LOCAL, Source.REMOTE}),
    Verb.LIFT: frozenset({Source.LOCAL}),
    Verb.BYPASS: frozenset({Source.LOCAL}),
    Verb.SET_CURRENT: frozenset({Source.LOCAL, Source.PLAN, Source.REMOTE}),
    Verb.RENEW: frozenset({Source.PLAN, Source.REMOTE}),
    Verb.SILENCE: frozenset({Source.BUTTON, Source.LOCAL, Source.REMOTE}),
    Verb.ACCEPT_SETTINGS: frozenset({Source.LOCAL}),
    Verb.SERVICE: frozenset({Source.LOCAL}),
    Verb.LEAVE_SERVICE: frozenset({Source.LOCAL}),
    Verb.DRIVE: frozenset({Source.LOCAL}),
    Verb.TOPPED_UP: AT_THE_RIG,
}
