"""The other end of the guard's sockets, for the command line, the link and the plan."""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Iterator
from contextlib import suppress
from types import TracebackType
from typing import Any, NamedTuple, Self

from controller.core.commands import Verb
from controller.guard import protocol


class NoGuard(ConnectionError):
    """Nobody answers on the socket, or the guard has ended."""


class Answer(NamedTuple):
    accepted: bool
    why: str


class Client:
    """One connection. Raises NoGuard where nobody answers within `wait_s` seconds."""

    def __init__(self, path: str | os.PathLike[str], wait_s: float = 3.0) -> None:
        self.path = os.fspath(path)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET | socket.SOCK_CLOEXEC)
        self._socket.settimeout(wait_s)
        try:
            self._socket.connect(self.path)
        except OSError as error:
            self._socket.close()
            raise NoGuard(f"no guard answers at {self.path} ({error.strerror})") from None

    def close(self) -> None:
        """Also from another thread than the one that is reading: that one is woken."""
        with suppress(OSError):  # the other end may have gone first
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def fileno(self) -> int:
        return self._socket.fileno()

    def ask(self, message: dict[str, object]) -> dict[str, Any]:
        """The answer to one message. Raises NoGuard, or ValueError with the guard's word on what was wrong."""
        try:
            self._socket.send(protocol.dumps(message))
            data = self._socket.recv(protocol.ANSWER_BYTES)
        except OSError as error:
            raise NoGuard(f"the guard at {self.path} does not answer ({error})") from None
        if not data:
            raise NoGuard(f"the guard at {self.path} has closed the connection")
        answer: dict[str, Any] = json.loads(data)
        if "error" in answer:
            raise ValueError(answer["error"])
        return answer

    def do(self, verb: Verb, **fields: object) -> Answer:
        """Ask for something. `fields` as in protocol.Do."""
        answer = self.ask(protocol.do(verb, **fields))
        return Answer(answer["accepted"], answer["why"])

    def signed(self, text: str, key: str, signature: bytes, retained: bool = False) -> Answer:
        answer = self.ask({"signed": text, "key": key, "signature": signature.hex(), "retained": retained})
        return Answer(answer["accepted"], answer["why"])

    def status(self) -> dict[str, Any]:
        return self.ask({"ask": "status"})

    def events(self, after: int = 0) -> dict[str, Any]:
        """{"events": [...], "newest": number, "oldest": number, "lost": count}"""
        return self.ask({"ask": "events", "after": after})

    def acknowledge(self, number: int) -> None:
        self.ask({"acknowledge": number})

    def frames(self) -> Iterator[bytes]:
        """Each packed frame as it comes, until the guard ends. This connection can do nothing else afterwards."""
        self.ask({"ask": "frames"})
        while data := self._recv_frame():
            yield data

    def _recv_frame(self) -> bytes:
        try:
            return self._socket.recv(protocol.ANSWER_BYTES)
        except TimeoutError:
            raise NoGuard(f"the guard at {self.path} has stopped sending") from None
        except OSError:
            return b""
