"""What may be slow has a thread of its own, so that the scan never waits: blocking sensors, and the disk.

The scan leaves the newest latch and takes what is known; a card that stalls for seconds delays neither it nor the
contactor. Threads are daemons: at the end nobody waits for a card or a sensor.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

from controller.core.trips import Latch

STACK_BYTES = 256 * 1024  # the default of 8 MB would count as memory once locked
RETRY_S = 1.0
ERROR_PAUSE_S = 1.0


def small_stacks() -> None:
    """For every thread made after this."""
    threading.stack_size(STACK_BYTES)


def start(name: str, work: Callable[[], None]) -> threading.Thread:
    thread = threading.Thread(target=work, name=name, daemon=True)
    thread.start()
    return thread


class Slow(Protocol):
    @property
    def name(self) -> str: ...
    def run_once(self) -> None: ...  # blocks; puts its result where the scan finds it


def read_for_ever(group: Slow, pause: Callable[[float], None], note: Callable[[str], None]) -> Callable[[], None]:
    """Work for a sensor's thread. A reader that fails in a way no driver expects is tried again; its readings grow
    old meanwhile, which is all that the core needs to know."""

    def work() -> None:
        while True:
            try:
                group.run_once()
            except Exception as error:  # noqa: BLE001 - a thread that ends silently would hide a sensor for ever
                note(f"{group.name}: {type(error).__name__}: {error}")
                pause(ERROR_PAUSE_S)

    return work


class LatchWriter:
    """Writes the newest latch it was given; older ones that were overtaken are skipped."""

    def __init__(self, write: Callable[[Latch], None], on_disk: int) -> None:
        self._write = write
        self._wanted: Latch | None = None
        self._wake = threading.Event()
        self.on_disk = on_disk  # number of the newest latch safely written
        self.error = ""  # why the last write failed

    def give(self, latch: Latch) -> None:
        """Called each scan; costs a comparison unless the latch has changed."""
        if latch is not self._wanted:
            self._wanted = latch
            self._wake.set()

    def write_once(self) -> bool:
        """Write what is wanted, if it is not on disk. False when that failed."""
        latch = self._wanted
        if latch is None or latch.number <= self.on_disk:
            return True
        try:
            self._write(latch)
        except OSError as error:
            self.error = f"the latch cannot be written: {error.strerror or error}"
            return False
        self.on_disk = latch.number
        self.error = ""
        return True

    def run(self) -> None:
        """Work for the thread."""
        while True:
            self._wake.wait(None if not self.error else RETRY_S)
            self._wake.clear()
            self.write_once()

    @property
    def idle(self) -> bool:
        return self._wanted is None or self.on_disk >= self._wanted.number
