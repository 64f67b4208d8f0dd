"""Questions to the record. Reads only: any process may ask, while the link writes."""

from __future__ import annotations

import heapq
import math
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from itertools import islice
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, NamedTuple

import numpy as np

from controller.record import rollups, trends
from controller.record.blocks import Floats, Points, by_signal, joined
from controller.record.dating import Dated, PowerUp, in_order
from controller.record.rollups import HOUR_S, ROW_S, Buckets
from controller.record.schema import open_for_reading
from controller.record.trends import Trend

FORWARDED_S = 10.0  # an outage forwards measurements as mean, least and most over so long


class StoredEvent(NamedTuple):
    number: int  # the record's own
    boot: str
    guard_number: int
    time_s: float  # Unix time
    synchronised: bool
    what: str
    subject: str
    detail: str
    source: str
    sentence: str
    seen: float | None
    limit: float | None


class LogLine(NamedTuple):
    number: int
    time_s: float
    synchronised: bool
    kind: str
    who: str
    amount: float | None
    unit: str
    side: str
    text: str


class Act(NamedTuple):
    number: int
    time_s: float
    synchronised: bool
    what: str
    alarm: str
    who: str
    until_s: float | None
    reason: str


class Span(NamedTuple):
    """One signal over ten seconds, as forwarded."""

    signal: str
    unit: str
    begin_s: float  # Unix time
    span_s: float
    least: float
    mean: float
    most: float


class Forward(NamedTuple):
    """One stored thing, as an outage forwards it."""

    number: int
    time_s: float  # of its newest content
    synchronised: bool
    what: Literal["measurements", "event", "log"]
    spans: tuple[Span, ...] = ()
    event: StoredEvent | None = None
    line: LogLine | None = None


class Tail(NamedTuple):
    """What is measured but not yet stored: the power-up it belongs to, and points by signal name."""

    power_up: int
    points: Mapping[str, Points]


_BLOCK = "SELECT number, power_up, begin_ms, end_ms, packed FROM block"
_EVENT = (
    "SELECT number, boot, guard_number, power_up, at_s, what, subject, detail, source, sentence, seen, limit_at"
    " FROM event"
)
_LOG = "SELECT number, power_up, at_s, kind, who, amount, unit, side, text FROM log"
_ACT = "SELECT number, power_up, at_s, what, alarm, who, until_s, reason FROM act"


class History:
    """An open record. Use in one thread; open another one for another."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    @classmethod
    def open(cls, path: Path) -> History:
        """Raises sqlite3.Error, FileNotFoundError or schema.WrongDatabase."""
        return cls(open_for_reading(path))

    def close(self) -> None:
        self._db.close()

    def __enter__(self) -> History:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    # -- time

    def power_ups(self) -> tuple[PowerUp, ...]:
        """Every life of the machine, with the offset to use."""
        rows = self._db.execute("SELECT id, offset_s, synchronised, first_s, last_s FROM power_up ORDER BY id")
        return in_order([PowerUp(i, offset, bool(known), first, last) for i, offset, known, first, last in rows])

    def _dates(self) -> dict[int, PowerUp]:
        return {one.id: one for one in self.power_ups()}

    # -- what happened

    def events(self, after: int = 0, limit: int = 500) -> list[StoredEvent]:
        """Events with a number above `after`, oldest first."""
        dates = self._dates()
        return [
            _event(row, dates)
            for row in self._db.execute(f"{_EVENT} WHERE number > ? ORDER BY number LIMIT ?", (after, limit))
        ]

    def newest_events(self, limit: int = 50, before: int | None = None) -> list[StoredEvent]:
        """The newest events with a number below `before`, newest first."""
        dates = self._dates()
        below = 2**62 if before is None else before
        rows = self._db.execute(f"{_EVENT} WHERE number < ? ORDER BY number DESC LIMIT ?", (below, limit))
        return [_event(row, dates) for row in rows]

    def logbook(self, limit: int = 500, kind: str | None = None, after: int = 0) -> list[LogLine]:
        """Lines of the logbook with a number above `after`, newest first by the time they speak of."""
        dates = self._dates()
        rows = self._db.execute(f"{_LOG} WHERE number > ? AND (?2 IS NULL OR kind = ?2)", (after, kind))
        return sorted((_line(row, dates) for row in rows), key=lambda x: (x.time_s, x.number), reverse=True)[:limit]

    def acts(self) -> list[Act]:
        """What people did about alarms, oldest first."""
        dates = self._dates()
        return [
            Act(number, *_dated(dates, power_up, at_s), *rest)
            for number, power_up, at_s, *rest in self._db.execute(f"{_ACT} ORDER BY number")
        ]

    def counters(self) -> dict[str, float]:
        return dict(self._db.execute("SELECT name, value FROM counter ORDER BY name"))

    def newest_number(self) -> int:
        """The highest number given so far."""
        return max(self._one(f"SELECT max(number) FROM {table}") for table in ("block", "event", "log", "act"))

    def waiting(self, after: int) -> int:
        """How many stored things an outage still has to forward."""
        tables = ("block", "event", "log")
        return sum(self._one(f"SELECT count(*) FROM {table} WHERE number > ?", after) for table in tables)

    def _one(self, query: str, *values: int) -> int:
        return int(self._db.execute(query, values).fetchone()[0] or 0)

    def forward(self, after: int, limit: int = 50) -> list[Forward]:
        """What was stored with a number above `after`, in order. Measurements as mean, least and most of 10 s."""
        dates = self._dates()
        names = {i: (name, unit) for i, name, unit in self._db.execute("SELECT id, name, unit FROM signal")}

        def ask(query: str) -> sqlite3.Cursor:
            return self._db.execute(f"{query} WHERE number > ? ORDER BY number LIMIT ?", (after, limit))

        def measurements() -> Iterator[Forward]:
            for number, power_up, begin_ms, end_ms, packed in ask(_BLOCK):
                time_s, known = _dated(dates, power_up, end_ms / 1000.0)
                spans = _spans(packed, begin_ms, end_ms, dates[power_up], names)
                yield Forward(number, time_s, known, "measurements", spans)

        def events() -> Iterator[Forward]:
            for event in (_event(row, dates) for row in ask(_EVENT)):
                yield Forward(event.number, event.time_s, event.synchronised, "event", event=event)

        def lines() -> Iterator[Forward]:
            for line in (_line(row, dates) for row in ask(_LOG)):
                yield Forward(line.number, line.time_s, line.synchronised, "log", line=line)

        return list(islice(heapq.merge(measurements(), events(), lines(), key=lambda one: one.number), limit))

    # -- what was measured

    def signals(self) -> dict[str, str]:
        """Unit of every signal there is a trend of, by name."""
        return dict(self._db.execute("SELECT name, unit FROM signal ORDER BY id"))

    def trend(
        self, signals: Sequence[str], from_s: float, to_s: float, points: int = 500, tail: Tail | None = None
    ) -> list[Trend]:
        """Lines of at most `points` points each between two Unix times. A name that was never recorded gives none.

        tail: what is measured but not stored yet.
        """
        if not to_s > from_s:
            raise ValueError(f"to_s {to_s} is not after from_s {from_s}")
        if points < 2:
            raise ValueError(f"{points} points; give 2 or more")
        units = self.signals()
        level_s = trends.level(to_s - from_s, points)
        found = []
        for name in signals:
            if name not in units:
                continue
            pieces = list(self._pieces(name, from_s, to_s, level_s, tail))
            at_s = np.concatenate([piece[0] for piece in pieces]) if pieces else np.empty(0)
            value = np.concatenate([piece[1] for piece in pieces]) if pieces else np.empty(0)
            inside = (at_s >= from_s) & (at_s <= to_s)
            found.append(Trend(name, units[name], *trends.thinned(at_s[inside], value[inside], points)))
        return found

    def stored(self, signal: str, from_s: float, to_s: float) -> Iterator[tuple[PowerUp, Points]]:
        """The stored points of a signal between two Unix times, those on either side of the span included."""
        ids = self._ids(signal)
        for one in self.power_ups():
            points = self._points(ids, one.id, from_s - one.offset_s, to_s - one.offset_s)
            if points.at_s.size:
                yield one, points

    def _ids(self, signal: str) -> list[int]:
        return [i for (i,) in self._db.execute("SELECT id FROM signal WHERE name = ? ORDER BY id", (signal,))]

    def _pieces(
        self, signal: str, from_s: float, to_s: float, level_s: int, tail: Tail | None
    ) -> Iterator[tuple[Floats, Floats]]:
        """Times and values to draw, oldest first, with a gap between two power-ups."""
        ids = self._ids(signal)
        drawn = False
        for one in self.power_ups():
            a_s, b_s = from_s - one.offset_s, to_s - one.offset_s
            if b_s < one.first_s or (one.last_s is not None and a_s > one.last_s):
                continue
            stored_from_s = min(b_s, max(a_s, self._stored_from(one.id, level_s)))
            points = self._points(ids, one.id, stored_from_s, b_s)
            if tail is not None and tail.power_up == one.id and signal in tail.points:
                points = joined([points, tail.points[signal]])
            pieces = [trends.of_points(points, one.offset_s)]
            # what is too old for a level is taken from the next coarser one that still has it
            for coarser_s in (level for level in trends.LEVELS_S if level >= level_s):
                rows = self._rows(coarser_s, one.id, a_s, stored_from_s)
                if rows:
                    begin_s, buckets = self._buckets(rows, ids, coarser_s)
                    pieces.insert(0, trends.of_buckets(begin_s + one.offset_s, buckets, coarser_s))
                    stored_from_s = float(rows[0][0])
            for nth, (at_s, value) in enumerate(piece for piece in pieces if piece[0].size):
                if drawn and nth == 0:
                    yield at_s[:1], np.array([np.nan])
                yield at_s, value
                drawn = True

    def _stored_from(self, power_up: int, level_s: int) -> float:
        """From when on stored points are to be drawn: what is not rolled up yet, or not yet thrown away."""
        if level_s == trends.STORED:
            oldest_s = self.oldest_stored(power_up)
            return math.inf if oldest_s is None else oldest_s
        row_s = max(level_s, HOUR_S)  # a row of minutes is written with its hour, which is never thrown away
        query = "SELECT max(begin_s) + ? FROM rollup WHERE level_s = ? AND power_up = ?"
        return float(self._db.execute(query, (row_s, row_s, power_up)).fetchone()[0] or -math.inf)

    def _rows(self, level_s: int, power_up: int, a_s: float, b_s: float) -> list[tuple[int, bytes]]:
        return self._db.execute(
            "SELECT begin_s, packed FROM rollup WHERE level_s = ? AND power_up = ? AND begin_s > ? AND begin_s < ?"
            " ORDER BY begin_s",
            (level_s, power_up, a_s - ROW_S[level_s], b_s),
        ).fetchall()

    @staticmethod
    def _buckets(rows: Sequence[tuple[int, bytes]], ids: Sequence[int], level_s: int) -> tuple[Floats, Buckets]:
        begins: list[Floats] = []
        tables: list[Buckets] = []
        for begin_s, packed in rows:
            for buckets in rollups.unpack(packed, ids).values():
                begins.append(begin_s + level_s * np.arange(buckets.mean.size, dtype=np.float64))
                tables.append(buckets)
        if not tables:
            return np.empty(0), Buckets(np.empty(0), np.empty(0), np.empty(0), np.empty(0))
        return np.concatenate(begins), Buckets(*(np.concatenate(column) for column in zip(*tables, strict=True)))

    def _points(self, ids: Sequence[int], power_up: int, a_s: float, b_s: float) -> Points:
        found = self.points(power_up, a_s, b_s, ids)
        return joined([found[ident] for ident in ids if ident in found])

    def points(self, power_up: int, a_s: float, b_s: float, ids: Iterable[int] | None = None) -> dict[int, Points]:
        """Stored points by the database's id between two times since power-up, and those on either side."""
        return {} if b_s < a_s else by_signal(self._blocks(power_up, a_s, b_s), ids)

    def oldest_stored(self, power_up: int) -> float | None:
        """Time since power-up from which on there are stored points."""
        query = "SELECT begin_ms / 1000.0 FROM block WHERE number = ? AND power_up = ?"
        row = self._db.execute(query, (self._find(power_up, -1), power_up)).fetchone()
        return None if row is None else float(row[0])

    def first_block(self, power_up: int, at_s: float) -> int:
        """Number of the first block that ends at or after a time since power-up."""
        return self._find(power_up, int(at_s * 1000.0))

    def _blocks(self, power_up: int, a_s: float, b_s: float) -> Iterator[tuple[int, bytes]]:
        """Blocks that touch the span, and one more at each end: lines come in from there."""
        first = self._find(power_up, int(a_s * 1000.0))
        before = self._db.execute("SELECT max(number) FROM block WHERE number < ?", (first,)).fetchone()[0]
        with closing(
            self._db.execute(
                "SELECT power_up, begin_ms, packed FROM block WHERE number >= ? ORDER BY number",
                (first if before is None else before,),
            )
        ) as rows:
            for owner, begin_ms, packed in rows:
                if owner > power_up:
                    return
                if owner == power_up:
                    yield begin_ms, packed
                    if begin_ms > b_s * 1000.0:
                        return

    def _find(self, power_up: int, at_ms: int) -> int:
        """Number of the first block that ends at or after a moment. They stand in order of time: no index is kept."""
        low = self._one("SELECT min(number) FROM block")
        high = self._one("SELECT max(number) FROM block") + 1
        while low < high:
            middle = (low + high) // 2
            row = self._db.execute(
                "SELECT number, power_up, end_ms FROM block WHERE number >= ? ORDER BY number LIMIT 1", (middle,)
            ).fetchone()
            if row is None or (row[1], row[2]) >= (power_up, at_ms):
                high = middle
            else:
                low = row[0] + 1
        return int(low)


def _dated(dates: Mapping[int, PowerUp], power_up: int | None, at_s: float) -> Dated:
    if power_up is None:
        return Dated(at_s, True)
    return Dated(at_s + dates[power_up].offset_s, dates[power_up].synchronised)


def _event(row: tuple[Any, ...], dates: Mapping[int, PowerUp]) -> StoredEvent:
    number, boot, guard_number, power_up, at_s, *rest = row
    return StoredEvent(number, boot, guard_number, *_dated(dates, power_up, at_s), *rest)


def _line(row: tuple[Any, ...], dates: Mapping[int, PowerUp]) -> LogLine:
    number, power_up, at_s, *rest = row
    return LogLine(number, *_dated(dates, power_up, at_s), *rest)


def _spans(
    packed: bytes, begin_ms: int, end_ms: int, one: PowerUp, names: Mapping[int, tuple[str, str]]
) -> tuple[Span, ...]:
    begin_s = begin_ms / 1000.0
    count = int((end_ms - begin_ms) / 1000.0 / FORWARDED_S) + 1
    found = []
    for ident, points in by_signal([(begin_ms, packed)]).items():
        name, unit = names[ident]
        buckets = rollups.summarise(points, begin_s, FORWARDED_S, count)
        found += [
            Span(name, unit, one.offset_s + begin_s + FORWARDED_S * at, FORWARDED_S, least, mean, most)
            for at, (least, mean, most, seen_s) in enumerate(zip(*(column.tolist() for column in buckets), strict=True))
            if seen_s > 0.0
        ]
    return tuple(found)
