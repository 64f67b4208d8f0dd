"""A bench in another process, seen from a guard: the same bus, pins and kernel files as on a Pi.

Nothing waits longer than a real bus would: when the bench is gone or frozen, every transfer is an OSError.
"""

from __future__ import annotations

import errno
import json
import socket
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from types import MappingProxyType
from typing import Any

from simulator.boards.gpio import SimFactory
from simulator.boards.pins import Edge
from simulator.boards.transfers import Transfers
from simulator.boards.wire import (
    CONTROL_SOCKET,
    EDGES_SOCKET,
    KERNEL_FOLDER,
    LONGEST,
    PINS_SOCKET,
    Ask,
    RemoteError,
    Request,
    pack_request,
    unpack_answer,
    unpack_edges,
)

ANSWER_S = 0.1  # as a bus times out
CONTROL_ANSWER_S = 5.0


def _connect(path: Path) -> socket.socket:
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    try:
        connection.connect(str(path))
    except OSError as error:
        connection.close()
        raise OSError(error.errno, f"no bench at {path}: {error.strerror}") from error
    return connection


class Line:
    """Requests and answers, one at a time, from any thread."""

    def __init__(self, path: Path) -> None:
        self._socket = _connect(path)
        self._socket.settimeout(ANSWER_S)
        self._lock = threading.Lock()
        self._number = 0

    def ask(
        self, ask: Ask, first: int = 0, second: int = 0, size: int = 0, value: float = 0.0, rest: bytes = b""
    ) -> bytes:
        with self._lock:
            self._number = (self._number + 1) & 0xFFFF
            self._socket.send(pack_request(Request(self._number, ask, first, second, size, value, rest)))
            while True:
                data = self._socket.recv(LONGEST)
                if not data:
                    raise BrokenPipeError(errno.EPIPE, "the bench has gone")
                try:
                    number, rest = unpack_answer(data)
                except RemoteError as error:
                    if error.number == self._number:
                        raise
                    continue  # an answer that came after its time
                if number == self._number:
                    return rest

    def close(self) -> None:
        self._socket.close()


class LinkBus(Transfers):
    """An I2C bus of the bench."""

    def __init__(self, line: Line, number: int) -> None:
        self._line, self._number = line, number
        self._lock = threading.Lock()

    def try_lock(self) -> bool:
        return self._lock.acquire(timeout=ANSWER_S)

    def unlock(self) -> None:
        self._lock.release()

    def transfer(self, address: int, written: bytes | None, to_read: int) -> bytes:
        value = 0.0 if written is None else 1.0
        return self._line.ask(Ask.TRANSFER, self._number, address, to_read, value, written or b"")


class LinkPins:
    """The bench's pins. Edges come on a second socket and are told in a thread, as a pin library does."""

    def __init__(self, line: Line, edges: Path) -> None:
        self._line = line
        self._seen: dict[int, Edge] = {}
        self._edges = _connect(edges)
        threading.Thread(target=self._listen, name="edges", daemon=True).start()

    def _listen(self) -> None:
        while True:
            try:
                data = self._edges.recv(LONGEST)
            except OSError:
                return
            if not data:
                return
            for stamp_s, pin, level in unpack_edges(data):
                if (seen := self._seen.get(pin)) is not None:
                    seen(stamp_s, level)

    def claim_in(self, pin: int, pull: str) -> None:
        self._line.ask(Ask.CLAIM_IN, pin, rest=pull.encode())

    def claim_out(self, pin: int, level: bool) -> None:
        self._line.ask(Ask.CLAIM_OUT, pin, level)

    def read(self, pin: int) -> bool:
        return bool(self._line.ask(Ask.READ, pin)[0])

    def write(self, pin: int, level: bool) -> None:
        self._line.ask(Ask.WRITE, pin, level)

    def pulse_width(self, pin: int, share: float) -> None:
        self._line.ask(Ask.PULSE_WIDTH, pin, value=share)

    def watch(self, pin: int, seen: Edge) -> None:
        self._seen[pin] = seen
        self._line.ask(Ask.WATCH, pin)

    def unwatch(self, pin: int) -> None:
        self._seen.pop(pin, None)
        self._line.ask(Ask.UNWATCH, pin)

    def close(self) -> None:
        with suppress(OSError):  # not connected any more
            self._edges.shutdown(socket.SHUT_RDWR)
        self._edges.close()


class LinkKernel:
    """The bench's kernel files. A real sensor's file blocks for its conversion; these do so here."""

    def __init__(self, root: Path, wait: Callable[[float], None]) -> None:
        self._root, self._wait = root, wait

    def read(self, path: str) -> str:
        at = self._root / path
        if at.name == "w1_slave":
            conversion_ms = float((at.parent / "conv_time").read_text(encoding="ascii"))
            self._wait(conversion_ms / 1000.0)
        return at.read_text(encoding="ascii", errors="replace")

    def names(self, folder: str) -> tuple[str, ...]:
        try:
            return tuple(sorted(entry.name for entry in (self._root / folder).iterdir()))
        except OSError:
            return ()


class LinkPorts:
    """What drivers are plugged into. Raises OSError when there is no bench in the folder."""

    simulated = True

    def __init__(self, folder: Path, clock: Callable[[], float], wait: Callable[[float], None] = time.sleep) -> None:
        self._line = Line(folder / PINS_SOCKET)
        self._backend = LinkPins(self._line, folder / EDGES_SOCKET)
        self.i2c: Mapping[int, LinkBus] = MappingProxyType(
            {number: LinkBus(self._line, number) for number in self._line.ask(Ask.BUSES)}
        )
        self.pins = SimFactory(self._backend, clock)
        self.kernel = LinkKernel(folder / KERNEL_FOLDER, wait)

    def close(self) -> None:
        self.pins.close()
        self._backend.close()
        self._line.close()


def control(folder: Path, do: str, **given: Any) -> Any:
    """One request to the bench itself: fault, clear, press, swap, truth, trace, faults. Its no is a ValueError."""
    with _connect(folder / CONTROL_SOCKET) as connection:
        connection.settimeout(CONTROL_ANSWER_S)
        connection.send(json.dumps({"do": do, **given}).encode())
        answer = json.loads(connection.recv(4 * LONGEST))
    if not answer["ok"]:
        raise ValueError(answer["error"])
    return answer["answer"]
