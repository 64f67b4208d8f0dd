"""A network of our own between a client and the broker, which can be cut without either end being told."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress


class Network:
    """Forwards connections to a local port. Cut, it closes nothing and carries nothing: both ends see silence."""

    def __init__(self, to_port: int) -> None:
        self._to_port = to_port
        self._whole = threading.Event()
        self._whole.set()
        self._ends: list[socket.socket] = []
        self.up_bytes = self.down_bytes = 0  # carried to the broker, and back
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        threading.Thread(target=self._welcome, daemon=True).start()

    def cut(self) -> None:
        self._whole.clear()

    def mend(self) -> None:
        self._whole.set()

    def _welcome(self) -> None:
        with suppress(OSError):  # closed: the test is over
            while True:
                near, _ = self._door.accept()
                threading.Thread(target=self._join, args=(near,), daemon=True).start()

    def _join(self, near: socket.socket) -> None:
        self._whole.wait()
        try:
            far = socket.create_connection(("127.0.0.1", self._to_port))
        except OSError:
            near.close()
            return
        self._ends += [near, far]
        for one, other, up in ((near, far, True), (far, near, False)):
            threading.Thread(target=self._carry, args=(one, other, up), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket, up: bool) -> None:
        with suppress(OSError):
            while data := one.recv(65536):
                self._whole.wait()
                other.sendall(data)
                self.up_bytes += len(data) if up else 0
                self.down_bytes += 0 if up else len(data)
        self._whole.wait()  # a goodbye is not carried either
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self.mend()
        for end in (self._door, *self._ends):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
