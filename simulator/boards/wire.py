"""What goes between a guard and a bench in another process: one request, one answer, one datagram each.

Requests carry a number that the answer repeats, so that an answer which comes after its time is not taken for the next.
"""

from __future__ import annotations

import os
import struct
from enum import IntEnum
from typing import NamedTuple

PINS_SOCKET, EDGES_SOCKET, CONTROL_SOCKET = "pins", "edges", "control"
KERNEL_FOLDER = "sys"
LONGEST = 65536

_REQUEST = struct.Struct("<HBBBBd")  # number, what, first, second, size, value
_ANSWER = struct.Struct("<HH")  # number, errno (0: done)
_EDGE = struct.Struct("<dBB")  # stamp, pin, level


class Ask(IntEnum):
    BUSES = 0  # which I2C buses there are
    TRANSFER = 1  # bus, address, bytes to read; the rest is written (value 1.0: also when it is empty)
    CLAIM_IN = 2  # pin; the rest is the pull
    CLAIM_OUT = 3  # pin, level
    READ = 4  # pin
    WRITE = 5  # pin, level
    PULSE_WIDTH = 6  # pin; value is the share
    WATCH = 7  # pin
    UNWATCH = 8  # pin


class Request(NamedTuple):
    number: int
    ask: Ask
    first: int = 0
    second: int = 0
    size: int = 0
    value: float = 0.0
    rest: bytes = b""


class Edge(NamedTuple):
    stamp_s: float
    pin: int
    level: bool


def pack_request(request: Request) -> bytes:
    return _REQUEST.pack(*request[:6]) + request.rest


def unpack_request(data: bytes) -> Request:
    number, ask, first, second, count, value = _REQUEST.unpack_from(data)
    return Request(number, Ask(ask), first, second, count, value, data[_REQUEST.size :])


def pack_answer(number: int, code: int, rest: bytes = b"") -> bytes:
    return _ANSWER.pack(number, code) + rest


def unpack_answer(data: bytes) -> tuple[int, bytes]:
    """(number, rest). Raises RemoteError where the answer carries an error."""
    number, code = _ANSWER.unpack_from(data)
    rest = data[_ANSWER.size :]
    if code:
        raise RemoteError(number, code)
    return number, rest


class RemoteError(OSError):
    """What the bench's side raised, by its errno."""

    def __init__(self, number: int, code: int) -> None:
        super().__init__(code, os.strerror(code))
        self.number = number


def pack_edges(edges: list[Edge]) -> bytes:
    return b"".join(_EDGE.pack(*edge) for edge in edges)


def unpack_edges(data: bytes) -> list[Edge]:
    return [Edge(stamp_s, pin, bool(level)) for stamp_s, pin, level in _EDGE.iter_unpack(data)]
