"""A turbine meter: pulses whose spacing is the flow's, but for magnets that never sit quite evenly."""

from __future__ import annotations

import math
from random import Random

from simulator.instruments.sensor import Fault

MAGNETS = 4
SPIKE_S = 0.0003
SHORT_PULSE_S = 0.005

# What else than flow can make pulses, and what `amount` means.
METER_FAULTS = {
    "stuck": "no pulses whatever flows",
    "spikes": "pulses of 0.3 ms at random, this many a second, and none from flow",
    "hum": "pulses of 5 ms at exactly this many hertz, and none from flow",
    "loses": "share of the pulses that do not come",
    "burst": "edges 0.1 ms apart, this many at once, on top of the flow's own pulses",
}


class Turbine:
    """Gives (stamp, level) edges for a stretch of time. A stretch may end within a pulse."""

    def __init__(self, pulses_per_litre: float, uneven: float, noise: Random) -> None:
        self._per_litre = pulses_per_litre
        self._noise = noise
        offsets = [uneven * noise.gauss(0.0, 1.0) for _ in range(MAGNETS)]
        self._spacing = [1.0 + o - sum(offsets) / MAGNETS for o in offsets]  # of full pulses, mean exactly 1
        self._magnet = 0
        self._to_next = self._spacing[0] / 2.0  # of a pulse, until the next edge
        self._level = False
        self._random_next_s = math.nan
        self._came = True
        self.pulses = 0
        self._pending: list[tuple[float, bool]] = []  # the end of a spurious pulse that began before the stretch ended

    @property
    def level(self) -> bool:
        return self._level

    def edges(
        self, flow_l_min: float, from_s: float, to_s: float, fault: Fault | None = None
    ) -> list[tuple[float, bool]]:
        if fault is None:
            return self._turning(flow_l_min, from_s, to_s)
        kind = fault.kind
        if kind in ("spikes", "hum"):
            self._level = False
            return self._spurious(fault, from_s, to_s)
        if kind == "stuck":
            return []
        edges = self._turning(flow_l_min, from_s, to_s)
        if kind == "loses":
            edges = [edge for edge in edges if self._comes(edge[1], fault.amount)]
        if kind == "burst":
            edges = _burst(edges, self._level, int(fault.amount), fault.since_s, from_s, to_s)
        return edges

    def _comes(self, rises: bool, lost: float) -> bool:
        """Whether an edge reaches the wire: the end of a pulse does when its beginning did."""
        if rises:
            self._came = self._noise.random() >= lost
        return self._came

    def _turning(self, flow_l_min: float, from_s: float, to_s: float) -> list[tuple[float, bool]]:
        found: list[tuple[float, bool]] = []
        if flow_l_min <= 0.0:
            return found
        hz = flow_l_min * self._per_litre / 60.0
        at_s = from_s
        while at_s + self._to_next / hz <= to_s:
            at_s += self._to_next / hz
            self._level = not self._level
            if self._level:
                self.pulses += 1
                self._magnet = (self._magnet + 1) % MAGNETS
            self._to_next = self._spacing[self._magnet] / 2.0
            found.append((at_s, self._level))
        self._to_next -= hz * (to_s - at_s)
        return found

    def _spurious(self, fault: Fault, from_s: float, to_s: float) -> list[tuple[float, bool]]:
        edges, self._pending = self._pending, []
        width_s = SPIKE_S if fault.kind == "spikes" else SHORT_PULSE_S
        if not self._random_next_s >= from_s:
            self._random_next_s = from_s + self._gap_s(fault)
        while self._random_next_s <= to_s:
            up_s, down_s = self._random_next_s, self._random_next_s + width_s
            edges.append((up_s, True))
            (edges if down_s <= to_s else self._pending).append((down_s, False))
            self._random_next_s = max(up_s + self._gap_s(fault), down_s + width_s)
        return edges

    def _gap_s(self, fault: Fault) -> float:
        return self._noise.expovariate(fault.amount) if fault.kind == "spikes" else 1.0 / fault.amount


def _burst(
    edges: list[tuple[float, bool]], level_at_end: bool, count: int, at_s: float, from_s: float, to_s: float
) -> list[tuple[float, bool]]:
    """The edges with a burst laid over them, if it begins in this stretch. It ends at the level it found."""
    if not from_s <= at_s < to_s:
        return edges
    before = [edge for edge in edges if edge[0] <= at_s]
    level = before[-1][1] if before else (not edges[0][1] if edges else level_at_end)
    step_s = 1e-4
    laid = [(at_s + i * step_s, level ^ (i % 2 == 0)) for i in range(count // 2 * 2)]
    after = [edge for edge in edges if edge[0] > at_s]
    return sorted(before + laid + [(max(s, laid[-1][0] + step_s), lv) for s, lv in after]) if laid else edges
