"""One figure, and what it is to be compared with."""

from __future__ import annotations

from collections.abc import Callable
from statistics import median
from time import process_time
from typing import NamedTuple


class NotHere(RuntimeError):
    """Something that a measurement needs is not installed; says what, and how to get it."""


class Row(NamedTuple):
    """`ratio` is value over baseline, both in `unit`."""

    name: str
    value: float
    unit: str
    baseline: float
    ratio: float
    beside: str  # what the baseline is, in words


def row(name: str, value: float, unit: str, baseline: float, beside: str) -> Row:
    return Row(name, value, unit, baseline, value / baseline, beside)


class Effort(NamedTuple):
    """How long to measure. Less is for a test that asks whether a figure is there, not what it is."""

    rounds: int
    share: float  # of the usual length of each round

    def times(self, usual: int) -> int:
        return max(1, round(self.share * usual))


FULL, SHORT = Effort(7, 1.0), Effort(1, 0.02)


def cpu_us(work: Callable[[], object], units: int) -> float:
    """Processor time of one of the `units` that `work` does. Not wall time: the machine does other things besides."""
    start_s = process_time()
    work()
    return (process_time() - start_s) / units * 1e6


def in_turn(rounds: int, *works: Callable[[], float]) -> tuple[float, ...]:
    """The medians of several measurements made turn by turn, so that what else the machine does meets all alike."""
    taken = [[work() for work in works] for _ in range(rounds)]
    return tuple(median(column) for column in zip(*taken, strict=True))
