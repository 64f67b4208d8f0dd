"""When something was, by the calendar.

A machine without a clock battery starts with the time of its last shutdown, or worse, and steps when it finds the
network. Time since power-up never steps. So each power-up has one offset: the newest one seen while the clock was
synchronised. It dates all that happened in that power-up, what came before the step included, and durations are right
whatever the clock did. A power-up that never found the time keeps its clock's own date as far as it fits between
its neighbours, and is marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

STEP_S = 0.5  # less is the clock being slewed, not a step worth a write


class PowerUp(NamedTuple):
    id: int
    offset_s: float
    synchronised: bool
    first_s: float
    last_s: float | None  # None: it lasts


class Dated(NamedTuple):
    """A moment by the calendar."""

    time_s: float  # Unix time
    synchronised: bool  # False: may be wrong by weeks


def better(known: PowerUp, offset_s: float, synchronised: bool) -> bool:
    """Whether a newly seen offset is to replace the known one."""
    if known.synchronised and not synchronised:
        return False
    return synchronised != known.synchronised or abs(offset_s - known.offset_s) > STEP_S


def in_order(power_ups: Sequence[PowerUp]) -> tuple[PowerUp, ...]:
    """The same with the offsets to use: unsynchronised ones moved so that no life of the machine overlaps the next.

    >>> before = PowerUp(1, 1000.0, True, 0.0, 100.0)
    >>> behind = PowerUp(2, 900.0, False, 5.0, None)
    >>> in_order([before, behind])[1].offset_s
    1095.0
    """
    placed: list[PowerUp] = []
    for at, one in enumerate(power_ups):
        if not one.synchronised:
            offset_s = one.offset_s
            following = power_ups[at + 1] if at + 1 < len(power_ups) else None
            if following is not None and following.synchronised and one.last_s is not None:
                offset_s = min(offset_s, following.offset_s + following.first_s - one.last_s)
            if placed and placed[-1].last_s is not None:
                offset_s = max(offset_s, placed[-1].offset_s + placed[-1].last_s - one.first_s)
            one = one._replace(offset_s=offset_s)
        placed.append(one)
    return tuple(placed)
