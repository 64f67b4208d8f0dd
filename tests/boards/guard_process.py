"""A process that closes the contactors and keeps them: what a guard would be if it never decided anything."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from controller.core.outputs import Outputs
from controller.hardware.instruments import open_instruments
from simulator.boards.client import LinkPorts

from .bench_process import boottime
from .rigs import BOATHOUSE

RUNNING = Outputs(main_hold=True, second=True, coolant=True, ventilation=True, setpoint_a=30.0)


def main(folder: Path) -> None:
    instruments = open_instruments(BOATHOUSE, LinkPorts(folder, boottime), boottime, time.sleep)
    scan = 0
    while True:
        instruments.read_all(boottime())
        instruments.drives.write(RUNNING._replace(main_close=5 <= scan < 9, second=scan >= 3))
        instruments.drives.edge()
        scan += 1
        time.sleep(0.05)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
