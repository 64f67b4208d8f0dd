"""Edges of one input pin as the kernel stamped them, kept until somebody asks.

The library calls back in a thread of its own; the callback only appends. Stamps of another clock than ours are moved
to ours: the smallest delay between stamp and arrival is taken for the difference of the two clocks.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from typing import Any, NamedTuple

from gpiozero import GPIOZeroError

from controller.hardware.ports import Clock

KEPT = 4096  # edges between two polls; more is noise whatever it is
SAME_CLOCK_S = 1.0
PIN_ERRORS = (OSError, GPIOZeroError)


class Edge(NamedTuple):
    stamp_s: float
    level: bool


class EdgeLog:
    """One watched input. `lost` counts edges that did not fit or of which only the other one of a pair was seen."""

    def __init__(self, pins: Any, number: int, pull: str, clock: Clock) -> None:
        self._clock = clock
        self._edges: deque[Edge] = deque()
        self._offset_s = float("inf")
        self.lost = 0
        self._pin = pins.pin(number)
        pins.reserve_pins(self, number)
        self._pin.input_with_pull({"none": "floating"}.get(pull, pull))
        self._pin.bounce = None  # a filter of the library would hide what noise there is
        self._pin.edges = "both"
        self._pin.when_changed = self._seen  # held weakly by the library: this object must be kept

    def _seen(self, ticks_s: float, level: int) -> None:
        arrived_s = self._clock()
        self._offset_s = min(self._offset_s, arrived_s - ticks_s)
        stamp_s = ticks_s if abs(self._offset_s) < SAME_CLOCK_S else ticks_s + self._offset_s
        if len(self._edges) < KEPT:
            self._edges.append(Edge(min(stamp_s, arrived_s), bool(level)))
        else:
            self.lost += 1

    def until(self, now_s: float) -> Iterator[Edge]:
        """Takes out the edges up to a time, oldest first."""
        edges = self._edges
        while edges and edges[0].stamp_s <= now_s:
            yield edges.popleft()

    def level(self) -> bool | None:
        """The pin as it is now, or None when it cannot be read."""
        try:
            return bool(self._pin.state)
        except PIN_ERRORS:
            return None

    def close(self) -> None:
        self._pin.when_changed = None
        self._pin.close()
        self._pin.factory.release_all(self)


class Steady:
    """A level that counts only once it has held for `least_s`, whether high or low. Shorter ones are counted as noise.

    Both ways round, so that a burst of noise within a pulse neither ends that pulse nor makes two of it.
    """

    def __init__(self, least_s: float, level: bool) -> None:
        self.least_s = least_s
        self.level = level
        self._raw = level
        self._since_s = float("-inf")
        self.lost = 0
        self._mismatched = False

    def feed(self, edge: Edge) -> tuple[float | None, bool]:
        """(start of a level that has now proven steady and differs from the last one, whether this was noise)."""
        if edge.level == self._raw:
            self.lost += 1
            return None, False
        started_s, noise = None, False
        if edge.stamp_s - self._since_s >= self.least_s:
            started_s = self._accept()
        else:
            noise = self._raw != self.level
        self._raw, self._since_s = edge.level, edge.stamp_s
        return started_s, noise

    def settle(self, now_s: float, level: bool | None) -> float | None:
        """At the end of a poll: accept what has held long enough, and follow the pin if an edge was lost."""
        if level is not None and level != self._raw:
            if self._mismatched:  # twice in a row: not merely an edge on its way
                self.lost += 1
                self._raw, self._since_s, self._mismatched = level, now_s, False
            else:
                self._mismatched = True
        else:
            self._mismatched = False
        return self._accept() if now_s - self._since_s >= self.least_s else None

    def _accept(self) -> float | None:
        if self._raw == self.level:
            return None
        self.level = self._raw
        return self._since_s
