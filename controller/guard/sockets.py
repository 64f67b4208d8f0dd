"""The guard's sockets: nobody who talks to it can delay a scan, crowd out a stop, or pass for somebody else.

No thread: after the heartbeat of each scan a bounded number of messages is taken in without waiting, and at most four
are given on: one from each door, and one more from each in turn. A few wait for the next scans; beyond those they are
counted and dropped. What may be a stop overtakes, and has a bucket of its own. Whoever does not read its answers is
let go.
"""

from __future__ import annotations

import os
import socket
import struct
from collections import deque
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

from controller.core.commands import Source
from controller.guard.protocol import MESSAGE_BYTES, SOCKETS, looks_like_stop

TAKEN_PER_SCAN = len(SOCKETS) + 1
STOPS_PER_SCAN = 2  # on each socket, besides
WAITING = 16  # on each socket
LOOKED_AT_PER_SCAN = 64  # on each socket, kept or dropped: a stop waits at most for the kernel's queue before it
CONNECTIONS = 8  # on each socket
ACCEPTED_PER_SCAN = 2  # on each socket
_CREDENTIALS = struct.Struct("3i")


class Peer:
    """One connection."""

    __slots__ = ("frames", "socket", "source")

    def __init__(self, connected: socket.socket, source: Source) -> None:
        self.socket: socket.socket | None = connected
        self.source = source
        self.frames = False

    def send(self, data: bytes) -> bool:
        """Whether it was taken; never waits. Lets go of a peer that is gone or does not read."""
        if self.socket is None:
            return False
        try:
            self.socket.send(data, socket.MSG_DONTWAIT | socket.MSG_NOSIGNAL)
        except OSError:
            self.close()
            return False
        return True

    def stream(self, data: bytes) -> bool:
        """As `send`, but a full queue costs the frame only."""
        if self.socket is None:
            return False
        try:
            self.socket.send(data, socket.MSG_DONTWAIT | socket.MSG_NOSIGNAL)
        except BlockingIOError:
            return False
        except OSError:
            self.close()
            return False
        return True

    def close(self) -> None:
        if self.socket is not None:
            self.socket.close()
            self.socket = None


class Mail(NamedTuple):
    peer: Peer
    data: bytes


class Admitted(NamedTuple):
    """Who may connect: by the kernel's word on the other end. Worked out at start; a look-up could wait."""

    users: frozenset[int]
    groups: frozenset[int]

    def admits(self, uid: int, gid: int) -> bool:
        return uid in self.users or gid in self.groups


class Door:
    """One listening socket and the connections that came through it."""

    def __init__(self, path: Path, source: Source, admitted: Admitted, mode: int) -> None:
        self.source = source
        self.path = path
        self._admitted = admitted
        self._peers: list[Peer] = []
        self._waiting: deque[Mail] = deque()
        self.refused = 0
        self.dropped = 0
        path.unlink(missing_ok=True)
        self._listening = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET | socket.SOCK_CLOEXEC)
        self._listening.setblocking(False)
        self._listening.bind(str(path))
        os.chmod(path, mode)
        self._listening.listen(CONNECTIONS)

    def _accept(self) -> None:
        for _ in range(ACCEPTED_PER_SCAN):
            try:
                connected, _ = self._listening.accept()
            except OSError:
                return
            connected.setblocking(False)
            raw = connected.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
            _, uid, gid = _CREDENTIALS.unpack(raw)
            if len(self._peers) < CONNECTIONS and self._admitted.admits(uid, gid):
                self._peers.append(Peer(connected, self.source))
            else:
                connected.close()
                self.refused += 1

    def _receive(self, peer: Peer) -> bytes | None:
        """One message, or None when there is none now. One byte over the limit tells that it was longer."""
        if peer.socket is None:
            return None
        try:
            data = peer.socket.recv(MESSAGE_BYTES + 1)
        except BlockingIOError:
            return None
        except OSError:
            data = b""
        if not data:
            peer.close()
            return None
        return data

    def take(self, at_most: int) -> tuple[list[Mail], list[Mail]]:
        """So many messages, and the stops found besides."""
        self._accept()
        stops: list[Mail] = []
        peers: deque[Peer] = deque(self._peers)
        looks = LOOKED_AT_PER_SCAN
        while peers and looks:  # one message of each connection in turn, so that none starves the others
            looks -= 1
            peer = peers.popleft()
            data = self._receive(peer)
            if data is None:
                continue
            peers.append(peer)
            if len(stops) < STOPS_PER_SCAN and looks_like_stop(data):
                stops.append(Mail(peer, data))
            elif len(self._waiting) < WAITING:
                self._waiting.append(Mail(peer, data))
            else:
                self.dropped += 1
        self._peers = [p for p in self._peers if p.socket is not None]
        return [self._waiting.popleft() for _ in range(min(at_most, len(self._waiting)))], stops

    def stream(self, frame: bytes) -> int:
        """To everybody who asked for frames; how many of them could not take it."""
        return sum(peer.frames and not peer.stream(frame) for peer in self._peers)

    def close(self) -> None:
        for peer in self._peers:
            peer.close()
        self._listening.close()
        self.path.unlink(missing_ok=True)


class Sockets:
    """All doors of the guard. Raises OSError when the run directory cannot be used."""

    def __init__(self, folder: Path, admitted: Callable[[Source], Admitted]) -> None:
        self._doors: list[Door] = []
        self._favoured = 0
        self.dropped_frames = 0
        try:
            for name, source in SOCKETS.items():
                self._doors.append(Door(folder / name, source, admitted(source), 0o660))
        except OSError:
            self.close()
            raise

    def take(self) -> list[Mail]:
        """What is to be answered now, stops first."""
        self._favoured = (self._favoured + 1) % len(self._doors)
        taken: list[Mail] = []
        stops: list[Mail] = []
        for at, door in enumerate(self._doors):
            some, urgent = door.take(2 if at == self._favoured else 1)
            taken += some
            stops += urgent
        return stops + taken

    def stream(self, frame: bytes) -> None:
        for door in self._doors:
            self.dropped_frames += door.stream(frame)

    @property
    def dropped(self) -> dict[str, int]:
        return {door.path.name: door.dropped for door in self._doors}

    @property
    def refused(self) -> int:
        return sum(door.refused for door in self._doors)

    def close(self) -> None:
        for door in self._doors:
            door.close()


def admitted_users(own_uid: int, users: Iterable[str], groups: Iterable[str]) -> Admitted:
    """Root, the guard's own user, and those named that this machine knows."""
    import grp
    import pwd

    known_users = {p.pw_name: p.pw_uid for p in pwd.getpwall()}
    known_groups = {g.gr_name: g.gr_gid for g in grp.getgrall()}
    return Admitted(
        frozenset({0, own_uid, *(known_users[u] for u in users if u in known_users)}),
        frozenset(known_groups[g] for g in groups if g in known_groups),
    )
