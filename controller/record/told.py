"""What the historian is told, and what of it waits for the card."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from controller.core.signals import Signal
from controller.record.logbook import Entry

WAITING_BYTES: Final = 8_000_000  # of blocks, when nothing can be written: most of a day
WAITING_EVENTS: Final = 20_000
WAITING_LINES: Final = 1_000


class Tracked(NamedTuple):
    """A signal as it is kept. bound: how far the stored line may pass from a sample, in `unit`; 0 keeps all."""

    name: str
    title: str
    unit: str
    bound: float


def tracked(signal: Signal) -> Tracked:
    """A third of what the sensor itself may be wrong, or a two-thousandth of its range where that is not stated.

    A contact is kept exactly.
    """
    range_of_it = signal.high - signal.low
    if signal.quantity == "switch":
        return Tracked(signal.name, signal.title, signal.unit, 0.0)
    bound = signal.error / 3.0 if signal.error > 0.0 else range_of_it / 2000.0
    return Tracked(signal.name, signal.title, signal.unit, bound if bound < float("inf") else 0.0)


class Happening(NamedTuple):
    """An event as the guard said it."""

    boot: str
    number: int  # the guard's own
    at_s: float  # since the machine's power-up
    what: str
    subject: str
    detail: str = ""
    source: str = ""
    sentence: str = ""
    seen: float | None = None
    limit: float | None = None


class Deed(NamedTuple):
    """What a person did about an alarm: see `alarms`."""

    what: str  # acknowledged, shelved, unshelved
    alarm: str
    who: str
    until_s: float | None = None  # Unix time
    reason: str = ""


class Moment(NamedTuple):
    """Now, by both clocks."""

    mono_s: float  # since the machine's power-up
    wall_s: float  # Unix time, as far as the machine knows
    synchronised: bool


class Packed(NamedTuple):
    """A block on its way to the card."""

    begin_ms: int
    end_ms: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Health:
    """What to say about the record."""

    trouble: str  # "" while all is well
    waiting_blocks: int
    waiting_events: int
    lost_blocks: int  # given up for want of memory, since this process began
    lost_events: int
    lost_lines: int
    refused_lines: int  # lines of the logbook that could not be read
    commits: int
    bytes_used: int


@dataclass(slots=True)
class Waiting:
    """What is told and not yet on the card."""

    blocks: deque[Packed] = field(default_factory=deque)
    events: deque[Happening] = field(default_factory=deque)
    lines: deque[Entry] = field(default_factory=deque)
    deeds: deque[tuple[float, Deed]] = field(default_factory=deque)  # with the time since power-up
    grown: dict[str, float] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.blocks or self.events or self.lines or self.deeds or self.grown)

    def give_up_oldest(self, lost: Lost) -> None:
        """Stay within the bounds; what goes is counted."""
        while sum(len(block.data) for block in self.blocks) > WAITING_BYTES:
            self.blocks.popleft()
            lost.blocks += 1
        while len(self.events) > WAITING_EVENTS:
            self.events.popleft()
            lost.events += 1
        while len(self.lines) + len(self.deeds) > WAITING_LINES:
            (self.lines or self.deeds).popleft()
            lost.lines += 1


@dataclass(slots=True)
class Lost:
    """What was given up for want of memory."""

    blocks: int = 0
    events: int = 0
    lines: int = 0
