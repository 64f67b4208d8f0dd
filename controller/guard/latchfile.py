"""What outlives the process: the latch, on disk, in two files written in turn.

Each holds one line of JSON, a line with the SHA-256 of that line, and zeros up to whole blocks of 4096 bytes. A write
goes over the older of the two in place and is forced to the card; the newer one is never touched. The blocks are there
already and the size stays, so the file system has next to nothing to note in its journal, most of what a write costs.
Any doubt comes up tripped, "memory of the last run lost": a file missing, torn, altered, of another rig or another
format, or a write that failed. That includes the first start on a machine: nobody can tell a new card from a lost one,
and a reset at the rig is cheap. What the surviving file still says (hours, hold, causes, lock-out) is kept, never used
to decide that all was well.
"""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from controller.core.plain import from_plain, to_plain
from controller.core.rig import Rig
from controller.core.trips import FINDINGS, Cause, Latch, Rank, Seen, add

FORMAT = 3
UNPADDED = 2  # files of this format end with the checksum; they are still read
BLOCK = 4096
NAMES = ("latch-0", "latch-1")
UNFINISHED = "latch-new"  # a mark: a write has failed, or one of the older kind was cut short
STARTS_WITHOUT_HEALTH = 5  # at the fifth start without five minutes of scanning after it: locked out


class Written(NamedTuple):
    """What one of the two files says. `after` is the number of the latch in the other one."""

    format: int
    rig: str
    after: int
    latch: Latch


class Found(NamedTuple):
    """The folder as it was found: the two files, None where one cannot be read, and whether a write was cut short."""

    files: tuple[bytes | None, bytes | None]
    unfinished: bool


def encode(rig_name: str, after: int, latch: Latch, at_least: int = BLOCK) -> bytes:
    """Whole blocks. at_least: what the file takes already, so that it never changes its size downwards."""
    body = json.dumps(to_plain(Written(FORMAT, rig_name, after, latch)), separators=(",", ":"), allow_nan=False)
    line = body.encode() + b"\n"
    data = line + hashlib.sha256(line).hexdigest().encode() + b"\n"
    return data.ljust(BLOCK * -(-max(len(data), at_least) // BLOCK), b"\0")


def decode(data: bytes) -> Written:
    """Raises ValueError unless every byte is as it was written."""
    line, newline, rest = data.partition(b"\n")
    line += newline
    digest = hashlib.sha256(line).hexdigest().encode() + b"\n"
    if not rest.startswith(digest):
        raise ValueError("checksum differs")
    plain = json.loads(line)
    if not isinstance(plain, list) or plain[:1] not in ([UNPADDED], [FORMAT]):
        raise ValueError("another format")
    padding = rest[len(digest) :]
    if padding.strip(b"\0") or (len(data) % BLOCK if plain[0] == FORMAT else padding):
        raise ValueError("torn: it does not end as it was written")
    return from_plain(Written, plain)


def _own_cause(name: str, now_s: float) -> Cause:
    return Cause(name, FINDINGS[name].kind, Rank.CONTROLLER, Seen.OWN, now_s, now_s, order=-1)


def recover(rig: Rig, found: Found, now_s: float) -> Latch:
    """The latch to start with. Its number is above everything on disk, so that it counts only once written."""
    read: list[Written] = []
    for data in found.files:
        try:
            if data is not None:
                read.append(decode(data))
        except ValueError:
            continue  # counted below: fewer than two good files is a doubt
    ours = sorted((w for w in read if w.rig == rig.name), key=lambda w: w.latch.number)
    newest = ours[-1].latch if ours else Latch(0, rig.rig_hash, powered=False, first_power_due=True)
    sure = len(ours) == 2 and not found.unfinished and _consistent(*ours)
    causes: list[Cause] = []
    if not sure:
        causes.append(_own_cause("memory of the last run lost", now_s))
    if newest.powered:
        causes.append(_own_cause("guard ended while powered", now_s))
    starts = newest.starts_without_health + 1
    if starts >= STARTS_WITHOUT_HEALTH:
        causes.append(_own_cause("restart loop", now_s))
    latch, _ = add(newest, tuple(causes))
    return latch._replace(
        number=newest.number + 1,
        rig_hash=rig.rig_hash,
        powered=False,
        starts_without_health=starts,
        settings_accepted=newest.settings_accepted and newest.rig_hash == rig.rig_hash,
        first_power_due=newest.first_power_due or newest.rig_hash != rig.rig_hash,
    )


def _consistent(older: Written, newer: Written) -> bool:
    """The newer was written after the older, or both say the same (after a repair)."""
    return newer.latch == older.latch or newer.after == older.latch.number < newer.latch.number


class LatchFile:
    """The two files in one folder. Every method may block for as long as the card does: never call it from the scan."""

    def __init__(self, folder: Path, rig_name: str) -> None:
        self.folder = folder
        self._rig_name = rig_name
        self._newest = (0, 1)  # number of the newest latch on disk, and which file holds it
        self._both_good = False

    def find(self) -> Found:
        """Read both files. Afterwards writes go to the one that is missing, bad or older."""
        files = (self._read(NAMES[0]), self._read(NAMES[1]))
        numbers: list[tuple[int, int]] = []
        for at, data in enumerate(files):
            try:
                if data is not None:
                    numbers.append((decode(data).latch.number, at))
            except ValueError:
                continue
        self._newest = max(numbers, default=self._newest)
        self._both_good = len(numbers) == 2
        return Found(files, (self.folder / UNFINISHED).exists())

    def _read(self, name: str) -> bytes | None:
        try:
            return (self.folder / name).read_bytes()
        except OSError:
            return None

    def write(self, latch: Latch) -> None:
        """Returns once the latch is safely on disk; OSError when it is not."""
        self._write_older(latch)
        if not self._both_good:  # the other file was missing or bad: repair it, or the next start would doubt again
            self._write_older(latch)
            self._both_good = True
        mark = self.folder / UNFINISHED
        if mark.exists():
            mark.unlink()
            self._sync_folder()

    def _write_older(self, latch: Latch) -> None:
        after, at = self._newest
        try:
            self._write_over(self.folder / NAMES[1 - at], after, latch)
        except OSError:
            with suppress(OSError):  # what is on disk looks whole and says too little: leave word of it
                (self.folder / UNFINISHED).touch()
            raise
        self._newest = (latch.number, 1 - at)

    def _write_over(self, path: Path, after: int, latch: Latch) -> None:
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o640)
        try:
            size = os.fstat(fd).st_size
            data = encode(self._rig_name, after, latch, size)
            _write_all(fd, data)
            if len(data) == size:
                os.fdatasync(fd)
            else:
                os.fsync(fd)
        finally:
            os.close(fd)
        if not size:
            self._sync_folder()

    def _sync_folder(self) -> None:
        folder = os.open(self.folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)

    def start(self, rig: Rig, now_s: float) -> Latch:
        """The latch to start with, for `first`. It is not yet on disk: give it to the writer."""
        with suppress(OSError):  # a card that takes no folder takes no latch either, and the writer says so
            self.folder.mkdir(parents=True, exist_ok=True)
        return recover(rig, self.find(), now_s)


def _write_all(fd: int, data: bytes) -> None:
    while data:
        data = data[os.write(fd, data) :]
