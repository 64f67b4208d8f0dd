"""What is stored and the broker has not taken yet, in the order of the record's numbers.

Nothing is stored twice for an outage: this is a window of some messages that moves along the record. Filled by
the keeper's thread, emptied by the loop.
"""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

WINDOW = 200
# A broker that has lost our session has perhaps lost what it had acknowledged last: so much is sent again.
AGAIN_S = 30.0
PAST_EACH_S = 1.0
REMEMBER_EVERY_S = 3600.0  # each time costs the card about 20 kB, most of it for the date of the file
UNKNOWN = 1000  # about a day


class Item(NamedTuple):
    number: int  # the record's
    topic: str
    payload: bytes  # empty: nothing to send, it was seen live


class Outbox:
    def __init__(self, taken: int, keep_in: Path | None = None) -> None:
        """taken: everything with a number up to it is with the broker. keep_in: the file that remembers it."""
        self.taken = taken
        self._read = taken  # filled from the record up to here
        self._file, self._remembered_s, self._remembered = keep_in, 0.0, -1
        self._queue: deque[Item] = deque()
        self._flight: dict[int, int] = {}  # message number -> record number
        self._past: deque[tuple[float, int]] = deque()  # when so much was taken
        self._new_taken = False  # of what was sent
        self._round = 0
        self._more = False  # is left in the record
        self._hungry = threading.Event()
        self._lock = threading.Lock()

    @classmethod
    def remembered(cls, file: Path | None, newest: int) -> Outbox:
        """As the last link left it. Without a file everything stored so far counts as sent, which is written down at
        once; one that cannot be read is what a power cut has left: then the newest are sent again."""
        taken, known = newest, True
        if file is not None:
            try:
                taken = min(newest, int(file.read_text()))
            except FileNotFoundError:
                known = False
            except (OSError, ValueError):
                taken = max(0, newest - UNKNOWN)
        found = cls(taken, file)
        found._new_taken = not known
        return found

    def wants(self) -> tuple[int, int] | None:
        """The record's number to read on from, and the round to hand in with what was read; None: enough is here."""
        with self._lock:
            return None if len(self._queue) >= WINDOW // 2 else (self._read, self._round)

    def fill(self, items: Sequence[Item], read: int, nth: int, more: bool = False) -> None:
        """What was read up to a number. Dropped where a session was lost in between: it will be read again.

        more: the record has more than that."""
        with self._lock:
            self._more = more
            if nth == self._round:
                self._queue.extend(items)
                self._read = max(self._read, read)
                self._settle()

    def send(self, publish: Callable[[Item], int | None], at_most: int) -> int:
        """Hand over in order, as far as it is taken; how many."""
        sent = 0
        with self._lock:
            while self._queue and sent < at_most:
                item = self._queue[0]
                if item.payload:
                    mid = publish(item)
                    if mid is None:
                        break
                    self._flight[mid] = item.number
                    sent += 1
                self._queue.popleft()
            self._settle()
            if self._more and len(self._queue) < WINDOW // 2:
                self._more = False
                self._hungry.set()
        return sent

    def rest(self, at_most_s: float) -> None:
        """Wait until there is room for more of the record, or so long."""
        self._hungry.wait(at_most_s)
        self._hungry.clear()

    def acknowledged(self, mid: int, now_s: float) -> None:
        with self._lock:
            if self._flight.pop(mid, None) is not None:
                self._settle()
                self._new_taken = True
                if not self._past or now_s - self._past[-1][0] >= PAST_EACH_S:
                    self._past.append((now_s, self.taken))
                while self._past[0][0] < now_s - AGAIN_S and len(self._past) > 1:
                    self._past.popleft()

    def refused(self, mid: int) -> bool:
        """The broker did not take it: it and what follows will be read again. False: none of ours."""
        with self._lock:
            if mid not in self._flight:
                return False
            self._go_back(self.taken)
            return True

    def _settle(self) -> None:
        """All is in the record's order, so the oldest on its way, else the first that waits, bounds what is taken."""
        if self._flight:
            taken = next(iter(self._flight.values())) - 1
        else:
            taken = self._queue[0].number - 1 if self._queue else self._read
        self.taken = max(self.taken, taken)

    def begin_again(self) -> None:
        """The broker has forgotten our session: go back to before what it had taken last."""
        with self._lock:
            self._go_back(min(self._past[0][1] if self._past else self.taken, self.taken))
            self._past.clear()

    def _go_back(self, number: int) -> None:
        self.taken = self._read = number
        self._queue.clear()
        self._flight.clear()
        self._round += 1

    @property
    def waits(self) -> bool:
        """Whether more is here to be sent."""
        return bool(self._queue)

    def remember(self, now_s: float, at_once: bool = False) -> None:
        """What was sent and taken is remembered at once, what needed no sending now and then.

        Written over in place and not forced to the card, which is enough to outlive this process. After a power cut
        what was taken last is sent again, which is a repeat and no loss.
        """
        if self._file is None or self.taken == self._remembered:
            return
        if at_once or self._new_taken or now_s - self._remembered_s >= REMEMBER_EVERY_S:
            self._remembered_s, self._new_taken = now_s, False
            taken = self.taken
            with suppress(OSError):  # a full disk costs repeats, no more
                with open(os.open(self._file, os.O_WRONLY | os.O_CREAT, 0o644), "wb", buffering=0) as file:
                    file.write(b"%020d\n" % taken)
                self._remembered = taken
