"""What is stored and the broker has not taken yet, in the order of the record's numbers.

Nothing is stored twice for an outage: this is a window of a hundred messages that moves along the record. Filled by
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

WINDOW = 100
# A broker that has lost our session has perhaps lost what it had acknowledged last: so much is sent again.
AGAIN_S = 30.0
REMEMBER_EVERY_S = 60.0


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
        self._round = 0
        self._lock = threading.Lock()

    @classmethod
    def remembered(cls, file: Path | None, newest: int) -> Outbox:
        """As the last link left it; without that everything stored so far counts as sent."""
        taken = newest
        if file is not None:
            with suppress(OSError, ValueError):
                taken = min(newest, int(file.read_text()))
        return cls(taken, file)

    def wants(self) -> tuple[int, int] | None:
        """The record's number to read on from, and the round to hand in with what was read; None: enough is here."""
        with self._lock:
            return None if len(self._queue) >= WINDOW // 2 else (self._read, self._round)

    def fill(self, items: Sequence[Item], read: int, nth: int) -> None:
        """What was read up to a number. Dropped where a session was lost in between: it will be read again."""
        with self._lock:
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
        return sent

    def acknowledged(self, mid: int, now_s: float) -> None:
        with self._lock:
            if self._flight.pop(mid, None) is not None:
                self._settle()
                self._past.append((now_s, self.taken))
                while self._past[0][0] < now_s - AGAIN_S and len(self._past) > 1:
                    self._past.popleft()

    def _settle(self) -> None:
        open_ = [*self._flight.values(), *(item.number for item in self._queue)]
        self.taken = max(self.taken, min(open_) - 1 if open_ else self._read)

    def begin_again(self) -> None:
        """The broker has forgotten our session: go back to before what it had taken last."""
        with self._lock:
            self.taken = self._read = min(self._past[0][1] if self._past else self.taken, self.taken)
            self._queue.clear()
            self._flight.clear()
            self._past.clear()
            self._round += 1

    @property
    def in_hand(self) -> int:
        with self._lock:
            return len(self._queue) + len(self._flight)

    def remember(self, now_s: float, at_once: bool = False) -> None:
        """Now and then; after a power cut the last minute is sent again, which is a repeat and no loss."""
        if self._file is None or self.taken == self._remembered:
            return
        if at_once or now_s - self._remembered_s >= REMEMBER_EVERY_S:
            self._remembered_s = now_s
            part = self._file.with_suffix(".part")
            with suppress(OSError):  # a full disk costs repeats, no more
                part.write_text(str(self.taken))
                os.replace(part, self._file)
                self._remembered = self.taken
