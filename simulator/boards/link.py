"""The bench as a process of its own, in real time: pins and buses for a guard, and a socket for faults and truth.

The end of the guard's connection is the death of its process: the kernel's policy then decides what its outputs do.
"""

from __future__ import annotations

import errno
import json
import os
import selectors
import socket
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from simulator.boards.bench import Bench, FaultError
from simulator.boards.i2c import SimBus
from simulator.boards.kernel_files import KernelFiles
from simulator.boards.wire import (
    CONTROL_SOCKET,
    EDGES_SOCKET,
    KERNEL_FOLDER,
    LONGEST,
    PINS_SOCKET,
    Ask,
    Edge,
    Request,
    pack_answer,
    pack_edges,
    unpack_request,
)

TICK_S = 0.025
CLAIMS = (Ask.CLAIM_IN, Ask.CLAIM_OUT, Ask.WRITE, Ask.PULSE_WIDTH, Ask.WATCH, Ask.UNWATCH)
TRACE_AT_ONCE = 1000


class BenchServer:
    """Serves one guard, and anybody who asks for truth. `folder` should be in memory: its files change all the time."""

    def __init__(self, bench: Bench, folder: Path, clock: Callable[[], float]) -> None:
        self._bench, self._clock = bench, clock
        self._select = selectors.DefaultSelector()
        self._owner: socket.socket | None = None  # the process that has claimed pins
        self._listeners: set[socket.socket] = set()
        self._edges: list[Edge] = []
        self._kernel = KernelFiles(bench, folder / KERNEL_FOLDER)
        self._serve: dict[str, Callable[[socket.socket, bytes], bytes]] = {
            PINS_SOCKET: self._pins,
            EDGES_SOCKET: lambda connection, data: b"",
            CONTROL_SOCKET: lambda connection, data: self._control(data),
        }
        self._paths = [folder / name for name in self._serve]
        for name in self._serve:
            self._listen(folder / name, name)

    def _listen(self, path: Path, name: str) -> None:
        path.unlink(missing_ok=True)
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET | socket.SOCK_NONBLOCK)
        listener.bind(str(path))
        listener.listen(8)
        self._select.register(listener, selectors.EVENT_READ, ("listener", name))

    # --- running

    def run(self, going_on: Callable[[], bool]) -> None:
        """Until `going_on` says no; asked at every tick."""
        next_s = self._clock()
        while going_on():
            while (left_s := next_s - self._clock()) > 0.0:
                for key, _ in self._select.select(left_s):
                    self._ready(key)
            self.tick()
            next_s = max(next_s + TICK_S, self._clock())

    def tick(self) -> None:
        self._bench.advance(self._clock())
        self._kernel.refresh()
        self._send_edges()

    def close(self) -> None:
        for key in list(self._select.get_map().values()):
            if isinstance(key.fileobj, socket.socket):
                key.fileobj.close()
        self._select.close()
        for path in self._paths:
            path.unlink(missing_ok=True)

    def _ready(self, key: selectors.SelectorKey) -> None:
        assert isinstance(key.fileobj, socket.socket)
        what, name = key.data
        if what == "listener":
            connection, _ = key.fileobj.accept()
            self._select.register(connection, selectors.EVENT_READ, ("connection", name))
            if name == EDGES_SOCKET:
                connection.setblocking(False)
                self._listeners.add(connection)
            return
        connection = key.fileobj
        if connection.fileno() < 0:
            return  # found to be gone while another one was answered
        try:
            data = connection.recv(LONGEST)
        except OSError:
            data = b""
        if not data:
            self._gone(connection)
            return
        with suppress(OSError):  # the other end may have gone while we worked
            connection.send(self._serve[name](connection, data))

    def _gone(self, connection: socket.socket) -> None:
        self._select.unregister(connection)
        self._listeners.discard(connection)
        if connection is self._owner:
            self._owner = None
            self._bench.touch(self._clock())
            self._bench.board.process_died()
        connection.close()

    # --- a guard's requests

    def _pins(self, connection: socket.socket, data: bytes) -> bytes:
        request = unpack_request(data)
        self._bench.touch(self._clock())
        try:
            rest = self._do(connection, request)
        except OSError as error:
            return pack_answer(request.number, error.errno or errno.EIO)
        self._send_edges()
        return pack_answer(request.number, 0, rest)

    def _do(self, connection: socket.socket, request: Request) -> bytes:
        board, pin = self._bench.board, request.first
        if request.ask in CLAIMS:
            self._own(connection)
        match request.ask:
            case Ask.BUSES:
                return bytes(sorted(self._bench.buses))
            case Ask.TRANSFER:
                written = request.rest if request.rest or request.value else None
                return self._bus(request.first).transfer(request.second, written, request.size)
            case Ask.CLAIM_IN:
                board.claim_in(pin, request.rest.decode())
            case Ask.CLAIM_OUT:
                board.claim_out(pin, bool(request.second))
            case Ask.READ:
                return bytes([board.read(pin)])
            case Ask.WRITE:
                board.write(pin, bool(request.second))
            case Ask.PULSE_WIDTH:
                board.pulse_width(pin, request.value)
            case Ask.WATCH:
                board.watch(pin, lambda stamp_s, level: self._edges.append(Edge(stamp_s, pin, level)))
            case Ask.UNWATCH:
                board.unwatch(pin)
        return b""

    def _bus(self, number: int) -> SimBus:
        if number not in self._bench.buses:
            raise OSError(errno.ENODEV, "no such bus")
        return self._bench.buses[number]

    def _own(self, connection: socket.socket) -> None:
        """As the kernel: a line claimed by one process is busy for every other."""
        if self._owner is not None and self._owner is not connection and _has_ended(self._owner):
            self._gone(self._owner)  # the next process may be faster than the news of the last one's end
        if self._owner is None:
            self._owner = connection
        elif self._owner is not connection:
            raise OSError(errno.EBUSY, "another process has the pins")

    def _send_edges(self) -> None:
        if not self._edges:
            return
        self._edges.sort()
        batch, self._edges = pack_edges(self._edges), []
        for listener in self._listeners:
            with suppress(OSError):  # a reader that does not read loses edges, as the kernel's queue does
                listener.send(batch)

    # --- a person's or a judge's requests

    def _control(self, data: bytes) -> bytes:
        try:
            asked = json.loads(data)
            answer: Any = self._asked(**asked)
        except (FaultError, ValueError, TypeError, KeyError) as error:
            return json.dumps({"ok": False, "error": str(error)}).encode()
        return json.dumps({"ok": True, "answer": answer}).encode()

    def _asked(self, do: str, **given: Any) -> Any:
        bench = self._bench
        bench.touch(self._clock())
        match do:
            case "fault":
                bench.fault(given["part"], given["kind"], float(given.get("amount", 0.0)))
                return bench.power.now_s
            case "clear":
                bench.clear(given.get("part", ""))
            case "press":
                bench.press(given["button"], float(given.get("seconds", 0.3)))
            case "swap":
                bench.swap(given["first"], given["second"])
            case "truth":
                return bench.truth()
            case "trace":
                since_s = float(given.get("since_s", "-inf"))
                later = [change for change in bench.trace if change.at_s > since_s]
                return {"changes": later[:TRACE_AT_ONCE], "more": len(later) > TRACE_AT_ONCE}
            case "faults":
                return bench.known_faults()
            case _:
                raise ValueError(f"cannot {do!r}; can: fault, clear, press, swap, truth, trace, faults")
        return None


def _has_ended(connection: socket.socket) -> bool:
    try:
        return not connection.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT)
    except BlockingIOError:
        return False
    except OSError:
        return True


def owner_only(folder: Path) -> Path:
    """A folder for the sockets that nobody else may enter."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    os.chmod(folder, 0o700)
    return folder
