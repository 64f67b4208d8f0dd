"""The guard's loop on a clock of its own, with the core tests' parts for a rig and lists for sockets and disk."""

from __future__ import annotations

import socket

from controller.core.memory import Memory, first
from controller.core.outputs import OFF, PINS, Outputs
from controller.core.rig import Rig
from controller.core.signals import Reading
from controller.core.trips import Latch
from controller.guard.challenge import Keys
from controller.guard.incidents import Incident
from controller.guard.loop import Guard, Times
from controller.guard.sockets import Mail, Peer
from tests.core.bench import Parts, rig

BOOT = "0123456789abcdef"


class Clock:
    """Moves when somebody waits, or when a test says so."""

    def __init__(self, now_s: float = 1000.0) -> None:
        self.now_s = now_s

    def now(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.now_s += seconds

    def wall(self) -> float:
        return 1_700_000_000.0 + self.now_s


class Drives:
    """Pins and parts. `stall_s` passes inside a write or just before an edge, as when a process is stopped there."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.parts = Parts()
        self.asked = OFF
        self.edges: list[float] = []
        self.stuck: dict[str, bool] = {}
        self.stall_in_write_s = 0.0
        self.broken: OSError | None = None

    def write(self, outputs: Outputs) -> None:
        self._clock.now_s += self.stall_in_write_s
        self.stall_in_write_s = 0.0
        if self.broken:
            raise self.broken
        self.asked = outputs
        self.move()

    def move(self) -> None:
        self.parts.advance(self.asked._replace(edge=False), self._clock.now_s)

    def edge(self) -> None:
        self.edges.append(self._clock.now_s)
        self.parts.advance(self.asked._replace(edge=True), self._clock.now_s)

    def read_back(self) -> tuple[bool | None, ...]:
        return tuple(self.stuck.get(name, getattr(self.asked, name)) for name in PINS)


class Hands:
    def __init__(self, rig_: Rig, clock: Clock) -> None:
        self._rig, self._clock = rig_, clock
        self.drives = Drives(clock)
        self.numbers: dict[str, float] = {
            "cell temperature": 20.0,
            "level hydrogen side": 1.0,
            "level oxygen side": 1.0,
            "stop chain": 1.0,
        }
        self.pressed: list[str] = []

    def read_all(self, now_s: float) -> tuple[Reading, ...]:
        self.drives.move()
        numbers = {
            "current": self.drives.asked.setpoint_a if self.drives.parts.path else 0.0,
            "coolant flow": 2.0 if self.drives.asked.coolant else 0.0,
        } | self.numbers
        return tuple(Reading(numbers[s.name], now_s) for s in self._rig.signals)

    def contacts(self) -> tuple[bool | None, bool | None, bool | None]:
        parts = self.drives.parts
        return parts.main, parts.second, parts.relay(self._clock.now_s)

    def presses(self, now_s: float) -> tuple[str, ...]:
        pressed, self.pressed = tuple(self.pressed), []
        return pressed


class Sockets:
    def __init__(self) -> None:
        self.mail: list[Mail] = []
        self.frames: list[bytes] = []
        self.dropped: dict[str, int] = {}
        self.dropped_frames = 0

    def take(self) -> list[Mail]:
        mail, self.mail = self.mail, []
        return mail

    def stream(self, frame: bytes) -> None:
        self.frames.append(frame)


class Latches:
    """A disk that is as quick as a test wants."""

    def __init__(self, on_disk: int) -> None:
        self.on_disk = on_disk
        self.given: list[Latch] = []
        self.stalled = False

    def give(self, latch: Latch) -> None:
        if not self.given or latch is not self.given[-1]:
            self.given.append(latch)
        if not self.stalled:
            self.on_disk = latch.number


class Health:
    faults: tuple[str, ...] = ()
    clock_synchronised = True


class Incidents:
    def __init__(self) -> None:
        self.given: dict[str, Incident] = {}

    def give(self, name: str, incident: Incident) -> None:
        self.given[name] = incident


class Desk:
    """A guard and everything around it."""

    def __init__(self, keys: Keys, rig_: Rig | None = None, memory: Memory | None = None) -> None:
        self.rig = rig_ or rig()
        self.clock = Clock()
        self.hands = Hands(self.rig, self.clock)
        self.sockets = Sockets()
        self.latches = Latches(1)
        self.health = Health()
        self.incidents = Incidents()
        self.proofs: list[float] = []
        memory = memory or first(self.rig, Latch(1, self.rig.rig_hash, powered=False), self.clock.now_s)
        self.guard = Guard(
            self.rig,
            memory,
            self.hands,
            self.sockets,
            self.latches,
            self.health,
            self.incidents,
            lambda: self.proofs.append(self.clock.now_s),
            keys,
            BOOT,
            "pretend.toml",
            Times(self.clock.now, self.clock.wait, self.clock.wall),
        )

    @property
    def state(self) -> str:
        return self.guard.memory.sequence.state.name

    @property
    def path_closed(self) -> bool:
        return self.hands.drives.parts.path

    def scan(self, times: int = 1) -> None:
        for _ in range(times):
            self.clock.now_s += self.rig.scan_s
            self.guard.scan(self.clock.now_s)

    def until(self, state: str, at_most_s: float = 120.0) -> None:
        for _ in range(round(at_most_s / self.rig.scan_s)):
            if self.state == state:
                return
            self.scan()
        raise AssertionError(f"{self.state}, not {state}, after {at_most_s} s: {self.said()[-5:]}")

    def said(self) -> list[tuple[str, str, str]]:
        return [(k.event.what.name, k.event.subject, k.event.detail) for k in self.guard.ring.after(0, 10_000)]


def pair() -> tuple[socket.socket, socket.socket]:
    """Two ends of a SEQPACKET connection: the guard's, and the other one."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    theirs.settimeout(5.0)
    return ours, theirs


class Line:
    """A peer of the guard and what it was answered."""

    def __init__(self, source: object) -> None:
        ours, self._theirs = pair()
        self.peer = Peer(ours, source)  # type: ignore[arg-type]

    def answer(self) -> bytes:
        return self._theirs.recv(200_000)

    def silent(self) -> bool:
        self._theirs.setblocking(False)
        try:
            return not self._theirs.recv(1)
        except BlockingIOError:
            return True
        finally:
            self._theirs.settimeout(5.0)

    def close(self) -> None:
        self.peer.close()
        self._theirs.close()
