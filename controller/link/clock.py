"""Now, as the record counts it: by the guard's clocks."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from controller.core.frame import Frame
from controller.guard.realtime import clock_synchronised
from controller.record.told import Moment


class Clock:
    """Now, by the guard's clocks: those of its last frame, and what has passed since."""

    def __init__(self) -> None:
        self._last: tuple[Moment, float] | None = None
        self._boot = ""

    def set(self, frame: Frame) -> None:
        at = Moment(frame.memory.now_s, frame.wall_s, frame.inputs.clock_synchronised)
        self._last, self._boot = (at, time.clock_gettime(time.CLOCK_BOOTTIME)), frame.boot

    def now(self) -> Moment:
        here_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        last = self._last  # once: it may be set by another thread meanwhile
        if last is None:
            return Moment(here_s, time.time(), clock_synchronised())
        at, then_s = last
        return Moment(at.mono_s + here_s - then_s, at.wall_s + here_s - then_s, at.synchronised)

    def stamp(self) -> dict[str, Any]:
        now = self.now()
        return {"boot": self._boot, "time_s": now.wall_s, "clock_synchronised": now.synchronised}


def machine_boot() -> str:
    """The kernel's name for this power-up."""
    return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
