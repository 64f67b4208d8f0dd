"""The guard's own interpreter: takes over the compiled rig and runs. Not for people; see `lyewatch guard`."""

from __future__ import annotations

import os
import pickle
import sys

from controller.guard.lock import Taken
from controller.guard.main import guard
from controller.hardware.description import Ads1115Channel
from controller.hardware.ports import Ports


def run(handed: int) -> int:
    with os.fdopen(handed, "rb") as file:
        rig, hardware, places, bench = pickle.load(file)

    def open_ports() -> Ports:
        if bench is None:
            from controller.hardware.linux_ports import LinuxPorts

            buses = sorted({s.chip.bus for _, s in hardware.signals if isinstance(s, Ads1115Channel)})
            places.run.mkdir(parents=True, exist_ok=True)
            return LinuxPorts(buses, places.run)
        import time

        from simulator.boards.client import LinkPorts

        return LinkPorts(bench, lambda: time.clock_gettime(time.CLOCK_BOOTTIME))

    try:
        return guard(rig, hardware, open_ports, places)
    except (Taken, OSError, ValueError) as error:
        sys.stderr.write(f"lyewatch guard: {error}\n")
        return 2


if __name__ == "__main__":
    sys.exit(run(int(sys.argv[1])))
