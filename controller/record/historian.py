"""The one writer of the record. Measurements cost nothing until a block of them is due; what happened is on the card
when the call returns.

A card that is full, worn out or read-only stops nothing: what could not be written waits in a bounded memory, oldest
detail is given up first, and what is given up is counted. Every call is short but for the commit, which takes as long
as the card does: call from a thread that may wait.
"""

from __future__ import annotations

import sqlite3
import threading
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Final

from controller.record import blocks, lending, spool, upkeep
from controller.record.blocks import Row, Sample
from controller.record.dating import PowerUp, better
from controller.record.history import History, Tail
from controller.record.logbook import Entry, WrongEntry
from controller.record.schema import ALONE, SHARED, open_for_reading, open_for_writing
from controller.record.store import Life, commit
from controller.record.told import Deed, Happening, Health, Lost, Moment, Packed, Tracked, Waiting, tracked
from controller.record.upkeep import Keep

BLOCK_S: Final = 120.0  # the most of the trend that a power cut can take
# Around an event every sample is kept, as far as it is not in a block already; the guard's incident has the rest.
ROW_MS: Final = 950.0  # between two rows in quiet times: one a second, a late one included
BEFORE_S: Final = 10.0
AFTER_S: Final = 20.0
LOOK_S: Final = 1.0  # for a note that another program wants to read
RETRY_S: Final = 30.0  # a card that refused is asked again so often
_BROKEN = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


class Historian:
    """The record of one rig, for one machine's life. For one thread at a time; others open a `History`."""

    def __init__(
        self,
        path: Path,
        rig: str,
        signals: Sequence[Tracked],
        machine_boot: str,
        now: Moment,
        keep: Keep | None = None,
    ) -> None:
        """machine_boot: the kernel's name for this power-up. Raises WrongDatabase for the record of another rig."""
        self._path, self._rig, self._machine_boot = path, rig, machine_boot
        self._signals = tuple(signals)
        self._bounds = [signal.bound for signal in signals]
        self._keep = keep or Keep()
        self._clock = PowerUp(0, now.wall_s - now.mono_s, now.synchronised, now.mono_s, None)
        self._db: sqlite3.Connection | None = None
        self._power_up: PowerUp | None = None  # as stored
        self._ids: list[int] = []
        self._rows: deque[Row] = deque()
        self._stored: Row | None = None  # the newest row that is in a block
        self._exact: deque[tuple[float, float]] = deque(maxlen=1000)  # spans to keep at full rate
        self._waiting = Waiting()
        self._lost = Lost()
        self._refused_lines = self._commits = 0
        self._vfs = ALONE
        self._door = threading.Lock()  # between a change of `_vfs` and readers in this process
        self._readers = 0
        self._look_s = now.mono_s
        self._safe: dict[str, int] = {}
        self._trouble = ""
        self._retry_s = now.mono_s
        self._write(now)

    # -- what is told

    def measure(self, now: Moment, values: Sequence[Sample]) -> None:
        """All signals at one instant, in the order given at the start. Commits when a block is due.

        At any rate: of ten a second, one is kept in quiet times, and all of them around an event or a lost signal.
        """
        if len(values) != len(self._signals):
            raise ValueError(f"{len(values)} values for {len(self._signals)} signals")
        at_ms = round(now.mono_s * 1000.0)
        last = self._rows[-1] if self._rows else self._stored
        if last is not None and at_ms <= last.at_ms:
            return
        self._rows.append(Row(at_ms, tuple(values)))
        if at_ms - self._rows[0].at_ms >= BLOCK_S * 1000.0:
            self._pack()
            self._write(now)
        elif self._trouble and now.mono_s >= self._retry_s:
            self._write(now)
        else:
            self._look_at_clock(now)
        self._look_for_readers(now)

    def happened(self, events: Iterable[Happening], now: Moment) -> bool:
        """Events; True: they are on the card. Told twice is stored once."""
        for event in events:
            self._waiting.events.append(event)
            self._exact.append((event.at_s - BEFORE_S, event.at_s + AFTER_S))
        if self._rows and self._rows[-1].at_ms - self._rows[0].at_ms >= BLOCK_S * 1000.0 / 2.0:
            self._pack()  # a commit costs what it costs, whatever is in it: half a block saves half a commit
        return self._write(now)

    def count(self, grown: Mapping[str, float]) -> None:
        """What counters have grown by; on the card with the next block or event. See `counters`."""
        for name, more in grown.items():
            self._waiting.grown[name] = self._waiting.grown.get(name, 0.0) + more

    def log(self, entry: Entry, now: Moment) -> bool:
        """A line of the logbook; True: it is on the card."""
        self._waiting.lines.append(entry)
        return self._write(now)

    def act(self, deed: Deed, now: Moment) -> bool:
        """What a person did about an alarm; True: it is on the card."""
        self._waiting.deeds.append((now.mono_s, deed))
        return self._write(now)

    def take_in(self, folder: Path, now: Moment) -> int:
        """Store the lines that wait in the spool folder; how many. What cannot be stored stays there."""
        taken = 0
        for path, entry in spool.waiting(folder):
            if isinstance(entry, WrongEntry):
                self._refused_lines += 1
                spool.refused(path)
                continue
            self._waiting.lines.append(entry)
            if not self._write(now):
                self._waiting.lines.remove(entry)
                break
            spool.taken(path)
            taken += 1
        return taken

    def flush(self, now: Moment) -> bool:
        """Everything, the newest samples included, before an orderly end. False: it could not be written."""
        self._pack()
        self._retry_s = now.mono_s
        return self._write(now)

    def close(self) -> None:
        if self._db is not None:
            self._db.close()
            self._db = None

    # -- what is asked

    def health(self) -> Health:
        used = 0
        if self._db is not None:
            with suppress(sqlite3.Error):
                used = upkeep.bytes_used(self._db)
        wait, lost = self._waiting, self._lost
        return Health(
            self._trouble,
            len(wait.blocks),
            len(wait.events),
            lost.blocks,
            lost.events,
            lost.lines,
            self._refused_lines,
            self._commits,
            used,
        )

    def safe_event(self, boot: str) -> int:
        """The guard may forget its events up to this number: they are on the card. 0: none."""
        if boot not in self._safe and self._db is not None:
            with suppress(sqlite3.Error):
                row = self._db.execute("SELECT max(guard_number) FROM event WHERE boot = ?", (boot,)).fetchone()
                self._safe[boot] = int(row[0] or 0)
        return self._safe.get(boot, 0)

    @contextmanager
    def history(self) -> Iterator[History]:
        """Questions, from any thread of this process. Raises sqlite3.Error or FileNotFoundError."""
        with self._door:
            self._readers += 1
            vfs = self._vfs
        try:
            with closing(open_for_reading(self._path, vfs)) as db:
                yield History(db)
        finally:
            with self._door:
                self._readers -= 1

    def tail(self) -> Tail | None:
        """What is measured but not stored yet, for a trend that ends now."""
        if self._power_up is None or not self._rows:
            return None
        rows = tuple(self._rows)
        found = blocks.unpack(blocks.pack(rows, self._bounds, [False] * len(rows), self._stored), rows[0].at_ms)
        return Tail(self._power_up.id, {self._signals[at].name: points for at, points in found.items()})

    # -- packing

    def _pack(self) -> None:
        """Make a block of what was measured: one row a second, and every row around an event."""
        if not self._rows:
            return
        begin_ms, end_ms = self._rows[0].at_ms, self._rows[-1].at_ms
        spans = [(a * 1000.0, b * 1000.0) for a, b in self._exact if b * 1000.0 >= begin_ms and a * 1000.0 <= end_ms]
        rows: list[Row] = []
        exact: list[bool] = []
        last = self._stored
        for row in self._rows:
            every = any(a <= row.at_ms <= b for a, b in spans)
            if every or last is None or row.at_ms - last.at_ms >= ROW_MS or row is self._rows[-1] or _other(row, last):
                rows.append(row)
                exact.append(every)
                last = row
        block = blocks.pack(rows, self._bounds, exact, self._stored)
        self._stored = rows[-1]
        self._rows.clear()
        self._waiting.blocks.append(Packed(rows[0].at_ms, end_ms, block))

    # -- writing

    def _look_at_clock(self, now: Moment) -> bool:
        """Whether the offset has changed for the better."""
        offset_s = now.wall_s - now.mono_s
        if not better(self._clock, offset_s, now.synchronised):
            return False
        self._clock = self._clock._replace(offset_s=offset_s, synchronised=now.synchronised)
        return True

    def _write(self, now: Moment) -> bool:
        """Everything that waits, in one commit. False: it could not be, and waits on."""
        self._look_at_clock(now)
        if self._trouble and now.mono_s < self._retry_s:
            self._waiting.give_up_oldest(self._lost)
            return False
        try:
            if self._db is None:
                self._db = self._open()
            self._store(self._db)
        except (sqlite3.Error, OSError) as error:
            self._trouble = _in_words(self._path, error)
            self._retry_s = now.mono_s + RETRY_S
            if getattr(error, "sqlite_errorcode", 0) != sqlite3.SQLITE_FULL:  # a full card can still be read from,
                with suppress(sqlite3.Error):  # but not opened: that needs room for the write-ahead file
                    self.close()
            self._power_up, self._ids = None, []
            if getattr(error, "sqlite_errorcode", 0) in _BROKEN and self._set_aside():
                self._retry_s = now.mono_s
            self._waiting.give_up_oldest(self._lost)
            return False
        self._trouble = ""
        return True

    def _open(self) -> sqlite3.Connection:
        if self._vfs == ALONE:
            try:
                return open_for_writing(self._path, self._rig, ALONE)
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                    raise
                self._vfs = SHARED  # somebody is still reading
        return open_for_writing(self._path, self._rig, SHARED)

    def _look_for_readers(self, now: Moment) -> None:
        """Share the database with other programs while they want it."""
        if now.mono_s < self._look_s:
            return
        self._look_s = now.mono_s + LOOK_S
        if lending.wanted(self._path):
            vfs, self._look_s = SHARED, now.mono_s + lending.LEND_S
        else:
            vfs = ALONE
        with self._door:
            if vfs != self._vfs and not self._readers:
                self.close()
                self._vfs = vfs

    def _set_aside(self) -> bool:
        """A file that is no database any more is kept under another name, and a new one begun."""
        nth = 1
        while (aside := self._path.with_name(f"{self._path.name}.damaged-{nth}")).exists():
            nth += 1
        try:
            for suffix in ("-wal", "-shm", ""):
                part = self._path.with_name(self._path.name + suffix)
                if part.exists():
                    part.rename(aside.with_name(aside.name + suffix))
        except OSError:
            return False
        self._trouble += f"; kept as {aside.name}, a new record begins"
        return True

    def _store(self, db: sqlite3.Connection) -> None:
        wait, stored = self._waiting, self._power_up
        if not wait and stored is not None and not better(stored, self._clock.offset_s, self._clock.synchronised):
            return
        life = Life(self._machine_boot, self._clock, self._signals, self._ids, self._keep)
        self._power_up, self._ids = commit(db, wait, life)
        for event in wait.events:
            self._safe[event.boot] = max(self.safe_event(event.boot), event.number)
        self._waiting = Waiting()
        self._commits += 1


def _other(row: Row, last: Row) -> bool:
    """Whether a signal was lost, came back or changed its health between two rows."""
    return any(new[1] != old[1] for new, old in zip(row.samples, last.samples, strict=True))


_WORDS = {
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_READONLY: "the disk or the file is read-only",
    sqlite3.SQLITE_CANTOPEN: "the file cannot be opened",
    sqlite3.SQLITE_CORRUPT: "the file is damaged",
    sqlite3.SQLITE_NOTADB: "the file is damaged",
    sqlite3.SQLITE_BUSY: "another program writes to it",
    sqlite3.SQLITE_IOERR: "the disk reports an error",
}


def _in_words(path: Path, error: sqlite3.Error | OSError) -> str:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the low byte is the primary code
    return f"{path}: {_WORDS.get(code, str(error))}; what happens now waits in memory"


__all__ = ["Deed", "Happening", "Health", "Historian", "Keep", "Moment", "Tracked", "tracked"]
