"""What one pure scan costs, beside a bare loop of the same comparisons in the same run.

    python -m tests.core.scan_benchmark

Twelve signals and sixteen limits, running, every reading new in every scan. The bare loop is the least that any program
must do: compare each number with its range and with its limits. The ratio says more than the microseconds, which follow
the machine and what else it is doing.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from typing import NamedTuple

from controller.core.memory import Inputs
from controller.core.signals import Reading
from controller.core.step import step
from tests.core.bench import LIMITS, Bench
from tests.core.rigs import MORE_LIMITS, full_bench, full_rig

SCANS = 5000
ROUNDS = 7


class Cost(NamedTuple):
    scan_us: float  # median of the rounds
    bare_us: float
    signals: int
    limits: int

    @property
    def ratio(self) -> float:
        return self.scan_us / self.bare_us


def prepared(scans: int) -> tuple[Bench, list[Inputs], list[float]]:
    """A bench in running, and the inputs and times of so many scans of it, with every reading a little different."""
    bench = full_bench(limits=(LIMITS + MORE_LIMITS)[:16], signals=full_rig().signals)
    bench.start()
    bench.run(30.0)
    inputs, times = [], []
    now_s = bench.now_s
    for scan in range(scans):
        now_s += 0.1
        wobble = 1e-4 * (scan % 7)
        readings = tuple(
            Reading((r.number or 0.0) - (0.0 if signal.quantity == "switch" else wobble), now_s - 0.01)
            for signal, r in zip(bench.rig.signals, bench.readings(), strict=True)
        )
        inputs.append(Inputs(readings, bench.pins, True, True, True, bench.on_disk))
        times.append(now_s)
    return bench, inputs, times


def scan_us(scans: int = SCANS) -> float:
    bench, inputs, times = prepared(scans)
    rig, memory = bench.rig, bench.memory
    begin_s = time.perf_counter()
    for given, now_s in zip(inputs, times, strict=True):
        memory, _, _ = step(rig, memory, given, (), now_s)
    took_s = time.perf_counter() - begin_s
    if memory.latch.tripped or not memory.outputs.main_hold:
        raise RuntimeError("the rig did not keep running: this measures nothing")
    return took_s / scans * 1e6


def bare_us(scans: int = SCANS) -> float:
    """The same comparisons and nothing else: every number against its range, every limit against its number."""
    bench, inputs, _ = prepared(scans)
    rig = bench.rig
    ranges = [(s.low, s.high) for s in rig.signals]
    limits = [(x.members[0], x.threshold, x.rises) for x in rig.limits]
    numbers = [[r.number or 0.0 for r in given.readings] for given in inputs]
    beyond = 0
    begin_s = time.perf_counter()
    for row in numbers:
        for number, (low, high) in zip(row, ranges, strict=True):
            if not low <= number <= high:
                beyond += 1
        for member, threshold, rises in limits:
            if (row[member] >= threshold) if rises else (row[member] <= threshold):
                beyond += 1
    took_s = time.perf_counter() - begin_s
    if beyond > scans * len(limits):
        raise RuntimeError("more limits broken than there are")
    return took_s / scans * 1e6


def measure(scans: int = SCANS, rounds: int = ROUNDS) -> Cost:
    """Both, turn by turn, so that what else the machine does meets both alike."""
    rounds_us = [(scan_us(scans), bare_us(scans)) for _ in range(rounds)]
    bench, _, _ = prepared(1)
    rig = bench.rig
    return Cost(
        statistics.median(s for s, _ in rounds_us),
        statistics.median(b for _, b in rounds_us),
        len(rig.signals),
        len(rig.limits),
    )


def main() -> int:
    asked = argparse.ArgumentParser(description="Cost of one pure scan.")
    asked.add_argument("--json", action="store_true")
    cost = measure()
    if asked.parse_args().json:
        sys.stdout.write(json.dumps(cost._asdict() | {"ratio": cost.ratio}) + "\n")
    else:
        sys.stdout.write(
            f"one scan of {cost.signals} signals and {cost.limits} limits: {cost.scan_us:.1f} us; "
            f"a bare loop of the same comparisons: {cost.bare_us:.1f} us; ratio {cost.ratio:.1f}\n"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
