"""One experiment many times, over several processes, with what there is when somebody ends it early."""

from __future__ import annotations

import argparse
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing.synchronize import Event
from typing import TypeVar

Found = TypeVar("Found")
Enough = Callable[[], bool]
Experiment = Callable[[int, str, Enough], list[Found]]  # how often, a seed, and whether somebody wants it to end


class _Here:
    """What a worker was told when it began."""

    enough: Event


def arguments(title: str, count: int, of: str) -> argparse.ArgumentParser:
    """The options that every such command has."""
    made = argparse.ArgumentParser(description=title)
    made.add_argument(f"--{of}", dest="count", type=int, default=count)
    made.add_argument("--jobs", type=int, default=4, help="benches at the same time")
    made.add_argument("--seed", default="1")
    made.add_argument("--minutes", type=float, help="end by then, with what there is; so does an interrupt")
    return made


def repeat(
    experiment: Experiment[Found], count: int, jobs: int, seed: str, minutes: float | None = None
) -> list[Found]:
    """`experiment` shared out over so many processes; fewer results than asked for where it was ended early."""
    share = [count // jobs + (at < count % jobs) for at in range(jobs)]
    enough = multiprocessing.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda n, _: enough.set())
    timer = threading.Timer(minutes * 60.0, enough.set) if minutes else None
    with ProcessPoolExecutor(jobs, initializer=_begin, initargs=(enough,)) as pool:
        if timer is not None:
            timer.daemon = True
            timer.start()
        parts = pool.map(_part, [experiment] * jobs, share, [f"{seed}-{at}" for at in range(jobs)])
        found = [one for part in parts for one in part]
    if timer is not None:
        timer.cancel()
    if len(found) < count:
        sys.stdout.write(f"ended after {len(found)} of {count}\n")
    return found


def _begin(enough: Event) -> None:
    os.setpgid(0, 0)  # an interrupt at the terminal asks the command alone, not a guard in the middle of an experiment
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    _Here.enough = enough


def _part(experiment: Experiment[Found], count: int, seed: str) -> list[Found]:
    return experiment(count, seed, _Here.enough.is_set)
