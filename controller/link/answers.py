"""Answers to questions about the past: bounded in size and rate, made in a thread of its own, sent in parts.

A question costs the Pi's processor and card; nobody may make the link spend more than its share on them.
"""

from __future__ import annotations

import sqlite3
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, Final, NamedTuple

from pydantic import ValidationError

from controller.core.rig import Rig
from controller.guard.post import Bucket
from controller.link import incidents
from controller.link import messages as m
from controller.record.history import History, LogLine, StoredEvent, Tail
from controller.record.logbook import KINDS

WAITING: Final = 16  # questions; more are dropped and counted
ASK_BYTES: Final = 4096
SIGNALS_AT_MOST: Final = 24
ROWS_AT_MOST: Final = 2000
ROWS_A_PART: Final = 150
POINTS_A_PART: Final = 3000
PARTS_KEPT: Final = 60  # of one answer
DAY_S: Final = 86400.0
AT_ONCE, PER_S = 12.0, 2.0  # questions, of all clients together

Opened = Callable[[], AbstractContextManager[History]]


class Question(NamedTuple):
    payload: bytes
    topic: str  # where the answer goes
    correlation: bytes


class Part(NamedTuple):
    topic: str
    correlation: bytes
    payload: bytes


class Answer(NamedTuple):
    trends: Sequence[m.TrendLine] = ()
    rows: Sequence[dict[str, object]] = ()
    why: str = ""  # it is not complete


class Answers:
    """`round` answers one question; the loop asks and fetches."""

    def __init__(
        self, rig: Rig, history: Opened, tail: Callable[[], Tail | None], incidents_in: Path, stamp: Callable[[], Any]
    ) -> None:
        """stamp: boot, time_s and clock_synchronised of now."""
        self._rig, self._history, self._tail, self._incidents, self._stamp = rig, history, tail, incidents_in, stamp
        self._questions: deque[Question] = deque()
        self.parts: deque[Part] = deque()  # for the loop to send
        self._number = 0

    @staticmethod
    def bucket() -> Bucket:
        return Bucket(AT_ONCE, PER_S)

    def ask(self, question: Question) -> str:
        """Empty, or why it is not answered."""
        if len(self._questions) >= WAITING:
            return "too many questions"
        if len(question.payload) > ASK_BYTES:
            return "oversized"
        self._questions.append(question)
        return ""

    def round(self) -> bool:
        """Answer one question, if the last answer has been sent. Whether there was one."""
        if not self._questions or len(self.parts) > PARTS_KEPT:
            return False
        question = self._questions.popleft()
        self.parts.extend(self._parts(question, self._answer(question)))
        return True

    def refuse(self, question: Question, why: str) -> None:
        """Say so instead of an answer."""
        if len(self.parts) < 2 * PARTS_KEPT:
            self.parts.extend(self._parts(question, Answer(why=why)))

    def _answer(self, question: Question) -> Answer:
        try:
            ask = m.HistoryAsk.model_validate_json(question.payload)
        except ValidationError as error:
            first = error.errors()[0]
            return Answer(why=f"not understood: {'.'.join(map(str, first['loc']))} {first['msg']}"[:200])
        try:
            return self._of(ask)
        except ValueError as error:
            return Answer(why=str(error)[:200])
        except (sqlite3.Error, OSError) as error:
            return Answer(why=f"the record cannot be read: {error}"[:200])

    def _of(self, ask: m.HistoryAsk) -> Answer:
        now_s = self._stamp()["time_s"]
        to_s = ask.to_s if ask.to_s is not None else now_s
        match ask.what:
            case "trend":
                return self._trend(ask, ask.from_s if ask.from_s is not None else to_s - 3600.0, to_s)
            case "events":
                return self._events(ask, ask.from_s if ask.from_s is not None else -1e18, to_s)
            case "logbook":
                with self._history() as history:
                    found = history.logbook(ROWS_AT_MOST, ask.name if ask.name in KINDS else None, ask.after)
                return Answer(rows=[_line(x) for x in found if (ask.from_s or -1e18) <= x.time_s <= to_s + DAY_S])
            case "incidents":
                return Answer(rows=[found.row() for found in incidents.listed(self._incidents, self._rig)])
            case _:
                found_one = incidents.shown(self._incidents, self._rig, ask.name, min(ask.points, 800))
                return Answer(found_one.lines, found_one.events)

    def _trend(self, ask: m.HistoryAsk, from_s: float, to_s: float) -> Answer:
        names = ask.signals[:SIGNALS_AT_MOST]
        with self._history() as history:
            found = history.trend(names, from_s, to_s, ask.points, self._tail())
        why = f"more than {SIGNALS_AT_MOST} signals at once" if len(ask.signals) > len(names) else ""
        return Answer([incidents.trend_line(*trend) for trend in found], why=why)

    def _events(self, ask: m.HistoryAsk, from_s: float, to_s: float) -> Answer:
        """After a number, oldest first; else those of a time, the newest of them, oldest first."""
        rows: list[StoredEvent] = []
        with self._history() as history:
            if ask.after:
                rows = history.events(ask.after, ROWS_AT_MOST)
                return Answer(rows=[_event(e) for e in rows], why="there are more" if len(rows) == ROWS_AT_MOST else "")
            before: int | None = None
            looked = 0
            while looked < 5 * ROWS_AT_MOST and len(rows) < ROWS_AT_MOST:
                some = history.newest_events(500, before)
                looked += len(some)
                rows += [e for e in some if from_s <= e.time_s <= to_s]
                if len(some) < 500 or some[-1].time_s < from_s - DAY_S:
                    return Answer(rows=[_event(e) for e in reversed(rows)])
                before = some[-1].number
        return Answer(rows=[_event(e) for e in reversed(rows[:ROWS_AT_MOST])], why="there are more")

    def _parts(self, question: Question, answer: Answer) -> Iterator[Part]:
        chunks: list[tuple[list[m.TrendLine], list[dict[str, object]]]] = []
        points = POINTS_A_PART
        for line in answer.trends:
            if points + len(line.time_s) > POINTS_A_PART:
                chunks.append(([], []))
                points = 0
            chunks[-1][0].append(line)
            points += len(line.time_s)
        rows = list(answer.rows)
        chunks += [([], rows[at : at + ROWS_A_PART]) for at in range(0, len(rows), ROWS_A_PART)]
        chunks = chunks[:PARTS_KEPT] or [([], [])]
        for nth, (lines, some) in enumerate(chunks, 1):
            self._number += 1
            reply = m.HistoryReply(
                rig=self._rig.name,
                number=self._number,
                **self._stamp(),
                part=nth,
                parts=len(chunks),
                trends=lines,
                rows=some,
                complete=not answer.why,
                why=answer.why,
            )
            yield Part(question.topic, question.correlation, reply.model_dump_json().encode())


def _event(found: StoredEvent) -> dict[str, object]:
    row: dict[str, object] = dict(found._asdict())
    row["record"], row["number"] = found.number, row.pop("guard_number")
    return row


def _line(found: LogLine) -> dict[str, object]:
    row: dict[str, object] = dict(found._asdict())
    row["record"], row["number"] = found.number, row.pop("amount")
    return row
