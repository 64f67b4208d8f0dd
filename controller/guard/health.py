"""Whether the controller itself is fit for a start: disk, supply voltage, what the kernel does with pins of the dead.

Looked at every few seconds in a thread: each of these can block.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from controller.guard.realtime import clock_synchronised
from controller.hardware.kernel import keeps_outputs, supply_sags
from controller.hardware.ports import KernelText

EVERY_S = 2.0
DISK_FREE_BYTES = 16 * 1024 * 1024


class Health:
    """`faults` in words; empty is well. Not known yet counts as not well."""

    def __init__(self, kernel: KernelText, folder: Path, latch_error: Callable[[], str]) -> None:
        self._kernel = kernel
        self._folder = folder
        self._latch_error = latch_error
        self.faults: tuple[str, ...] = ("the controller has not been looked at yet",)
        self.clock_synchronised = False

    @property
    def well(self) -> bool:
        return not self.faults

    def look(self) -> None:
        questions = (self._disk(), self._latch_error(), self._voltage(), self._pins())
        self.clock_synchronised = clock_synchronised()
        self.faults = tuple(text for text in questions if text)

    def run(self, pause: Callable[[float], None]) -> None:
        """Work for the thread."""
        while True:
            self.look()
            pause(EVERY_S)

    def _disk(self) -> str:
        try:
            found = os.statvfs(self._folder)
        except OSError as error:
            return f"the folder {self._folder} cannot be used: {error.strerror}"
        if found.f_flag & os.ST_RDONLY:
            return f"the disk of {self._folder} is read-only"
        free_bytes = found.f_bavail * found.f_frsize
        if free_bytes < DISK_FREE_BYTES:
            return f"the disk of {self._folder} is full: {free_bytes >> 20} MB free, {DISK_FREE_BYTES >> 20} needed"
        return ""

    def _voltage(self) -> str:
        return "the Pi's supply voltage is too low" if supply_sags(self._kernel) else ""

    def _pins(self) -> str:
        if keeps_outputs(self._kernel):
            return "the kernel keeps outputs on when the guard dies: put dtparam=strict_gpiod in config.txt"
        return ""
