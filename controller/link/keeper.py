"""The record's keeper: a thread of its own, because a card may stall for seconds and a stop may not wait for it.

An event is acknowledged to the guard only when it is on the card; until then the guard has it. What the card does not
take waits in the historian's bounded memory, and the telemetry goes on without it.
"""

from __future__ import annotations

import secrets
import sqlite3
import threading
from collections import Counter, deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from controller.chemistry import faraday
from controller.core.events import Event
from controller.core.explain import explain_event
from controller.core.frame import Frame
from controller.core.rig import Rig
from controller.link import messages as m
from controller.link import past
from controller.link.attention import Attention, did
from controller.link.guard_end import Asker, Fetched
from controller.link.outbox import WINDOW, Item, Outbox
from controller.record import alarms, counters
from controller.record.historian import Historian
from controller.record.history import Act, Forward, History, StoredEvent, Tail
from controller.record.logbook import Entry
from controller.record.spool import FOLDER as SPOOL
from controller.record.told import Deed, Happening, Health, Moment
from controller.record.wear import wear

_T = TypeVar("_T")
SENT: Final = "sent"  # the file that remembers what the broker has taken
MEASURED_KEPT: Final = 3000  # five minutes at ten a second, while the card stalls
HANDED_KEPT: Final = 200  # lines and deeds
SPOOL_S: Final = 5.0
EVENTS_S: Final = 0.2
HEALTH_S: Final = 10.0
LOOK_S: Final = 1.0
HELD_BACK_S: Final = 5.0  # a block of which it is not known yet whether it was seen live
NOTE_S: Final = 10.0  # refusals are written down together, at most so often
LONGEST_GAP_S: Final = 2.0  # between two frames that belong together
NOT_YET: Final = Health("", 0, 0, 0, 0, 0, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class Live:
    """Since when the broker takes what is told, and up to when that is known; the guard's own time."""

    since_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class Known:
    """What the loop may read at any time; replaced as a whole, never changed."""

    health: Health = NOT_YET
    alarms: tuple[m.AlarmNow, ...] = ()
    counters: tuple[tuple[str, float], ...] = ()
    waiting: int = 0
    card: str = ""
    card_bytes_a_day: float | None = None
    lost_by_guard: int = 0


class Keeper:
    """`round` is called again and again by one thread; the loop hands in and reads `known`."""

    def __init__(
        self, rig: Rig, historian: Historian, guard: Asker, outbox: Outbox, folder: Path, spool: Path, durable: bool
    ) -> None:
        """folder: of the record, whose card's wear is told. durable: whether it outlives this process."""
        self._rig, self._historian, self._guard, self.outbox = rig, historian, guard, outbox
        self._folder, self._spool, self._durable = folder, spool, durable
        self.known = Known()
        self.measured: deque[Frame] = deque(maxlen=MEASURED_KEPT)
        self.lines: deque[Entry] = deque(maxlen=HANDED_KEPT)
        self.deeds: deque[Deed] = deque(maxlen=HANDED_KEPT)
        self.refused: deque[tuple[str, str]] = deque(maxlen=HANDED_KEPT)  # what, why
        self.live: Live | None = None
        self.unstored: deque[Item] = deque(maxlen=WINDOW)  # events that the card does not take
        self._attention = Attention(rig)
        self._fetched: dict[str, int] = {}
        self._own_boot, self._own_number = f"link-{secrets.token_hex(4)}", 0
        self._refusals: Counter[tuple[str, str]] = Counter()
        self._due: dict[str, float] = {}
        self._last: Frame | None = None
        self._door = threading.Lock()  # to what is measured and not stored yet
        self._lost_by_guard = 0
        self._nothing_new: tuple[tuple[int, int], int] | None = None
        self._safe_in_memory = (-1, "", 0)  # taken, boot, number
        whole_ah = faraday.hydrogen_mol(3600.0, rig.cells)
        self._hydrogen_l_ah = float(faraday.room_litres(whole_ah))
        self._water_ml_ah = float(faraday.water_g(3600.0, rig.cells))  # a gram is a millilitre

    @classmethod
    def made(cls, rig: Rig, historian: Historian, guard: Asker, folder: Path, durable: bool) -> Keeper:
        """With what the record knows of before."""
        newest = 0
        with suppress(sqlite3.Error, OSError), historian.history() as history:
            newest = history.newest_number()
        outbox = Outbox.remembered(folder / SENT if durable else None, newest)
        found = cls(rig, historian, guard, outbox, folder, folder / SPOOL, durable)
        found._ask(found._attention.catch_up)
        return found

    def tail(self) -> Tail | None:
        """What is measured but not stored yet. From any thread."""
        with self._door:
            return self._historian.tail()

    def round(self, now: Moment) -> None:
        """One turn. now: by the clocks of the guard."""
        self._measure()
        if self._is_due("events", EVENTS_S, now):
            self._events(now)
        self._handed_in(now)
        if self._is_due("spool", SPOOL_S, now):
            self._historian.take_in(self._spool, now)
        self._refill(now)
        self.outbox.remember(now.mono_s)
        self._look(now)

    def end(self, now: Moment) -> None:
        self._measure()
        self._events(now)
        self._handed_in(now)
        self._write_down_refusals(now)
        self._historian.flush(now)
        self.outbox.remember(now.mono_s, at_once=True)
        self._historian.close()
        self._guard.close()

    def _is_due(self, what: str, every_s: float, now: Moment) -> bool:
        if now.mono_s < self._due.get(what, 0.0) <= now.mono_s + every_s:
            return False
        self._due[what] = now.mono_s + every_s
        return True

    # -- what is told to the historian

    def _measure(self) -> None:
        while self.measured:
            frame = self.measured.popleft()
            memory, last = frame.memory, self._last
            if last is not None and memory.sequence.powered:
                dt_s = memory.now_s - last.memory.now_s
                if 0.0 < dt_s <= LONGEST_GAP_S:
                    self._historian.count(self._grown(frame, dt_s))
            self._last = frame
            at = Moment(memory.now_s, frame.wall_s, frame.inputs.clock_synchronised)
            with self._door:
                self._historian.measure(at, [(value.number, int(value.status)) for value in memory.values])

    def _grown(self, frame: Frame, dt_s: float) -> dict[str, float]:
        roles, values = self._rig.roles, frame.memory.values
        amps = values[roles.current].number if roles.current >= 0 else None
        volts = values[roles.voltage].number if roles.voltage >= 0 else None
        return counters.by_time(dt_s, amps, volts, self._hydrogen_l_ah, self._water_ml_ah)

    def _events(self, now: Moment) -> None:
        while True:
            fetched = self._guard.events(self._after)
            if fetched is None:
                return
            self._note_lost(fetched, now)
            if fetched.events:
                self._store(fetched, now)
            safe = self._historian.safe_event(fetched.boot) if self._durable else self._taken(fetched.boot)
            if safe:
                self._guard.acknowledge(safe)
            if not fetched.events:
                return

    def _after(self, boot: str) -> int:
        return self._fetched.get(boot) or self._historian.safe_event(boot)

    def _store(self, fetched: Fetched, now: Moment) -> None:
        told = [self._happening(fetched.boot, event) for event in fetched.events]
        stored = self._historian.happened(told, now)
        self._fetched[fetched.boot] = told[-1].number
        for one in told:
            offset_s = now.wall_s - now.mono_s
            self._attention.see(
                alarms.Happened(one.at_s + offset_s, one.what, one.subject, one.seen, one.limit), one.sentence
            )
            self._due["look"] = 0.0
            if not stored:
                self.unstored.append(self._unstored(one, offset_s, now.synchronised))

    def _happening(self, boot: str, event: Event) -> Happening:
        return Happening(
            boot,
            event.number,
            event.at_s,
            event.what.name.lower(),
            event.subject,
            event.detail,
            event.source,
            explain_event(self._rig, event),
            event.seen,
            event.limit,
        )

    def _unstored(self, one: Happening, offset_s: float, synchronised: bool) -> Item:
        found = StoredEvent(
            0,
            one.boot,
            one.number,
            one.at_s + offset_s,
            synchronised,
            one.what,
            one.subject,
            one.detail,
            one.source,
            one.sentence,
            one.seen,
            one.limit,
        )
        return self._item(0, "events", past.event(self._rig.name, found))

    def _taken(self, boot: str) -> int:
        """The guard's number up to which the broker has everything: the most that a record in memory is good for."""
        taken = self.outbox.taken
        if (taken, boot) != self._safe_in_memory[:2]:
            newest = self._ask(lambda history: history.newest_events(1000, before=taken + 1)) or []
            numbers = [event.guard_number for event in newest if event.boot == boot]
            self._safe_in_memory = (taken, boot, max(numbers, default=0))
        return self._safe_in_memory[2]

    def _note_lost(self, fetched: Fetched, now: Moment) -> None:
        if fetched.lost > self._lost_by_guard:
            self._note(
                "events lost", f"{fetched.lost - self._lost_by_guard} by the guard, before they were fetched", now
            )
        self._lost_by_guard = fetched.lost

    def _note(self, subject: str, detail: str, now: Moment, what: str = "note") -> None:
        """A record of the link's own."""
        self._own_number += 1
        sentence = f"{subject.capitalize()}: {detail}"
        one = Happening(
            self._own_boot, self._own_number, now.mono_s, what, subject, detail, source="link", sentence=sentence
        )
        self._historian.happened([one], now)

    def _handed_in(self, now: Moment) -> None:
        while self.lines:
            self._historian.log(self.lines.popleft(), now)
        while self.deeds:
            deed = self.deeds.popleft()
            self._historian.act(deed, now)
            self._due["look"] = 0.0
            self._attention.see(did(Act(0, now.wall_s, now.synchronised, *deed)))
        while self.refused:
            self._refusals[self.refused.popleft()] += 1
        if self._refusals and self._is_due("refusals", NOTE_S, now):
            self._write_down_refusals(now)

    def _write_down_refusals(self, now: Moment) -> None:
        for (what, why), times in self._refusals.items():
            self._note(what, why + (f", {times} times" if times > 1 else ""), now, "refused")
        self._refusals.clear()

    # -- what the broker is to get

    def _refill(self, now: Moment) -> None:
        wanted, live, commits = self.outbox.wants(), self.live, self._historian.health().commits
        if wanted is None or live is None:
            return
        if (wanted, commits) == self._nothing_new and not self._is_due("held back", HELD_BACK_S, now):
            return
        after, nth = wanted
        found = self._ask(lambda history: history.forward(after, WINDOW)) or []
        offset_s = now.wall_s - now.mono_s
        items: list[Item] = []
        read = after
        for one in found:
            payload = self._forwarded(one, live, offset_s)
            if payload is None:
                break
            read = one.number
            items.append(payload)
        self._nothing_new = ((after, nth), commits) if read == after else None
        self.outbox.fill(items, read, nth, more=len(found) == WINDOW and read != after)

    def _forwarded(self, one: Forward, live: Live, offset_s: float) -> Item | None:
        """The message of a stored thing; one without payload where it was seen live, None where that is not known."""
        if one.event is not None:
            return self._item(one.number, "events", past.event(self._rig.name, one.event))
        if one.line is not None:
            return self._item(one.number, "logbook", past.line(self._rig.name, one))
        begin_s = min((span.begin_s for span in one.spans), default=one.time_s) - offset_s
        if begin_s >= live.since_s:
            seen = one.time_s - offset_s <= live.until_s
            return Item(one.number, "", b"") if seen else None
        return self._item(one.number, "past", past.measurements(self._rig.name, one))

    def _item(self, number: int, last: str, message: m.Message) -> Item:
        return Item(number, m.topic(self._rig.name, last), message.model_dump_json().encode())

    # -- what is known

    def _look(self, now: Moment) -> None:
        if not self._is_due("look", LOOK_S, now):
            return
        known = self.known
        fields = {name: getattr(known, name) for name in ("counters", "waiting", "card", "card_bytes_a_day")}
        if self._is_due("health", HEALTH_S, now):
            worn = wear(self._folder, now.mono_s)
            fields["card"], fields["card_bytes_a_day"] = (worn.device, worn.bytes_a_day) if worn else ("", None)
            fields["counters"] = self._counters() or known.counters
        fields["waiting"] = self._count_waiting(known.waiting)
        told = tuple(self._attention.listed(now.wall_s))
        self.known = Known(health=self._historian.health(), alarms=told, lost_by_guard=self._lost_by_guard, **fields)

    def _counters(self) -> tuple[tuple[str, float], ...]:
        return self._ask(lambda history: tuple(history.counters().items())) or ()

    def _count_waiting(self, before: int) -> int:
        found = self._ask(lambda history: history.waiting(self.outbox.taken))
        return before if found is None else found

    def _ask(self, question: Callable[[History], _T]) -> _T | None:
        """None where the record cannot be read: what is wrong with it the historian says."""
        try:
            with self._historian.history() as history:
                return question(history)
        except (sqlite3.Error, OSError):
            return None
