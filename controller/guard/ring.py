"""What the guard keeps in memory: events until they are safe elsewhere, and the frames of the last twelve minutes.

A frame is one packed `bytes` per scan: ten minutes of objects would not fit, and the same bytes are the telemetry, the
incident file and the input of a replay. They are kept squeezed, a second at a time, to a sixth.
"""

from __future__ import annotations

import struct
import zlib
from collections import deque
from collections.abc import Collection, Iterable, Iterator
from itertools import islice

from controller.core.events import Event
from controller.guard.protocol import EVENTS_AT_ONCE, Kept

EVENTS_KEPT = 4096  # unfetched ones at most: a chattering rig makes some hundred a day
EVENTS_SHOWN = 256  # of those acknowledged, for people who look later
BEFORE_S, AFTER_S = 600.0, 120.0  # of an incident
BLOCK = 10  # frames squeezed together: 0.1 ms on a PC each second; more at once would hardly leave less
_LENGTH = struct.Struct("<I")


class EventRing:
    """Numbered events in order. `lost` counts those that had to go before anybody had fetched them."""

    def __init__(self) -> None:
        self._kept: deque[Kept] = deque()
        self.acknowledged = 0
        self.lost = 0

    def add(self, events: Iterable[Event], time_s: float, synchronised: bool) -> None:
        for event in events:
            self._kept.append(Kept(event, time_s, synchronised))
        self._forget()

    def _forget(self) -> None:
        kept = self._kept
        while len(kept) > EVENTS_SHOWN and kept[0].event.number <= self.acknowledged:
            kept.popleft()
        while len(kept) > EVENTS_KEPT:
            kept.popleft()
            self.lost += 1

    def acknowledge(self, number: int) -> None:
        """Events up to `number` are safe elsewhere. A number from the future acknowledges no future event."""
        self.acknowledged = max(self.acknowledged, min(number, self.newest))
        self._forget()

    def __len__(self) -> int:
        return len(self._kept)

    @property
    def newest(self) -> int:
        return self._kept[-1].event.number if self._kept else self.acknowledged

    @property
    def oldest(self) -> int:
        return self._kept[0].event.number if self._kept else self.acknowledged + 1

    def after(self, number: int, at_most: int = EVENTS_AT_ONCE) -> list[Kept]:
        if not self._kept:
            return []
        skip = max(0, number + 1 - self._kept[0].event.number)
        return list(islice(self._kept, skip, skip + at_most))


class Recorded(Collection[bytes]):
    """Frames in order, a block of them unpacked when its turn comes: never all of them at once, nor in the scan."""

    def __init__(self, blocks: tuple[bytes, ...], last: tuple[bytes, ...]) -> None:
        self._blocks, self._last = blocks, last

    def __len__(self) -> int:
        return BLOCK * len(self._blocks) + len(self._last)

    def __iter__(self) -> Iterator[bytes]:
        for block in self._blocks:
            data, at = zlib.decompress(block), 0
            while at < len(data):
                (size,) = _LENGTH.unpack_from(data, at)
                at += _LENGTH.size
                yield data[at : at + size]
                at += size
        yield from self._last

    def __contains__(self, frame: object) -> bool:
        return any(frame == one for one in self)


class FrameRing:
    """Packed frames of an incident's length. Each holds the whole memory, so a replay may begin at any of them."""

    def __init__(self, scan_s: float) -> None:
        self._blocks: deque[bytes] = deque(maxlen=int((BEFORE_S + AFTER_S) / scan_s / BLOCK) + 1)
        self._last: list[bytes] = []

    def add(self, frame: bytes) -> None:
        self._last.append(frame)
        if len(self._last) == BLOCK:
            whole = b"".join(_LENGTH.pack(len(one)) + one for one in self._last)
            self._blocks.append(zlib.compress(whole, level=1))
            self._last.clear()

    def all(self) -> Recorded:
        return Recorded(tuple(self._blocks), tuple(self._last))
