"""What surrounds a guard on a virtual clock: disk, health, callers, keys, and the guard's loop itself, listened to."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.core.commands import Command, Source
from controller.core.events import Event
from controller.core.memory import Inputs
from controller.core.rig import Rig
from controller.core.trips import Latch
from controller.guard.challenge import Keys
from controller.guard.incidents import Incident
from controller.guard.latchfile import Found, encode, recover
from controller.guard.loop import Guard
from controller.guard.sockets import Mail, Peer
from controller.hardware.kernel import supply_sags
from simulator.boards.bench import BenchKernel

HEALTH_EVERY_S = 2.0
FRIEND = "phone"  # the one key that is enrolled


class Caller(Peer):
    """Somebody at a socket, without a socket."""

    def __init__(self, source: Source) -> None:
        self.socket = None
        self.source = source
        self.frames = False

    def send(self, data: bytes) -> bool:
        return True


class Mailbox:
    """The guard's sockets, with nobody behind them but the scenario."""

    def __init__(self) -> None:
        self.mail: list[Mail] = []
        self.dropped: dict[str, int] = {}
        self.dropped_frames = 0
        self.listener: Callable[[bytes], None] = lambda frame: None

    def take(self) -> list[Mail]:
        if not self.mail:
            return self.mail
        mail, self.mail = self.mail, []
        return mail

    def stream(self, frame: bytes) -> None:
        self.listener(frame)

    def post(self, source: Source, message: dict[str, Any]) -> None:
        self.mail.append(Mail(Caller(source), json.dumps(message).encode()))


def signature(text: str) -> bytes:
    """What stands for a signature where no cryptography is needed: only the enrolled key's holder computes it."""
    return hashlib.sha256(f"{FRIEND} {text}".encode()).digest()


class VirtualKeys(Keys):
    """One enrolled key, without cryptography."""

    def __init__(self) -> None:
        super().__init__(Path("/nonexistent"))

    @property
    def names(self) -> tuple[str, ...]:
        return (FRIEND,)

    def verify(self, name: str, text: str, given: bytes) -> str:
        if name != FRIEND:
            return f"no key {name!r} is enrolled"
        return "" if given == signature(text) else f"the signature is not that of key {name!r}"


class VirtualDisk:
    """The latch's two files, in memory, on a card that can be full, read-only or slow."""

    def __init__(self, rig: Rig, clock: Callable[[], float]) -> None:
        self._rig, self._clock = rig, clock
        first = Latch(1, rig.rig_hash, powered=False)
        self._files = [encode(rig.name, 0, first), encode(rig.name, 0, first)]
        self._newest = 1
        self.on_disk = 1
        self._last: Latch | None = None
        self.trouble = ""
        self.slow_until_s = float("-inf")

    def give(self, latch: Latch) -> None:
        if latch is not self._last or self.on_disk != latch.number:
            self._last = latch
            if not self.trouble and self._clock() >= self.slow_until_s:
                self._write(latch)

    def _write(self, latch: Latch) -> None:
        if latch.number == self.on_disk:
            return
        self._files = [self._files[1], encode(self._rig.name, self.on_disk, latch)]
        self.on_disk = latch.number

    def start(self, now_s: float) -> Latch:
        """What the next process finds."""
        older, newer = self._files
        return recover(self._rig, Found((older, newer), unfinished=False), now_s)


class VirtualHealth:
    """Looked at every two seconds, as by the guard's own thread."""

    clock_synchronised = True

    def __init__(self, kernel: BenchKernel, disk: VirtualDisk) -> None:
        self._kernel, self._disk = kernel, disk
        self.faults: tuple[str, ...] = ()
        self._next_s = float("-inf")

    def look(self, now_s: float) -> None:
        if now_s < self._next_s:
            return
        self._next_s = now_s + HEALTH_EVERY_S
        sags = "the Pi's supply voltage is too low" if supply_sags(self._kernel) else ""
        self.faults = tuple(text for text in (self._disk.trouble, sags) if text)


class Incidents:
    """Takes incidents instead of writing them."""

    def __init__(self) -> None:
        self.given: dict[str, Incident] = {}

    def give(self, name: str, incident: Incident) -> None:
        self.given[name] = incident


class ListenedGuard(Guard):
    """The guard's own loop; `heard` is told of every event."""

    heard: Callable[[tuple[Event, ...]], None]

    def _record(self, events: tuple[Event, ...]) -> None:
        if events:
            super()._record(events)
            self.heard(events)


class LeanGuard(ListenedGuard):
    """The same without packing frames, which nobody would read."""

    def _keep(self, inputs: Inputs, commands: list[Command], events: tuple[Event, ...]) -> None:
        self._record(events)
