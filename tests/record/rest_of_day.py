"""What else of ours writes to the card in a day, by the programs' own code: the guard's latch, a trip's incident, lines
that people leave, what the link remembers to have sent, and the journal.

How often is invented: two runs of four hours, and the three doses of 100 g that they need at 28 A through three cells
(0.336 g for each Ah and cell); two lines by people; lines in the journal at six moments, a trip where one is asked for.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from controller.core.commands import Source
from controller.core.limits import TripKind
from controller.core.trips import Cause, Latch, Rank, Seen
from controller.guard.incidents import Incident, IncidentWriter
from controller.guard.latchfile import LatchFile
from controller.guard.ring import AFTER_S, BEFORE_S
from controller.link.outbox import Item, Outbox
from controller.record import spool
from controller.record.historian import Historian
from controller.record.logbook import Entry
from simulator.rehearsal.rigs import find
from simulator.rehearsal.world import Level, World, allowed_a
from tests.record.workshop import moment

RUNS, DOSES, LINES, JOURNAL_MOMENTS = 2, 3, 2, 6
JOURNAL_LINES = b"x" * 3000  # what the journal keeps of five lines of 100 characters: fields, hashes and indexes
TRIP_HOUR = 13
DAY_S = 86_400


class Write(NamedTuple):
    at_s: int  # of the day
    write: Callable[[float], object]


class RestOfDay:
    """Call `until` with the time as it passes."""

    def __init__(self, card: Path, historian: Historian, from_s: int, trip: bool = False) -> None:
        """from_s: of the first day; a day from there on has everything once. trip: with one and its incident."""
        self._card, self._historian = card, historian
        latch = Latch(0, "0" * 64, powered=False, doses_h=tuple(i / 7.0 for i in range(12)), held_by="", running_h=99.0)
        self._latch, self._file = latch, LatchFile(card / "guard", "boathouse")
        self._file.start(find("boathouse").rig.core, 0.0)
        self._outbox = Outbox(0, card / "sent")
        day = (one._replace(at_s=from_s + (one.at_s - from_s) % DAY_S) for one in self._day(trip))
        self._plan = deque(sorted(day, key=lambda one: one.at_s))

    def _day(self, trip: bool) -> list[Write]:
        def spread(count: int, from_h: float = 9.0, to_h: float = 17.0) -> list[int]:
            return [int(3600 * (from_h + (to_h - from_h) * (n + 0.5) / count)) for n in range(count)]

        runs = [Write(at - 5400, self._powered) for at in spread(RUNS)] + [
            Write(at + 5400, self._off) for at in spread(RUNS)
        ]
        doses = [Write(at + s, self._off) for at in spread(DOSES) for s in (0, 120)]  # booked, and seen at the level
        lines = [Write(at, self._line) for at in spread(LINES)]
        journal = [Write(at, self._journal) for at in spread(JOURNAL_MOMENTS, 0.0, 24.0)]
        return [*runs, *doses, *lines, *journal, *([Write(TRIP_HOUR * 3600, self._trip)] if trip else [])]

    def until(self, at_s: float) -> bool:
        """Do what is due by then; whether anything was."""
        some = False
        while self._plan and self._plan[0].at_s <= at_s:
            self._plan.popleft().write(at_s)
            some = True
        return some

    def sent(self, at_s: float) -> None:
        """The broker took an event, and the blocks before it were seen live. Written, not forced to the card."""
        number, wanted = int(at_s), self._outbox.wants()
        assert wanted is not None
        self._outbox.fill([Item(number, "events", b"x")], number, wanted[1])
        self._outbox.send(lambda item: item.number, 1)
        self._outbox.acknowledged(number, at_s)
        self._outbox.remember(at_s)

    def _write_latch(self, **changed: object) -> None:
        self._latch = self._latch._replace(number=self._latch.number + 1, **changed)  # type: ignore[arg-type]
        self._file.write(self._latch)

    def _powered(self, _at_s: float) -> None:
        self._write_latch(powered=True)

    def _off(self, _at_s: float) -> None:
        self._write_latch(powered=False)

    def _trip(self, at_s: float) -> None:
        cause = Cause("coolant flow low", TripKind.RESETTABLE, Rank.PROCESS, Seen.BEYOND, at_s, at_s, order=1)
        self._write_latch(powered=False, causes=(cause,))
        writer = IncidentWriter(self._card / "incidents")
        writer.give("20260511T130000Z-001122-000007", incident())
        writer.write_next()
        assert not writer.error, writer.error
        self._write_latch(causes=())

    def _line(self, at_s: float) -> None:
        spool.drop(self._card / spool.FOLDER, Entry(f"line-{at_s:.0f}", "topped up", "Ada", 600.0, "mL", "oxygen"))
        assert self._historian.take_in(self._card / spool.FOLDER, moment(at_s)) == 1

    def _journal(self, _at_s: float) -> None:
        """Forced to the card at once, which is sooner than journald does."""
        fd = os.open(self._card / "journal", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o640)
        os.write(fd, JOURNAL_LINES)
        os.fsync(fd)
        os.close(fd)


def incident() -> Incident:
    """Twelve minutes of frames of the boathouse at ten scans a second."""
    physical = find("boathouse")
    frames: list[bytes] = []
    world = World(physical, Level.SIGNALS, 1, allowed_a(physical.rig), frames=True)
    world.mailbox.listener = frames.append
    world.ask("start", Source.LOCAL)
    for _ in range(round((BEFORE_S + AFTER_S) / physical.rig.core.scan_s)):
        world.scan()
    world.close()
    return Incident({"rig": "boathouse", "causes": ["coolant flow low"], "complete": True}, tuple(frames), b"[]")
