"""One guard on a machine, and one on each device, whatever their rig files are called. Taken before any pin.

The lock is the kernel's (flock), so that it ends with the process however that ends.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterable
from pathlib import Path

LOCKS = Path("/run/lock")


class Taken(RuntimeError):
    """Another guard has it."""


class Locks:
    """Files locked until `release` or the end of the process. Raises Taken, and then holds none."""

    def __init__(self, folder: Path, names: Iterable[str]) -> None:
        self._held: list[int] = []
        try:
            for name in sorted(names):
                self._held.append(_lock(folder / f"lyewatch-{name}.lock", name))
        except BaseException:
            self.release()
            raise

    def release(self) -> None:
        while self._held:
            os.close(self._held.pop())


def _lock(path: Path, name: str) -> int:
    fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.read(fd, 20).decode(errors="replace").strip() or "unknown"
        os.close(fd)
        raise Taken(
            f"another guard (process {holder}) already has {name}. One guard per machine and device: stop that one "
            "first. No pin was touched."
        ) from None
    os.ftruncate(fd, 0)
    os.write(fd, f"{os.getpid()}\n".encode())
    return fd


def names_of(buses: Iterable[int], chip: str) -> tuple[str, ...]:
    """What a guard on real hardware locks: the machine, each bus, the chip of pins."""
    return ("machine", chip, *(f"i2c-{bus}" for bus in sorted(set(buses))))
