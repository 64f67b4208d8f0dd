"""Contacts: the share of the time since the last poll for which the safe one was proven, and the level now.

The share comes from edges, so that chatter between two scans counts; the level is read at every poll, so that a lost
edge cannot hide a state. Where the two differ the worse one is believed.
"""

from __future__ import annotations

from controller.core.signals import Code, Reading
from controller.hardware.description import Switch
from controller.hardware.edges import EdgeLog, Steady

PRESS_S = 0.03  # a button must be held this long; anything shorter is bounce


class Contact:
    """A float, the stop chain, an auxiliary contact."""

    def __init__(self, switch: Switch, log: EdgeLog) -> None:
        self._log = log
        self._proven_level = switch.proven_when == "high"
        self._level: bool | None = None  # after the edges seen so far
        self._polled_s = 0.0
        self.proven: bool | None = None  # as last polled
        self.lost_edges = 0

    def poll(self, now_s: float) -> Reading:
        """Number: share of the time since the last poll for which the contact was proven, 0 to 1."""
        proven_s, at_s, level = 0.0, self._polled_s, self._level
        for edge in self._log.until(now_s):
            if level is not None and edge.level != level:
                then_s = max(edge.stamp_s, at_s)
                proven_s += (then_s - at_s) * (level == self._proven_level)
                at_s, level = then_s, edge.level
        read = self._log.level()
        if read is None:
            self.proven, self._level = None, None
            return Reading(None, now_s, Code.BUS_ERROR)
        self.proven = read == self._proven_level
        if level == read:
            proven_s += (now_s - at_s) * self.proven
        elif level is not None:
            self.lost_edges += 1  # nothing is proven since the last thing known
        elapsed_s = now_s - self._polled_s
        first = self._level is None or elapsed_s <= 0.0
        self._level, self._polled_s = read, now_s
        return Reading(float(self.proven) if first else proven_s / elapsed_s, now_s)


class Button:
    """A contact that a person presses: how many presses since the last poll, and whether it is held."""

    def __init__(self, switch: Switch, log: EdgeLog) -> None:
        self._log = log
        self._pressed_level = switch.proven_when == "high"
        self._steady = Steady(PRESS_S, not self._pressed_level)  # held down at start is not a press

        if log.level() == self._pressed_level:
            self._steady = Steady(PRESS_S, self._pressed_level)

    def poll(self, now_s: float) -> int:
        started = [self._begins(self._steady.feed(edge)[0]) for edge in self._log.until(now_s)]
        return sum(started) + self._begins(self._steady.settle(now_s, self._log.level()))

    def _begins(self, started_s: float | None) -> bool:
        return started_s is not None and self._steady.level == self._pressed_level
