"""A bench in a process of its own, for tests that end a guard: `python -m tests.boards.bench_process FOLDER POLICY`."""

from __future__ import annotations

import signal
import sys
import time
from pathlib import Path

from simulator.boards.bench import Bench
from simulator.boards.link import BenchServer
from simulator.boards.wiring import shipped_wiring

from .still_plant import StillPlant


def boottime() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def main(folder: Path, keeps_outputs: bool) -> None:
    going_on = True

    def end(number: int, frame: object) -> None:
        nonlocal going_on
        going_on = False

    signal.signal(signal.SIGTERM, end)
    bench = Bench(shipped_wiring("boathouse"), StillPlant(), boottime, keeps_outputs=keeps_outputs)
    server = BenchServer(bench, folder, boottime)
    (folder / "ready").touch()
    server.run(lambda: going_on)
    server.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2] == "keeps")
