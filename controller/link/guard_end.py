"""The link's end of the guard's sockets: frames into memory by a thread of its own, everything else on demand.

The kernel keeps about ten datagrams; a link that stalls for a second would lose frames. So one thread does nothing but
empty the socket, and the events, which nobody may lose, are fetched by number.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.core.events import Event, Happened
from controller.guard.client import Client, NoGuard

FRAMES_KEPT = 600  # a minute at ten a second


class Told(tuple[Event, float, bool]):
    """An event, its Unix time, and whether that clock was synchronised."""

    __slots__ = ()


class GuardEnd:
    """Frames as they come, and questions. Survives the guard: every call says whether it was there."""

    def __init__(self, socket_path: Path, wait: Callable[[float], bool]) -> None:
        """wait: sleeps for some seconds; true when the link is to end."""
        self._path = socket_path
        self._wait = wait
        self.frames: deque[bytes] = deque(maxlen=FRAMES_KEPT)
        self.seen = 0  # frames that came
        self.connected = False
        self._asking: Client | None = None
        self._reading: Client | None = None
        self._thread = threading.Thread(target=self._empty, name="frames", daemon=True)
        self._thread.start()

    def _empty(self) -> None:
        while not self._wait(0.0):
            try:
                with Client(self._path, wait_s=2.0) as client:
                    self._reading = client
                    for frame in client.frames():
                        self.connected = True
                        self.frames.append(frame)
                        self.seen += 1
            except (NoGuard, ValueError):
                pass
            self.connected = False
            if self._wait(0.5):
                return

    def _client(self) -> Client:
        if self._asking is None:
            self._asking = Client(self._path, wait_s=1.0)
        return self._asking

    def ask(self, message: dict[str, object]) -> dict[str, Any] | None:
        """The guard's answer; None when there is no guard. Raises ValueError with its word on a bad message."""
        try:
            return self._client().ask(message)
        except NoGuard:
            if self._asking is not None:
                self._asking.close()
            self._asking = None
            return None

    def close(self) -> None:
        """After `wait` has said that the link ends."""
        for client in (self._reading, self._asking):
            if client is not None:
                client.close()
        self._thread.join(3.0)

    def status(self) -> dict[str, Any]:
        return self.ask({"ask": "status"}) or {}

    def events(self, after: int) -> tuple[list[Told], int]:
        """Events after a number, oldest first, and how many were lost before anybody fetched them."""
        answer = self.ask({"ask": "events", "after": after})
        if answer is None:
            return [], 0
        return [_told(e) for e in answer["events"]], int(answer.get("lost", 0))

    def acknowledge(self, number: int) -> None:
        self.ask({"acknowledge": number})


def _told(found: dict[str, Any]) -> Told:
    event = Event(
        found["number"],
        found["at_s"],
        Happened[found["what"].upper()],
        found["subject"],
        found["detail"],
        found["source"],
        found["ticket"],
        found["seen"],
        found["limit"],
    )
    return Told((event, found["time_s"], found["clock_synchronised"]))
