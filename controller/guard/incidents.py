"""The record around a trip: full rate, ten minutes before and two after, as one checksummed file.

    LYEWATCH INCIDENT 1\\n          then one line of JSON: rig, hash, version, cause, times, how many records
    zlib( records )                each: kind (1 byte: F frame, E events), length (4 bytes, little endian), data
    SHA-256 of all before          32 bytes

Written by a thread, to a name that readers do not see until it is whole. The oldest go first when there are too many.
"""

from __future__ import annotations

import hashlib
import json
import os
import struct
import zlib
from collections.abc import Collection, Iterator
from pathlib import Path
from queue import SimpleQueue
from typing import Any, NamedTuple

MAGIC = b"LYEWATCH INCIDENT 1\n"
KEPT = 30
SUFFIX = ".incident"
_RECORD = struct.Struct("<cI")


class Incident(NamedTuple):
    header: dict[str, Any]
    frames: Collection[bytes]
    events: bytes  # JSON


def encode(incident: Incident) -> bytes:
    """The bytes of the file."""
    header = incident.header | {"frames": len(incident.frames)}
    packer = zlib.compressobj(level=6)  # a fifth smaller than 1 for 0.2 s of a thread that hands over the processor
    parts = [MAGIC, json.dumps(header, allow_nan=False).encode(), b"\n"]
    for kind, data in (*((b"F", frame) for frame in incident.frames), (b"E", incident.events)):
        parts.append(packer.compress(_RECORD.pack(kind, len(data)) + data))
    parts.append(packer.flush())
    whole = b"".join(parts)
    return whole + hashlib.sha256(whole).digest()


def decode(data: bytes) -> Incident:
    """Raises ValueError, saying what is wrong with the file."""
    whole, digest = data[:-32], data[-32:]
    if not data.startswith(MAGIC):
        raise ValueError("not an incident file of this version")
    if hashlib.sha256(whole).digest() != digest:
        raise ValueError("damaged: its checksum differs")
    line, _, packed = whole[len(MAGIC) :].partition(b"\n")
    frames: list[bytes] = []
    events = b"[]"
    for kind, record in _records(zlib.decompress(packed)):
        match kind:
            case b"F":
                frames.append(record)
            case b"E":
                events = record
            case _:
                raise ValueError(f"unknown kind of record {kind!r}")
    return Incident(json.loads(line), tuple(frames), events)


def _records(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    while at < len(data):
        kind, length = _RECORD.unpack_from(data, at)
        at += _RECORD.size
        yield kind, data[at : at + length]
        at += length


class IncidentWriter:
    """Takes incidents from the scan and writes them in its thread."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._queue: SimpleQueue[tuple[str, Incident]] = SimpleQueue()
        self.error = ""
        self._given = self._done = 0

    def give(self, name: str, incident: Incident) -> None:
        self._given += 1
        self._queue.put((name, incident))

    @property
    def idle(self) -> bool:
        return self._done == self._given

    def run(self) -> None:
        """Work for the thread."""
        while True:
            self.write_next()

    def write_next(self) -> None:
        """Writes one, waiting for it."""
        name, incident = self._queue.get()
        try:
            self._write(name, encode(incident))
            self._keep_the_newest()
            self.error = ""
        except OSError as error:
            self.error = f"incident {name} could not be written: {error.strerror or error}"
        finally:
            self._done += 1

    def _write(self, name: str, data: bytes) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        beside = self.folder / f".{name}"
        with beside.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.rename(self.folder / f"{name}{SUFFIX}")

    def _keep_the_newest(self) -> None:
        names = sorted(self.folder.glob(f"*{SUFFIX}"), key=lambda p: (p.stat().st_mtime_ns, p.name))
        for path in names[:-KEPT]:
            path.unlink(missing_ok=True)
