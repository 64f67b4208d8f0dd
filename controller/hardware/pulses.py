"""A flow meter that gives pulses: flow from the time since the last ones, so that it falls without any new pulse.

Pulses that no turbine makes are not flow: too short, too fast, locked to the mains, or spaced at random. They make the
signal bad and are not added to the total.
"""

from __future__ import annotations

import math
from collections import deque
from itertools import islice, pairwise, takewhile
from statistics import median

from controller.core.signals import Code, Reading
from controller.hardware.description import PulseMeter
from controller.hardware.edges import EdgeLog, Steady

WINDOW_S = 1.0
NOISE_SHARE = 0.1  # of the pulses
NOISE_AT_LEAST = 2  # in a window: one glitch in a second condemns nobody
MAINS_HZ = (50.0, 60.0, 100.0, 120.0)
LOCKED = 0.005  # no turbine is this even, for this many intervals
LOCKED_INTERVALS = 20
RANDOM = 0.5  # median |ln| of the ratio of neighbouring intervals: ln 3 = 1.10 for a random train, 0.05 for a turbine
RANDOM_INTERVALS = 12
LOOKED_AT = 33  # pulses, to tell a turbine from what it is not
LOOK_BACK_S = 3.0


class FlowMeter:
    """L/min, and the pulses counted since the start, which never fall."""

    def __init__(self, meter: PulseMeter, log: EdgeLog) -> None:
        self._meter, self._log = meter, log
        self._steady = Steady(meter.least_width_s, bool(log.level()))
        self._pulses: deque[float] = deque()  # stamps: those looked back at, and at least three
        self._noise: deque[float] = deque()
        self._most_hz = meter.most_l_min * meter.pulses_per_litre / 60.0
        self._per_litre = meter.pulses_per_litre
        self.total = 0

    @property
    def litres(self) -> float:
        return self.total / self._per_litre

    @property
    def lost_edges(self) -> int:
        return self._log.lost + self._steady.lost

    def poll(self, now_s: float) -> Reading:
        new = 0
        for edge in self._log.until(now_s):
            started_s, noise = self._steady.feed(edge)
            new += self._count(started_s)
            if noise:
                self._noise.append(edge.stamp_s)
        level = self._log.level()
        if level is None:
            return Reading(None, now_s, Code.BUS_ERROR)
        new += self._count(self._steady.settle(now_s, level))
        self._forget(now_s)
        recent = self._since(now_s - WINDOW_S)
        if self._not_from_flow(recent):
            return Reading(None, now_s, Code.NOISE)
        self.total += new
        flow_l_min = 60.0 * self._rate_hz(recent, now_s) / self._per_litre
        return Reading(flow_l_min if flow_l_min >= self._meter.least_l_min else 0.0, now_s)

    def _count(self, started_s: float | None) -> int:
        if started_s is None or not self._steady.level:
            return 0
        self._pulses.append(started_s)
        return 1

    def _forget(self, now_s: float) -> None:
        while len(self._pulses) > 3 and self._pulses[0] <= now_s - LOOK_BACK_S:
            self._pulses.popleft()
        while self._noise and self._noise[0] <= now_s - WINDOW_S:
            self._noise.popleft()

    def _since(self, from_s: float) -> int:
        return sum(1 for _ in takewhile(lambda stamp_s: stamp_s > from_s, reversed(self._pulses)))

    def _rate_hz(self, recent: int, now_s: float) -> float:
        """The smaller of the pulses in the last second, and three pulses over the time since the third last."""
        if len(self._pulses) < 3:
            return 0.0
        return min(recent / WINDOW_S, 3.0 / max(now_s - self._pulses[-3], 1e-6))

    def _not_from_flow(self, recent: int) -> bool:
        if len(self._noise) >= NOISE_AT_LEAST and len(self._noise) > NOISE_SHARE * recent:
            return True
        if recent > 1.2 * self._most_hz * WINDOW_S + 1:
            return True
        looked_at = islice(self._pulses, max(0, len(self._pulses) - LOOKED_AT), None)
        intervals = [later - earlier for earlier, later in pairwise(looked_at)]
        return _locked_to_mains(intervals) or _at_random(intervals)


def _locked_to_mains(intervals_s: list[float]) -> bool:
    if len(intervals_s) < LOCKED_INTERVALS:
        return False
    mean_s = sum(intervals_s) / len(intervals_s)
    return any(abs(mean_s * hz - 1.0) <= LOCKED for hz in MAINS_HZ) and all(
        abs(interval_s - mean_s) <= LOCKED * mean_s for interval_s in intervals_s
    )


def _at_random(intervals_s: list[float]) -> bool:
    if len(intervals_s) < RANDOM_INTERVALS or min(intervals_s) <= 0.0:
        return False
    return median(abs(math.log(later / earlier)) for earlier, later in pairwise(intervals_s)) > RANDOM
