"""How long power stays on after a fault, and how punctual the scan is: real processes, by the bench's own stamps.

    python -m tests.system.response --trips 300 --scans 36000 [--busy] [--fault over-current]

From the fault on the bench to the coils without current and to the contacts open, reading, deciding, writing and a
contactor's travel included; nothing is taken off. `--busy` keeps every core at work meanwhile.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from controller.core.frame import header
from tests.system.repeat import Enough, arguments, repeat
from tests.system.site import Frames, NoPower, Site, quick_rig, wait_until

STARTED_AGAIN = 5
EARLY = 0.2  # of a period: what the scan after a late one may lack to a whole one
SHARES = (0.0, 0.5, 0.95, 0.99, 0.999, 1.0)


class Fault(NamedTuple):
    """As the bench takes it."""

    part: str
    kind: str
    amount: float
    causes: tuple[str, ...]  # one of which must be named first


FAULTS = {
    "short": Fault("current", "scripted", 50.0, ("short",)),  # A; no delay
    "over-current": Fault("over-current", "", 0.0, ("over-current", "supply does not obey")),
    "level-low": Fault("level-low", "", 0.0, ("level low hydrogen side",)),
    "coolant-lost": Fault("coolant-lost", "", 0.0, ("coolant flow low",)),
}


class Trip(NamedTuple):
    coil_off_s: float  # after the fault
    open_s: float
    first_out: str


def trip(site: Site, fault: Fault, dice: random.Random) -> Trip:
    """One fault under power, at any instant of a scan. It is gone again afterwards."""
    site.to_power()
    time.sleep(dice.uniform(0.5, 0.7))  # past the settling of the limits after switching on
    at_s = site.fault(fault.part, fault.kind, fault.amount)
    wait_until(site.power_off, "power off")
    wait_until(site.causes, "a cause")
    site.clear(fault.part)
    coil_s, open_s = (
        min(site.openings(at_s, f"main{what}") + site.openings(at_s, f"second{what}")) for what in ("_coil", "")
    )
    return Trip(coil_s - at_s, open_s - at_s, site.causes()[0])


@contextmanager
def _rig() -> Iterator[Site]:
    with tempfile.TemporaryDirectory() as folder, Site(Path(folder) / "s") as site:
        site.start_guard()
        if os.sched_getscheduler(site.bench.pid) & ~os.SCHED_RESET_ON_FORK != os.SCHED_FIFO:
            sys.stderr.write("no real-time priority for guard and bench: the figures are of this machine\n")
        yield site


def trips(name: str, count: int, seed: str, enough: Enough = lambda: False) -> list[Trip]:
    """So many trips of one guard; a new one where the machine is too busy for a start."""
    dice = random.Random(seed)
    found: list[Trip] = []
    for _ in range(STARTED_AGAIN):
        try:
            with _rig() as site:
                while len(found) < count and not enough():
                    found.append(trip(site, FAULTS[name], dice))
        except NoPower as error:
            sys.stderr.write(f"{seed}: {error}\n")
        if len(found) == count or enough():
            break
    return found


def scans(count: int, seed: str, enough: Enough = lambda: False) -> list[float]:
    """When so many scans under power came."""
    at_s: list[float] = []
    with _rig() as site:
        site.to_power()
        with Frames(site.folder / "local.sock", 60.0) as frames:
            frames.begin()
            while len(at_s) < count and not enough():
                at_s.append(header(frames.next_frame())[3])
    return at_s


class Punctual(NamedTuple):
    late_s: list[float]  # each scan, against the most punctual one and the period
    left_out: int  # scans that were due and did not come


def punctual(at_s: Sequence[float], period_s: float) -> Punctual:
    """The guard plans on one grid and leaves out what is over when it comes to it.

    >>> found = punctual([5.001, 5.1, 5.24, 5.3, 5.5], 0.1)
    >>> [round(x, 3) for x in found.late_s], found.left_out
    ([0.001, 0.0, 0.04, 0.0, 0.0], 1)
    """
    nth = [0]
    for before, at in pairwise(at_s):
        nth.append(nth[-1] + max(1, int((at - before) / period_s + EARLY)))
    off_s = [at - n * period_s for n, at in zip(nth, at_s, strict=True)]
    return Punctual([off - min(off_s) for off in off_s], nth[-1] - len(at_s) + 1)


@contextmanager
def all_cores_at_work(so: bool) -> Iterator[None]:
    hogs = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(os.cpu_count() or 1) if so]
    try:
        yield
    finally:
        for hog in hogs:
            hog.kill()
            hog.wait()


def line(what: str, seconds: list[float]) -> str:
    ordered = sorted(seconds)
    at = [ordered[min(len(ordered) - 1, int(share * len(ordered)))] for share in SHARES]
    return f"{what:<28}" + "".join(f"{1000.0 * one:>9.1f}" for one in at) + "\n"


def main() -> int:
    made = arguments(str(__doc__).splitlines()[0], 300, "trips")
    made.add_argument("--scans", type=int, default=0, help="36000 are an hour")
    made.add_argument("--fault", choices=FAULTS, default="short")
    made.add_argument("--busy", action="store_true", help="every core at work meanwhile")
    asked = made.parse_args()
    scan_s = quick_rig()[0].scan_s
    with all_cores_at_work(asked.busy):
        found = repeat(partial(trips, asked.fault), asked.count, asked.jobs, asked.seed, asked.minutes)
        came_s = repeat(scans, asked.scans, 1, asked.seed, asked.minutes) if asked.scans else []
    wrong = [one for one in found if one.first_out not in FAULTS[asked.fault].causes]
    sys.stdout.write(f"{len(found)} trips, {len(wrong)} of them with another first cause than {asked.fault}\n")
    sys.stdout.write(f"{'ms':<28}{'least':>9}{'half':>9}{'95 %':>9}{'99 %':>9}{'99.9 %':>9}{'most':>9}\n")
    if found:
        sys.stdout.write(line("fault to coil off", [one.coil_off_s for one in found]))
        sys.stdout.write(line("fault to contacts open", [one.open_s for one in found]))
    if came_s:
        late_s, left_out = punctual(came_s, scan_s)
        sys.stdout.write(line("lateness of a scan", late_s) + f"{len(came_s)} scans, {left_out} left out\n")
    return 1 if wrong or len(found) < asked.count else 0


if __name__ == "__main__":
    sys.exit(main())
