"""Stops and thaws the guard at random instants under power, thousands of times; the bench's contacts are the judge.

    python -m tests.system.freeze --count 2000 --jobs 6

The one thing that must never happen: a contact that has opened closes again without a new start and its close step.
Half of the instants are aimed at the end of a scan, where pins are written and the edge is given.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import NamedTuple

from controller.guard.client import NoGuard
from tests.system.repeat import Enough, arguments, repeat
from tests.system.site import STATES_WITH_POWER, Frames, NoPower, Site, now_s, wait_until

OPEN_BY_S = 1.0 + 0.1  # the bench's relay and a contactor's travel, after the last edge
AIMED_S = (0.093, 0.101)  # after a frame, which is sent right after the edge: the next scan's pins are then written
SLEEPS = ("230", "115")  # clock_nanosleep on x86-64 and on arm64
STARTED_AGAIN = 20
SCANS_AFTER = 4  # watched after the thaw: the one that was frozen ends, the next ones find the gap


class Freeze(NamedTuple):
    """One stop of the process, and what the contacts did."""

    seed: str
    lasted_s: float
    opened_after_s: float | None  # from the stop; None: never, or later than the observation
    closed_again: bool
    in_scan: bool  # the process was found at work, not waiting
    wrong: str


def freeze(site: Site, frames: Frames, dice: random.Random, seed: str) -> Freeze:
    """One freeze under power. The site has power before."""
    assert site.guard is not None
    site.to_power()
    frames.drain()
    lasted_s = dice.choice((dice.uniform(0.0, 0.3), dice.uniform(0.3, 1.0), dice.uniform(1.0, 2.5)))
    time.sleep(dice.uniform(0.0, 0.3))
    if dice.random() < 0.5:
        frames.next_frame()
        time.sleep(dice.uniform(*AIMED_S))
    stopped_s = now_s()
    os.kill(site.guard.pid, signal.SIGSTOP)
    wait_until(lambda: _is_stopped(site), "a stopped guard")
    in_scan = Path(f"/proc/{site.guard.pid}/syscall").read_text().split()[0] not in SLEEPS
    last_edge_by_s = site.edges_seen()
    time.sleep(lasted_s)
    thawed_s = now_s()
    os.kill(site.guard.pid, signal.SIGCONT)
    for _ in range(SCANS_AFTER):  # one answer a scan
        status = site.status()
    opened, closed = site.openings(stopped_s), site.closings(stopped_s)
    opened_after_s = opened[0] - stopped_s if opened else None
    wrong = ""
    if closed and (not opened or closed[-1] > opened[0]):
        wrong = "a contact closed again"
    elif thawed_s > (by_s := last_edge_by_s + OPEN_BY_S) and not (opened and opened[0] <= by_s):
        wrong = f"still closed {OPEN_BY_S} s after the last edge"
    elif opened and status["state"] in STATES_WITH_POWER:
        wrong = f"open, and yet {status['state']}"
    return Freeze(seed, lasted_s, opened_after_s, bool(closed), in_scan, wrong)


def _is_stopped(site: Site) -> bool:
    assert site.guard is not None
    return Path(f"/proc/{site.guard.pid}/stat").read_text().rpartition(")")[2].split()[0] == "T"


def many(count: int, seed: str, enough: Enough = lambda: False) -> list[Freeze]:
    """So many freezes of one guard, which lives through all of them.

    On a machine so busy that a bench in real time cannot keep up, a start may fail; a new bench then goes on.
    """
    dice = random.Random(seed)
    found: list[Freeze] = []
    for _ in range(STARTED_AGAIN):
        try:
            with tempfile.TemporaryDirectory() as folder, Site(Path(folder) / "s") as site:
                site.start_guard()
                with Frames(site.folder / "local.sock", 60.0) as frames:
                    frames.begin()
                    while len(found) < count and not enough():
                        this = f"{seed}/{len(found)}"
                        try:
                            found.append(freeze(site, frames, dice, this))
                        except NoGuard:
                            found.append(Freeze(this, 0.0, None, False, False, f"it ended: {site.last_words()}"))
                            break
                        if len(found) % 25 == 0:
                            sys.stderr.write(f"{report(found)}\n")
        except NoPower as error:
            sys.stderr.write(f"{seed}: {error}\n")
        if len(found) == count or enough():
            break
    return found


def report(found: list[Freeze]) -> str:
    opened = sum(f.opened_after_s is not None for f in found)
    worst_s = max((f.opened_after_s for f in found if f.opened_after_s is not None), default=0.0)
    return (
        f"{len(found)} freezes, {sum(f.in_scan for f in found)} inside a scan: the contactor opened in {opened}, "
        f"at the latest {worst_s:.3f} s after the stop; it closed again without a close step in "
        f"{sum(f.wrong == 'a contact closed again' for f in found)}"
    )


def main() -> int:
    asked = arguments(str(__doc__).splitlines()[0], 2000, "count").parse_args()
    found = repeat(many, asked.count, asked.jobs, asked.seed, asked.minutes)
    sys.stdout.write(report(found) + "\n")
    for wrong, count in Counter(f.wrong for f in found if f.wrong).items():
        example = next(f for f in found if f.wrong == wrong)
        sys.stdout.write(f"WRONG, {count} times: {wrong}; for one: {example}\n")
    return 1 if any(f.wrong for f in found) or len(found) < asked.count else 0


if __name__ == "__main__":
    sys.exit(main())
