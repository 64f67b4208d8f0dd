"""A day in which nothing happens: noise, slosh, lost samples, and not one trip.

    python -m tests.core.noisy_day --hours 24 --scan-s 0.1

A guard that trips for nothing gets bridged, so this is as much a promise as any trip. Signals wander in their normal
places; scans come late by lot; floats bob; one reading in a hundred is bad, in one way or another; the thermometer
gives a sample a second and goes now and then for longer. The rig must stay in `running` all the time.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from controller.core.commands import Verb
from controller.core.events import Happened
from controller.core.sequence import State
from controller.core.signals import Code, Reading
from tests.core.bench import Bench
from tests.core.rigs import full_rig

BAD_SHARE = 0.01
BAD = (Code.ABSENT, Code.BUS_ERROR, Code.TIMED_OUT, Code.BAD_CHECKSUM, Code.ALL_ZERO, Code.NOISE, Code.OK)


class NoisyBench(Bench):
    """A bench whose readings are noisy. A reading that is bad with Code.OK is a number that is not one."""

    def __init__(self, seed: int, scan_s: float) -> None:
        rig = full_rig(scan_s=scan_s)
        # a slower rig reads its converter once a scan, too
        signals = tuple(replace(s, period_s=max(s.period_s, scan_s)) for s in rig.signals)
        limits = tuple(replace(x, grace_s=max(x.grace_s, 5.0 * scan_s)) for x in rig.limits)
        power = replace(rig.power, watchdog_s=max(rig.power.watchdog_s, 10.0 * scan_s))
        super().__init__(replace(rig, signals=signals, limits=limits, power=power))
        self.lot = random.Random(seed)
        self.scan_s = scan_s
        self.held: dict[str, Reading] = {}
        self.lost_until_s = 0.0  # a thermometer that has gone for a while
        self.bad = self.read = 0

    def readings(self) -> tuple[Reading, ...]:
        lot, now_s = self.lot, self.now_s
        out = []
        for signal in self.rig.signals:
            last = self.held.get(signal.name)
            if signal.period_s > self.scan_s and last is not None and now_s - last.stamp_s < signal.period_s:
                out.append(last)
                continue
            self.read += 1
            stamp_s = now_s - lot.uniform(0.0, 0.02)
            if last is not None:
                stamp_s = max(stamp_s, last.stamp_s)
            reading = Reading(self.noisy(signal.name), stamp_s)
            lost = signal.name == "cell temperature" and now_s < self.lost_until_s
            if lost or lot.random() < BAD_SHARE:
                self.bad += 1
                code = lot.choice(BAD)
                reading = Reading(float("nan") if code is Code.OK else None, stamp_s, code)
                if signal.name == "cell temperature" and not lost and lot.random() < 0.1:
                    self.lost_until_s = now_s + lot.uniform(0.0, 2.5)
            self.held[signal.name] = reading
            out.append(reading)
        return tuple(out)

    def noisy(self, name: str) -> float:
        lot = self.lot
        match name:
            case "current":
                return self.current_a() * (1.0 + lot.gauss(0.0, 0.005)) + lot.gauss(0.0, 0.02)
            case "cell temperature":
                return (55.0 if self.parts.path else 45.0) + lot.gauss(0.0, 0.3)
            case "level hydrogen side" | "level oxygen side":
                return 1.0 if lot.random() < 0.7 else lot.uniform(0.2, 1.0)  # bobbing: low for 18 % of the time
            case "coolant flow":
                return (2.0 if self.outputs.coolant else 0.0) + abs(lot.gauss(0.0, 0.1))
            case "stop chain":
                return 1.0
            case "room hydrogen":
                return 0.05 + lot.gauss(0.0, 0.02)
            case "pressure hydrogen side" | "pressure oxygen side":
                return 2.0 + lot.gauss(0.0, 0.6)
            case "voltage":
                return 6.4 + lot.gauss(0.0, 0.05) if self.parts.path else 2.0
            case _:
                return 1.0

    def scans(self) -> Iterator[float]:
        """Seconds from each scan to the next: jitter, and one in a thousand late."""
        lot, scan_s = self.lot, self.scan_s
        while True:
            late_s = lot.uniform(0.0, 2.5 * scan_s) if lot.random() < 0.001 else 0.0
            yield max(0.0, scan_s + lot.gauss(0.0, 0.02 * scan_s)) + late_s


class Day(NamedTuple):
    scans: int
    hours: float
    bad: int
    read: int
    trips: list[str]
    stops: list[str]
    always_running: bool
    events: int


def day(hours: float, scan_s: float, seed: int = 1) -> Day:
    """Run for so long after the start; the figures of it."""
    bench = NoisyBench(seed, scan_s)
    gaps = bench.scans()
    bench.until(lambda: bench.ask(Verb.START).what is Happened.ACCEPTED, 60.0)  # a float may bob just then
    bench.until(lambda: bench.at(State.RUNNING), 300.0)
    begun_s, scans, running = bench.now_s, 0, True
    before = len(bench.events)
    while bench.now_s - begun_s < hours * 3600.0:
        bench.scan(dt_s=next(gaps))
        scans += 1
        running &= bench.at(State.RUNNING)
        if not running:
            break
    return Day(
        scans,
        (bench.now_s - begun_s) / 3600.0,
        bench.bad,
        bench.read,
        bench.said(Happened.TRIP),
        bench.said(Happened.STOP_DEMANDED),
        running,
        len(bench.events) - before,
    )


def main() -> int:
    asked = argparse.ArgumentParser(description="A day of noise without one trip.")
    asked.add_argument("--hours", type=float, default=24.0)
    asked.add_argument("--scan-s", type=float, default=0.1)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    found = day(given.hours, given.scan_s, given.seed)
    sys.stdout.write(
        f"{found.hours:.2f} h, {found.scans} scans, {found.bad} of {found.read} readings bad "
        f"({100.0 * found.bad / found.read:.2f} %), {found.events} events\n"
        f"trips: {', '.join(found.trips) or 'none'}; stops: {', '.join(found.stops) or 'none'}; "
        f"running all the time: {'yes' if found.always_running else 'no'}\n"
    )
    return 0 if found.always_running and not found.trips else 1


if __name__ == "__main__":
    sys.exit(main())
