"""What the card has been written, as its own kernel driver counts it: everything on it, not ours alone."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple

SECTOR_BYTES = 512  # the unit of the kernel's count, whatever the device's own is
LEAST_H = 6.0
_WRITTEN = 6  # field of the block device's stat file: sectors written


class Wear(NamedTuple):
    device: str
    written_bytes: int  # since the machine's power-up
    up_s: float

    @property
    def bytes_a_day(self) -> float:
        return self.written_bytes / max(self.up_s, 1.0) * 86400.0

    @property
    def sentence(self) -> str:
        """A rate only where there was time for one: a start writes more than a day of running."""
        megabytes, hours = self.written_bytes / 1e6, self.up_s / 3600.0
        so_far = f"{megabytes:.0f} MB written to {self.device} by all programs in the {hours:.1f} h since power-up"
        return so_far if hours < LEAST_H else f"{so_far}, {self.bytes_a_day / 1e6:.0f} MB a day"


def sectors_written(device: int, sys_block: Path = Path("/sys/dev/block")) -> tuple[str, int] | None:
    """Name of a block device and the sectors written to it since power-up; None where there is no such count.

    device: as `os.stat` gives it. The whole card is asked, not the partition.
    """
    folder = (sys_block / f"{os.major(device)}:{os.minor(device)}").resolve()
    if (folder / "partition").exists():
        folder = folder.parent
    try:
        return folder.name, int((folder / "stat").read_text().split()[_WRITTEN])
    except (OSError, IndexError, ValueError):
        return None


def wear(path: Path, up_s: float, sys_block: Path = Path("/sys/dev/block")) -> Wear | None:
    """What the card that holds a path has been written. up_s: since power-up. None: not known."""
    try:
        found = sectors_written(os.stat(path).st_dev, sys_block)
    except OSError:
        return None
    return None if found is None else Wear(found[0], found[1] * SECTOR_BYTES, up_s)
