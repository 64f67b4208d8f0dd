"""Telling systemd, in a way that can neither block nor raise: a scan must not wait for the one who watches it."""

from __future__ import annotations

import os
import socket


class Notify:
    """Without NOTIFY_SOCKET every call does nothing."""

    def __init__(self, address: str | None = None) -> None:
        named = os.environ.pop("NOTIFY_SOCKET", "") if address is None else address
        self._address = "\0" + named[1:] if named.startswith("@") else named
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) if named else None
        self.dropped = 0

    def send(self, message: str) -> None:
        if self._socket is None:
            return
        try:
            self._socket.sendto(message.encode(), socket.MSG_DONTWAIT, self._address)
        except OSError:
            self.dropped += 1

    def ready(self, text: str) -> None:
        self.send(f"READY=1\nSTATUS={text}")

    def scan_proof(self) -> None:
        """A complete scan in time. Nothing about the outputs: a welded contactor must not reboot the machine."""
        self.send("WATCHDOG=1")

    def status(self, text: str) -> None:
        self.send(f"STATUS={text}")

    def stopping(self) -> None:
        self.send("STOPPING=1")

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
