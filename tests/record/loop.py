"""An ext4 file system of its own on a loop device, whose driver counts the sectors written. Needs root."""

from __future__ import annotations

import ctypes
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from controller.record.wear import SECTOR_BYTES, sectors_written

_LIBC = ctypes.CDLL(None, use_errno=True)


class NotHere(RuntimeError):
    """No loop device can be made on this machine; says why."""


class Loop(NamedTuple):
    folder: Path
    device: int

    def sync(self) -> None:
        """Send everything still in memory to the device: of this file system alone, so that others are not slowed."""
        handle = os.open(self.folder, os.O_RDONLY)
        try:
            if _LIBC.syncfs(handle):
                raise OSError(ctypes.get_errno(), "syncfs")
        finally:
            os.close(handle)

    def written_bytes(self) -> int:
        """What has reached the device; first everything still in memory is sent there."""
        self.sync()
        found = sectors_written(self.device)
        assert found is not None
        return found[1] * SECTOR_BYTES


def _run(*command: str) -> str:
    try:
        return subprocess.run(command, check=True, capture_output=True, text=True, timeout=60).stdout.strip()
    except (OSError, subprocess.SubprocessError) as error:
        raise NotHere(f"{' '.join(command)}: {getattr(error, 'stderr', '') or error}") from None


@contextmanager
def ext4(folder: Path, megabytes: int = 256) -> Iterator[Loop]:
    """Mounted as a Pi mounts its card (noatime). Raises NotHere."""
    if os.geteuid() != 0:
        raise NotHere("not root")
    image, place = folder / "card.img", folder / "card"
    place.mkdir()
    with open(image, "wb") as file:
        file.truncate(megabytes * 1_000_000)
    _run("mkfs.ext4", "-q", "-b", "4096", "-E", "lazy_itable_init=0,lazy_journal_init=0", str(image))
    device = _run("losetup", "-f", "--show", str(image))
    try:
        _run("mount", "-o", "noatime", device, str(place))
        try:
            yield Loop(place, os.stat(device).st_rdev)
        finally:
            _run("umount", str(place))
    finally:
        _run("losetup", "-d", device)
