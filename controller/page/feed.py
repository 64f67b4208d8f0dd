"""Live data to many phones: each change is worked out and written down once, whoever looks.

A phone that does not keep up is not waited for: what waits for it is dropped and it gets everything anew.
"""

from __future__ import annotations

import asyncio
import time
import zlib
from collections.abc import AsyncIterator, Callable
from typing import Any, Final

from controller.page.broker import compact
from controller.page.difference import difference
from controller.page.rigs import Rigs

BEAT_S: Final = 2.0
TOGETHER_S: Final = 0.05  # changes closer than this go out as one
WAITING_AT_MOST: Final = 20
PHONES_AT_MOST: Final = 300


class Phone:
    """What waits for one phone; None: everything anew."""

    def __init__(self) -> None:
        self.waiting: list[bytes] | None = None
        self.woken = asyncio.Event()
        self.woken.set()

    def add(self, data: bytes) -> None:
        if self.waiting is not None:
            self.waiting.append(data)
            if len(self.waiting) > WAITING_AT_MOST:
                self.waiting = None
        self.woken.set()


class Channel:
    """All phones that look at one rig, and what the last change led to."""

    def __init__(self, view: dict[str, Any]) -> None:
        self.view = view
        self.phones: set[Phone] = set()


def packer() -> Callable[[bytes], bytes]:
    """gzip that a phone can read up to here at any time. 64 kB for each phone (8 kB of window and as small a table)."""
    stream = zlib.compressobj(6, zlib.DEFLATED, 16 + 13, 6)
    return lambda data: stream.compress(data) + stream.flush(zlib.Z_SYNC_FLUSH)


def frame(message: dict[str, Any]) -> bytes:
    """One Server-Sent Event. Compact JSON has no line break in it."""
    return b"data: " + compact(message).encode() + b"\n\n"


class Feed:
    def __init__(self, rigs: Rigs, build: str) -> None:
        self.rigs, self.build = rigs, build
        self._channels: dict[str, Channel] = {}
        self._due: asyncio.TimerHandle | None = None
        self._ended = False

    @property
    def phones(self) -> int:
        return sum(len(c.phones) for c in self._channels.values())

    @property
    def full(self) -> bool:
        return self.phones >= PHONES_AT_MOST

    def view(self, rig: str) -> dict[str, Any]:
        return self.rigs.view(rig, self.build)

    def changed(self, _rig: str = "") -> None:
        """Something did. Every channel lists every rig, so all are looked at."""
        if self._due is None and self._channels:
            self._due = asyncio.get_running_loop().call_later(TOGETHER_S, self._send)

    def _send(self) -> None:
        self._due = None
        for rig, channel in self._channels.items():
            view = self.view(rig)
            change = difference(channel.view, view)
            channel.view = view
            if change is not None:
                data = frame({"t": time.monotonic(), "d": change})
                for phone in channel.phones:
                    phone.add(data)

    async def follow(
        self, rig: str, extra: dict[str, Any], allowed: Callable[[], bool], pack: Callable[[bytes], bytes]
    ) -> AsyncIterator[bytes]:
        """What one phone gets: everything, then each change, a beat when there is none. Ends when not allowed."""
        channel = self._channels.get(rig)
        if channel is None:
            channel = self._channels[rig] = Channel(self.view(rig))
        phone = Phone()
        channel.phones.add(phone)
        try:
            while not self._ended and allowed():
                try:
                    await asyncio.wait_for(phone.woken.wait(), BEAT_S)
                except TimeoutError:
                    yield pack(frame({"t": time.monotonic()}))
                    continue
                phone.woken.clear()
                waiting, phone.waiting = phone.waiting, []
                if waiting is None:
                    waiting = [frame({"t": time.monotonic(), "all": channel.view | extra})]
                yield pack(b"".join(waiting))
        finally:
            channel.phones.discard(phone)
            if not channel.phones:
                self._channels.pop(rig, None)

    def end(self) -> None:
        """Lets every phone go, so that the server can."""
        self._ended = True
        for channel in self._channels.values():
            for phone in channel.phones:
                phone.woken.set()
