"""Sensors whose read blocks for most of a second, so that they are never read in the scan.

Those on one bus take turns. The guard gives each group threads; on a virtual clock `step` stands in for them. A read
that never returns loses its own sensor and no other: a second thread goes on with the rest. An answer that a fresh
conversion may mend (garbled, or after a moment without power) is asked for again at once: with three sensors in turn,
one lost reading is already longer than a temperature may go unseen. One that stays so waits for its turn.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

from controller.core.signals import Code, Reading
from controller.hardware.ports import Clock, Wait

STUCK_S = 3.0  # a read that takes longer no longer keeps the others waiting; they take 0.9 s, seldom 2.8
NOT_YOUR_TURN_S = 0.1
PASSING = frozenset({Code.BAD_CHECKSUM, Code.ALL_ZERO, Code.POWER_ON_VALUE})  # what a touch of the line leaves behind


class SlowReader(Protocol):
    """On a virtual clock a port says BlockingIOError where a real one would not return."""

    def read_once(self) -> Reading: ...


class SlowGroup:
    """Blocking readers that share a bus, asked one after another. Each result goes to its signal's place."""

    def __init__(
        self, name: str, one_takes_s: float, put: Callable[[int, Reading], None], clock: Clock, wait: Wait
    ) -> None:
        self.name = name
        self.one_takes_s = one_takes_s
        self._put, self._clock, self._wait = put, clock, wait
        self._readers: dict[int, SlowReader] = {}  # by position, in turn
        self._reading_since_s: dict[int, float] = {}
        self._passing: set[int] = set()  # by their last answer
        self._lock = threading.Lock()
        self._arrives: tuple[float, int, Reading] | None = None  # on a virtual clock: when, where, what

    def add(self, position: int, reader: SlowReader) -> None:
        self._readers[position] = reader

    @property
    def threads(self) -> int:
        """How many it can use: one, and one to go on when that one is stuck."""
        return min(2, len(self._readers))

    def run_once(self) -> None:
        """Reads the next one. Blocks: for a thread of its own, which an absent sensor must not make spin."""
        begun_s = self._clock()
        with self._lock:
            position = self._take(begun_s)
        if position is None:
            self._wait(NOT_YOUR_TURN_S)
            return
        try:
            reading = self._readers[position].read_once()
            if self._again(position, reading):
                self._wait(max(0.0, begun_s + self.one_takes_s - self._clock()))
                begun_s = self._clock()
                reading = self._readers[position].read_once()
            self._put(position, reading)
            self._wait(max(0.0, begun_s + self.one_takes_s - self._clock()))
        finally:
            with self._lock:
                del self._reading_since_s[position]

    def step(self, now_s: float) -> None:
        """As `run_once` in threads would, on a virtual clock: a result is there `one_takes_s` after its start."""
        if self._arrives is not None:
            at_s, position, reading = self._arrives
            if now_s < at_s:
                return
            if self._again(position, reading) and self._begins(position, now_s):
                return
            self._put(position, reading)
            del self._reading_since_s[position]
            self._arrives = None
        for position in list(self._reading_since_s):  # stuck until now
            if self._begins(position, now_s):
                return
        taken = self._take(now_s)
        if taken is not None:
            self._begins(taken, now_s)

    def _again(self, position: int, reading: Reading) -> bool:
        """Whether this answer may be mended by asking, and the one before it was sound."""
        if reading.code not in PASSING:
            self._passing.discard(position)
            return False
        if position in self._passing:
            return False
        self._passing.add(position)
        return True

    def _begins(self, position: int, now_s: float) -> bool:
        try:
            self._arrives = (now_s + self.one_takes_s, position, self._readers[position].read_once())
        except BlockingIOError:
            return False
        return True

    def _take(self, now_s: float) -> int | None:
        """The next in turn, unless another is being read; one that is stuck is passed over."""
        if any(now_s - since_s < STUCK_S for since_s in self._reading_since_s.values()):
            return None
        for position in self._readers:
            if position not in self._reading_since_s:
                self._readers[position] = self._readers.pop(position)  # to the end of the queue
                self._reading_since_s[position] = now_s
                return position
        return None
