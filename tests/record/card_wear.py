"""What a day of the full rig writes to the card, by all programs of ours.

    python -m tests.record.card_wear [hours] [trip]

On a loop device with ext4 in the card's own block size, by the device's count of sectors. After every commit all that
is in memory is sent to the device, as the kernel would within half a minute of a real day, and time passes until the
next file date: so the file system's journal is counted too, and hurry saves nothing. Twenty signals, an event every
hour with every sample around it, counters growing every second; counted once the write-ahead file is as long as it
gets. Beside the record: the guard's latch, lines of people, what the link remembers to have sent, the journal, and with
`trip` an incident (see `rest_of_day`). Where no loop device can be made, the bytes that the process handed to the
kernel are counted instead, which leaves the file system's own out; the output says so.
"""

from __future__ import annotations

import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from controller.record.historian import Happening, Historian
from tests.record.loop import NotHere, ext4
from tests.record.rest_of_day import RestOfDay
from tests.record.workshop import day, historian, moment

EVENT_EVERY_S = 3600
WARM_HOURS = 12.0  # until the write-ahead file is written over for the first time
TICK_S = 0.012  # of the kernel's file dates, at most


class Figure(NamedTuple):
    bytes_written: int
    hours: float
    commits: int
    how: str
    besides: int = 0  # of the bytes, what is not the record's

    def megabytes_a_day(self, written: int) -> float:
        return written / 1e6 / self.hours * 24.0


def live(
    one: Historian, hours: float, begin_s: int, after_commit: Callable[[float], object], step_s: float = 1.0
) -> None:
    """A part of the day, from begin_s on. after_commit: told the time."""
    number, commits = 0, one.health().commits
    for at_s, values in day(int(hours * 3600), begin_s=begin_s, step_s=step_s):
        one.count({"powered_h": step_s / 3600.0, "charge_ah": 0.008, "energy_kwh": 5e-5, "hydrogen_l": 0.01})
        one.measure(moment(at_s), values)
        if at_s % EVENT_EVERY_S == 0:
            number += 1
            sentence = "Running: 28.0 A; lye 48.1 C, the nearest limit is 11.9 C away."
            one.happened([Happening("guard-1", number, at_s, "STATE", "RUNNING", sentence=sentence)], moment(at_s))
        now_commits = one.health().commits
        if now_commits != commits:
            commits = now_commits
            after_commit(at_s)


def handed_over() -> int:
    """Bytes this process caused to be sent to storage, by the kernel's account."""
    lines = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    return int(lines["write_bytes"])


def measure(folder: Path, hours: float, begin_s: int = 8 * 3600, step_s: float = 1.0, trip: bool = False) -> Figure:
    """begin_s: from eight in the morning by default, so that a short form sees the rig running."""
    try:
        with ext4(folder) as loop:

            def settle() -> None:
                loop.sync()
                time.sleep(TICK_S)

            how = "sectors written to a loop device with ext4, its journal included"
            return _count(loop.folder, hours, begin_s, step_s, trip, loop.written_bytes, settle, how)
    except NotHere as why:
        how = f"bytes handed to the kernel, without the file system's own: {why}"
        return _count(folder, hours, begin_s, step_s, trip, handed_over, lambda: None, how)


def _count(
    folder: Path,
    hours: float,
    begin_s: int,
    step_s: float,
    trip: bool,
    written: Callable[[], int],
    settle: Callable[[], object],
    how: str,
) -> Figure:
    warm_s = begin_s - int(WARM_HOURS * 3600)
    one = historian(folder / "record.sqlite", now=moment(warm_s))
    live(one, WARM_HOURS, warm_s, lambda _: None, step_s)
    rest, besides = RestOfDay(folder, one, begin_s, trip), 0
    bytes_before, commits_before = written(), one.health().commits

    def commit(at_s: float) -> None:
        nonlocal besides
        if at_s % EVENT_EVERY_S == 0:
            rest.sent(at_s)
        settle()
        before = written()
        if rest.until(at_s):
            settle()
            besides += written() - before

    live(one, hours, begin_s, commit, step_s)
    figure = Figure(written() - bytes_before, hours, one.health().commits - commits_before, how, besides)
    one.close()
    return figure


def main() -> None:
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that the loop device goes as well
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    for step_s in (1.0, 0.1):
        with tempfile.TemporaryDirectory() as folder:
            figure = measure(Path(folder), hours, step_s=step_s, trip="trip" in sys.argv)
        print(  # noqa: T201
            f"{1 / step_s:.0f} samples a second: {figure.megabytes_a_day(figure.bytes_written):.1f} MB a day"
            f" ({figure.bytes_written / 1e6:.2f} MB in {figure.hours:g} h, {figure.besides / 1e6:.2f} MB of it not the"
            f" record's; {figure.commits} commits; {figure.how})",
            flush=True,
        )


if __name__ == "__main__":
    main()
