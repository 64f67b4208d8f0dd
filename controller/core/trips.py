"""Causes of a trip, which of them came first, and the latch that keeps power off until a reset.

First-out is the cause that came due first; ties go to the earlier onset, then to a fixed rank, then to the order in
the rig file. Signals lost with one device are one cause, which names the device.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import IntEnum
from typing import NamedTuple

from controller.core.limits import TripKind


class Rank(IntEnum):
    STOP_CHAIN = 0
    CONTROLLER = 1
    DEVICE = 2
    SENSOR = 3
    PROCESS = 4


class Seen(IntEnum):
    """How a cause showed itself."""

    BEYOND = 0  # the threshold, by a good value
    REFUSED = 1  # a reading out of range, saturated or too fast, on the trip side
    BLIND = 2  # not seen for its grace
    INTERMITTENT = 3  # more than half of the samples of three graces bad
    OWN = 4  # the controller's own finding


LOST = frozenset({Seen.BLIND, Seen.INTERMITTENT})  # nothing was seen beyond a threshold: the sensor is the trouble


class Cause(NamedTuple):
    name: str  # of the limit, the device or the controller's finding
    kind: TripKind
    rank: Rank
    seen: Seen
    due_s: float
    onset_s: float
    order: int  # in the rig file
    code: int = 0  # Code that hid or refused the signal
    number: float | None = None  # what was measured, in the signal's unit
    limit: float | None = None
    signal: str = ""


class Finding(NamedTuple):
    """A cause that the controller finds itself, without a limit in the rig file."""

    kind: TripKind
    title: str


FINDINGS: dict[str, Finding] = {
    "scan gap": Finding(TripKind.LOCAL, "the guard paused while power was on"),
    "time ran backwards": Finding(TripKind.LOCAL, "the clock ran backwards"),
    "guard ended while powered": Finding(TripKind.LOCAL, "the guard ended while power was on"),
    "memory of the last run lost": Finding(TripKind.LOCAL, "the record of the last run is missing or damaged"),
    "output not obeyed": Finding(TripKind.LOCAL, "an output pin does not read back as it was set"),
    "opened by itself": Finding(TripKind.LOCAL, "the contactor opened without being told to"),
    "did not close": Finding(TripKind.LOCAL, "the contactor did not close"),
    "contactor not open": Finding(TripKind.LOCK_OUT, "a contactor still reads closed after it was opened"),
    "self-test failed": Finding(TripKind.LOCK_OUT, "a breaking device failed its test"),
    "third trip": Finding(TripKind.LOCK_OUT, "third trip within ten hours of running"),
    "restart loop": Finding(TripKind.LOCK_OUT, "the guard keeps restarting"),
    "supply does not obey": Finding(TripKind.RESETTABLE, "the current is above what was asked for"),
    "no current came": Finding(TripKind.RESETTABLE, "power came on and no current with it"),
    "open lead": Finding(TripKind.LOCAL, "the current is gone and the volts are up: a lead, fuse or joint is open"),
    "volts do not fit": Finding(
        TripKind.LOCAL, "too few volts for the current: a short, or a shunt or divider that is scaled wrong"
    ),
    "first power failed": Finding(TripKind.LOCAL, "the first power of this rig file does not fit the cell"),
    "supply gone": Finding(TripKind.LOCAL, "the supply has gone, and the cell discharges into it"),
    "supply came back by itself": Finding(TripKind.LOCAL, "current returned without being asked for"),
    "level rising": Finding(
        TripKind.RESETTABLE, "the level rises and nobody tops up: coolant in the lye, foam, a valve that stays open"
    ),
    "temperature does not follow": Finding(
        TripKind.RESETTABLE, "the lye did not warm although enough current went through: is the probe in it?"
    ),
    "function check": Finding(TripKind.LOCAL, "a signal is forced for a test while power is on"),
}


def in_order(causes: Iterable[Cause]) -> tuple[Cause, ...]:
    """Causes of one scan, the first-out first."""
    return tuple(sorted(causes, key=lambda c: (c.due_s, c.onset_s, c.rank, c.order)))


def gathered(causes: Iterable[Cause], lost_with: Mapping[str, str]) -> tuple[Cause, ...]:
    """Causes of one scan, the first-out first, what is lost told once: by its device, or by the first of its limits.

    lost_with: the device of each signal that was lost together with another one of the same device.
    """
    told: dict[str, Cause] = {}
    for cause in in_order(causes):
        name = cause.name
        if cause.seen in LOST:
            name = device = lost_with.get(cause.signal, "")
            if device:
                cause = cause._replace(name=device, rank=Rank.DEVICE, signal="", limit=None)
            else:
                name = "signal " + cause.signal
        told.setdefault(name, cause)
    return in_order(told.values())


class Latch(NamedTuple):
    """What outlives the process. Written to disk before it counts; any doubt about the file comes up tripped."""

    number: int  # grows with every change; the disk has it when Inputs.latch_on_disk says so
    rig_hash: str
    powered: bool  # on disk before the close pulse, removed after open is proven
    causes: tuple[Cause, ...] = ()  # first-out first; empty when not tripped
    locked_out: bool = False
    trips_in_running: tuple[float, ...] = ()  # hours of running at which the last trips came
    running_h: float = 0.0
    starts_without_health: int = 0  # starts of the guard without five minutes of scanning after
    held_by: str = ""  # out of service, by whom
    hold_reason: str = ""
    settings_accepted: bool = True
    water_used_g: float = 0.0  # since the level was last seen
    doses_h: tuple[float, ...] = ()  # hours of running at which the last top-ups were booked
    dose_unseen: bool = False  # the last one did not show: none until somebody has seen the level
    first_power_due: bool = False  # no run of this rig file has shown yet that volts and current fit

    @property
    def tripped(self) -> bool:
        return bool(self.causes)

    @property
    def kind(self) -> TripKind:
        return max((c.kind for c in self.causes), default=TripKind.RESETTABLE)


def add(latch: Latch, causes: Iterable[Cause]) -> tuple[Latch, tuple[Cause, ...]]:
    """The latch with new causes appended, and those that were new. A cause is kept once, by its name."""
    known = {c.name for c in latch.causes}
    told: dict[str, Cause] = {}
    for cause in causes:
        if cause.name not in known:
            told.setdefault(cause.name, cause)
    new = tuple(told.values())
    if not new:
        return latch, ()
    locked = latch.locked_out or any(c.kind is TripKind.LOCK_OUT for c in new)
    return latch._replace(number=latch.number + 1, causes=latch.causes + new, locked_out=locked), new
