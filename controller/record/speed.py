"""How fast the record answers, beside what bare SQL takes: for `measure`, on a record made for it.

python -m controller.record.speed
"""

from __future__ import annotations

import math
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from controller.record.historian import Historian, Moment, Tracked
from controller.record.history import History

DAYS = 30
STEP_S = 4.0  # between two rows: shorter than a gap
POINTS = 500
REPEATS = 15
SIGNALS = tuple(Tracked(f"signal {nth}", f"Signal {nth}", "C", 0.05) for nth in range(8))


class Figure(NamedTuple):
    name: str
    value: float
    unit: str
    baseline: float
    ratio: float


def _value(at_s: float, signal: int) -> float:
    slow = math.sin(at_s / (3600.0 + 700.0 * signal))
    return 20.0 + 10.0 * slow + 0.3 * math.sin(at_s * 0.7 + signal)


def _record(path: Path, days: int) -> None:
    one = Historian(path, "made for measuring", SIGNALS, "one", Moment(0.0, 0.0, True))
    for nth in range(int(days * 86400.0 / STEP_S)):
        at_s = nth * STEP_S
        one.measure(Moment(at_s, at_s, True), [(_value(at_s, signal), 0) for signal in range(len(SIGNALS))])
    one.flush(Moment(days * 86400.0, days * 86400.0, True))
    one.close()


def _bare(path: Path, days: int) -> sqlite3.Connection:
    """One signal as most people would keep it: a row for each ten seconds, in order of time."""
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE plain (at_s INTEGER PRIMARY KEY, value REAL)")
    db.executemany("INSERT INTO plain VALUES (?, ?)", ((at, _value(at, 0)) for at in range(0, days * 86400, 10)))
    db.commit()
    return db


def _median_ms(work: Callable[[], object]) -> float:
    work()
    times = []
    for _ in range(REPEATS):
        begin_s = time.perf_counter()
        work()
        times.append(1000.0 * (time.perf_counter() - begin_s))
    return statistics.median(times)


def figures(days: int = DAYS) -> list[Figure]:
    """A month and a day of one signal at 500 points: median milliseconds, and what least and most by bare SQL take."""
    with tempfile.TemporaryDirectory() as folder:
        _record(Path(folder) / "record.db", days)
        bare = _bare(Path(folder) / "bare.db", days)
        found = []
        with History.open(Path(folder) / "record.db") as history:
            for name, span_s in (
                ("a month's trend at 500 points", days * 86400),
                ("a day's trend at 500 points", 86400),
            ):
                begin_s = days * 86400 - span_s
                ours = _median_ms(lambda a=begin_s, b=days * 86400: history.trend(["signal 0"], a, b, POINTS))  # type: ignore[misc]
                query = "SELECT min(value), max(value) FROM plain WHERE at_s BETWEEN ? AND ? GROUP BY at_s / ?"
                given = (begin_s, days * 86400, 2 * span_s // POINTS)
                theirs = _median_ms(lambda q=query, g=given: bare.execute(q, g).fetchall())  # type: ignore[misc]
                found.append(Figure(name, ours, "ms", theirs, ours / theirs))
        bare.close()
    return found


if __name__ == "__main__":
    for figure in figures():
        print(f"{figure.name}: {figure.value:.1f} {figure.unit}; bare SQL {figure.baseline:.1f} {figure.unit}")  # noqa: T201
