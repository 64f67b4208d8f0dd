"""The link's end of the guard's sockets: frames into memory by a thread of its own, everything else on demand.

The kernel keeps about ten datagrams; a link that stalls for a second would lose frames. So one thread does nothing but
empty the socket, and the events, which nobody may lose, are fetched by number.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.events import Event, Happened
from controller.guard.client import Client, NoGuard

FRAMES_KEPT = 600  # a minute at ten a second


class Fetched(NamedTuple):
    """Events after a number, oldest first. `boot` names the guard that they are of: numbers begin anew with it."""

    boot: str
    events: tuple[Event, ...]
    lost: int  # by the guard, since its start, before anybody had fetched them


class Asker:
    """Questions to the guard, from one thread. Survives the guard: every answer may be that nobody is there."""

    def __init__(self, socket_path: Path, wait_s: float = 1.0) -> None:
        self._path, self._wait_s = socket_path, wait_s
        self._client: Client | None = None
        self._boot = ""  # of the guard at the other end of the connection

    def ask(self, message: dict[str, object]) -> dict[str, Any] | None:
        """The guard's answer; None when there is no guard. Raises ValueError with its word on a bad message."""
        try:
            if self._client is None:
                self._client = Client(self._path, self._wait_s)
                self._boot = str(self._client.status().get("boot", ""))
            return self._client.ask(message)
        except NoGuard:
            self.close()
            return None

    def status(self) -> dict[str, Any]:
        return self.ask({"ask": "status"}) or {}

    def events(self, after: Callable[[str], int]) -> Fetched | None:
        """after: the number to begin after, for the boot of the guard that is there. None when there is no guard."""
        if self.status() == {}:
            return None
        answer = self.ask({"ask": "events", "after": after(self._boot)})
        if answer is None:
            return None
        return Fetched(self._boot, tuple(_event(e) for e in answer["events"]), int(answer.get("lost", 0)))

    def acknowledge(self, number: int) -> None:
        self.ask({"acknowledge": number})

    def close(self) -> None:
        if self._client is not None:
            self._client.close()
        self._client = None


class GuardEnd(Asker):
    """The loop's end: questions, and frames as they come."""

    def __init__(self, socket_path: Path, wait: Callable[[float], bool]) -> None:
        """wait: sleeps for some seconds; true when the link is to end."""
        super().__init__(socket_path)
        self._wait = wait
        self.frames: deque[bytes] = deque(maxlen=FRAMES_KEPT)
        self._reading: Client | None = None
        self._thread = threading.Thread(target=self._empty, name="frames", daemon=True)
        self._thread.start()

    def _empty(self) -> None:
        while not self._wait(0.0):
            try:
                with Client(self._path, wait_s=2.0) as client:
                    self._reading = client
                    for frame in client.frames():
                        self.frames.append(frame)
            except (NoGuard, ValueError):
                pass
            if self._wait(0.5):
                return

    def end(self) -> None:
        """After `wait` has said that the link ends."""
        if self._reading is not None:
            self._reading.close()
        self.close()
        self._thread.join(3.0)


def _event(found: dict[str, Any]) -> Event:
    return Event(
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
