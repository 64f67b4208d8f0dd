"""The guard's socket with the real core behind it, on a clock that runs as fast as it is asked to."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections import deque
from contextlib import suppress
from pathlib import Path

from controller.core.commands import Command, Source
from controller.core.events import Event, Happened
from controller.core.frame import pack
from controller.core.memory import Inputs
from controller.guard import protocol
from controller.guard.protocol import Kept, event_as_dict
from tests.core.bench import Bench

BOOT = "00112233aabbccdd"


class StandIn:
    """Scans in real time, streams frames, answers questions and does what the link's socket may ask."""

    def __init__(self, path: Path, bench: Bench, scan_s: float = 0.01, dt_s: float = 0.1) -> None:
        """scan_s: real time between two scans; dt_s: the guard's own."""
        self.bench = bench
        self.asked: list[protocol.Request] = []
        self.acknowledged = 0
        self._challenge = 1
        self.boot = BOOT
        self._began_wall_s = time.time() - bench.now_s  # the wall clock runs as fast as the bench's own
        self._kept: list[Kept] = []
        self._frames: deque[bytes] = deque(maxlen=2000)
        self._lock = threading.Lock()
        self._scan_s, self._dt_s = scan_s, dt_s
        self._streams: list[socket.socket] = []
        self._peers: list[socket.socket] = []
        self._ended = threading.Event()
        self._door = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._door.bind(str(path))
        self._door.listen()
        self._scanning = threading.Thread(target=self._scan, daemon=True)
        self._scanning.start()
        threading.Thread(target=self._welcome, daemon=True).start()

    def _scan(self) -> None:
        while not self._ended.wait(self._scan_s):
            with self._lock:
                self._one_scan()

    def _one_scan(self, *commands: Command) -> None:
        bench, before = self.bench, len(self.bench.events)
        bench.scan(*commands, dt_s=self._dt_s)
        self._kept += [Kept(e, self.wall_s, True) for e in bench.events[before:]]
        contacts = (bench.parts.main, bench.parts.second, None)
        inputs = Inputs(bench.readings(), bench.pins, *contacts, bench.on_disk, clock_synchronised=True)
        frame = pack(bench.rig, self.boot, self.wall_s, inputs, commands, bench.memory)
        self._frames.append(frame)
        for stream in list(self._streams):
            try:
                stream.send(frame, socket.MSG_DONTWAIT)
            except OSError:
                continue

    @property
    def wall_s(self) -> float:
        return self._began_wall_s + self.bench.now_s

    def ask(self, command: Command) -> Event:
        with self._lock:
            before = len(self.bench.events)
            self._one_scan(command)
            answers = (Happened.ACCEPTED, Happened.REFUSED)
            return next(e for e in self.bench.events[before:] if e.what in answers)

    def put_back(self, seconds: float) -> None:
        """The wall clock, from now on."""
        self._began_wall_s -= seconds

    def pace(self, scan_s: float) -> None:
        """From now on so much real time between two scans."""
        self._scan_s = scan_s

    def renew(self) -> None:
        """A new challenge, as the guard makes each second."""
        self._challenge += 1

    def frames(self, newest: int) -> list[bytes]:
        with self._lock:
            return list(self._frames)[-newest:]

    @property
    def events(self) -> list[Event]:
        return list(self.bench.events)

    def _welcome(self) -> None:
        while True:
            try:
                peer, _ = self._door.accept()
            except OSError:
                return
            self._peers.append(peer)
            threading.Thread(target=self._serve, args=(peer,), daemon=True).start()

    def _serve(self, peer: socket.socket) -> None:
        while data := self._heard(peer):
            try:
                request = protocol.parse(data)
            except protocol.NotUnderstood as error:
                peer.send(protocol.dumps({"error": str(error), "id": error.ident}))
                continue
            self.asked.append(request)
            with suppress(OSError):  # the link ended before it heard
                peer.send(protocol.dumps(self._answer(peer, request)))

    @staticmethod
    def _heard(peer: socket.socket) -> bytes:
        try:
            return peer.recv(protocol.MESSAGE_BYTES + 1)
        except OSError:
            return b""

    def _answer(self, peer: socket.socket, request: protocol.Request) -> dict[str, object]:
        match request:
            case protocol.Ask(_, "frames", _):
                self._streams.append(peer)
                return {}
            case protocol.Ask(_, "events", after):
                with self._lock:
                    kept = [k for k in self._kept if k.event.number > after][: protocol.EVENTS_AT_ONCE]
                return {"events": [event_as_dict(k) for k in kept], "newest": len(self._kept), "oldest": 1, "lost": 0}
            case protocol.Ask():
                return {
                    "boot": self.boot,
                    "challenge": f"boot-{self._challenge}-x",
                    "dropped_frames": 0,
                    "late_scans": 0,
                }
            case protocol.Acknowledge(_, number):
                self.acknowledged = max(self.acknowledged, number)
                return {}
            case protocol.Do():
                answer = self.ask(
                    Command(
                        request.verb,
                        Source.LINK,
                        number=request.number,
                        text=request.text,
                        who=request.who,
                        seconds=request.seconds,
                        charge_c=request.charge_c,
                        retained=request.retained,
                    )
                )
                return {"accepted": answer.what is Happened.ACCEPTED, "why": answer.detail}
            case _:
                text = json.loads(request.text)
                return {"accepted": False, "why": f"{text['do']} is not enrolled here"}

    def close(self) -> None:
        self._ended.set()
        self._scanning.join(3.0)
        for listening in (self._door, *self._peers):
            with suppress(OSError):  # the other end may have gone first
                listening.shutdown(socket.SHUT_RDWR)
            listening.close()
