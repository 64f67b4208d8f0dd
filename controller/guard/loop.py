"""The scan, ten times a second: read, decide, drive, read back, prove; then tell and listen.

Nothing in here waits for anybody. Clock and wait are arguments, so that a test runs the same loop on its own clock.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from contextlib import suppress
from typing import NamedTuple, Protocol

from controller.core.commands import Command, Source, Verb
from controller.core.events import Event, Happened
from controller.core.frame import pack
from controller.core.memory import Inputs, Memory
from controller.core.outputs import OFF, PINS, Outputs
from controller.core.rig import Rig
from controller.core.sequence import POWERED_STATES, State
from controller.core.signals import Reading
from controller.core.step import step
from controller.core.trips import Latch
from controller.guard.challenge import Challenges, Keys
from controller.guard.incidents import Incident
from controller.guard.post import Post
from controller.guard.protocol import event_as_dict
from controller.guard.ring import AFTER_S, EventRing, FrameRing
from controller.guard.sockets import Mail
from controller.guard.status import About, status, words
from controller.hardware.edges import PIN_ERRORS

END_WITHIN_S = 15.0  # an orderly end, current ramped down included
TOLD_DROPPED_EVERY_S = 10.0
_BUTTONS = {
    "start": Verb.START,
    "stop": Verb.STOP,
    "reset": Verb.RESET,
    "present": Verb.PRESENT,
    "silence": Verb.SILENCE,
    "confirm": Verb.CONFIRM,
}
_ENDED_STATES = frozenset(State) - POWERED_STATES - {State.CHECKING}


class Drives(Protocol):
    def write(self, outputs: Outputs) -> None: ...
    def edge(self) -> None: ...
    def read_back(self) -> tuple[bool | None, ...]: ...


class Hands(Protocol):
    """All that the loop asks of the hardware."""

    @property
    def drives(self) -> Drives: ...
    def read_all(self, now_s: float) -> tuple[Reading, ...]: ...
    def contacts(self) -> tuple[bool | None, bool | None, bool | None]: ...
    def presses(self, now_s: float) -> tuple[str, ...]: ...


class LatchKeeper(Protocol):
    @property
    def on_disk(self) -> int: ...
    def give(self, latch: Latch) -> None: ...


class Watched(Protocol):
    """The controller's own health."""

    @property
    def faults(self) -> tuple[str, ...]: ...
    @property
    def clock_synchronised(self) -> bool: ...


class Sockets(Protocol):
    def take(self) -> list[Mail]: ...
    def stream(self, frame: bytes) -> None: ...
    @property
    def dropped(self) -> dict[str, int]: ...
    @property
    def dropped_frames(self) -> int: ...


class IncidentKeeper(Protocol):
    def give(self, name: str, incident: Incident) -> None: ...


class Times(NamedTuple):
    """Three kinds of time. `now` is monotonic and counts through a suspend, which must look like the gap it is."""

    now: Callable[[], float]
    wait: Callable[[float], None]
    wall: Callable[[], float]  # Unix time, a label only


def real_times() -> Times:
    def now() -> float:
        return time.clock_gettime(time.CLOCK_BOOTTIME)

    return Times(now, time.sleep, time.time)


class Guard:
    """One rig's scan loop and what it keeps."""

    def __init__(
        self,
        rig: Rig,
        memory: Memory,
        hands: Hands,
        sockets: Sockets,
        latches: LatchKeeper,
        health: Watched,
        incidents: IncidentKeeper,
        scan_proof: Callable[[], None],
        keys: Keys,
        boot: str,
        rig_file: str,
        times: Times,
    ) -> None:
        self.rig, self.memory = rig, memory
        self._hands, self._sockets, self._latches = hands, sockets, latches
        self._health, self._incidents, self._scan_proof = health, incidents, scan_proof
        self._keys, self._boot, self._rig_file, self._times = keys, boot, rig_file, times
        self._pins: tuple[bool | None, ...] = (None,) * len(PINS)
        self._commands: list[Command] = []
        self._challenges = Challenges(boot)
        self.ring = EventRing()
        self._frames = FrameRing(rig.scan_s)
        self._post = Post(self._challenges, keys, self.ring, self._status, self._note)
        self.late_scans = 0
        self._dropped_told = 0
        self._dropped_told_s = memory.now_s
        self._incident: tuple[str, float] | None = None  # name and when its record is complete
        self._faults: tuple[str, ...] = ()

    def scan(self, planned_s: float) -> None:
        """One scan, due at `planned_s`."""
        commands, self._commands = self._commands, []
        inputs = self._read(commands)
        now_s = self._times.now()
        self.memory, outputs, events = step(self.rig, self.memory, inputs, commands, now_s)
        driven = self._drive(outputs)
        late_s = self._times.now() - planned_s  # again: between the last pin and the edge a process can be stopped
        late = late_s > self.rig.scan_s
        if outputs.edge and driven and not late:
            self._hands.drives.edge()
        self._latches.give(self.memory.latch)
        if not late:
            self._scan_proof()
        self._keep(inputs, commands, events)
        if late:
            self.late_scans += 1
            if outputs.edge:
                self._note(Happened.LATE_SCAN, "edge withheld", f"{late_s:.3f} s late")
        self._post.reply(events)
        self._commands += self._post.sort(self._sockets.take(), now_s)
        self._report(now_s)

    def _read(self, commands: list[Command]) -> Inputs:
        now_s = self._times.now()
        readings = self._hands.read_all(now_s)
        pressed = self._hands.presses(now_s)
        commands += [Command(_BUTTONS[name], Source.BUTTON) for name in pressed if name in _BUTTONS]
        return Inputs(
            readings,
            self._pins,
            *self._hands.contacts(),
            latch_on_disk=self._latches.on_disk,
            controller_well=not self._health.faults,
            clock_synchronised=self._health.clock_synchronised,
        )

    def _drive(self, outputs: Outputs) -> bool:
        """Whether every pin took its level. What a pin then reads goes into the next scan, whose core decides."""
        drives = self._hands.drives
        try:
            drives.write(outputs)
            written = True
        except PIN_ERRORS as error:
            written = False
            self._note(Happened.NOTE, "a pin cannot be written", str(error))
        pins = list(drives.read_back())
        self._pins = tuple(pins)
        return written

    def _keep(self, inputs: Inputs, commands: list[Command], events: tuple[Event, ...]) -> None:
        wall_s = self._times.wall()
        self._record(events)
        frame = pack(self.rig, self._boot, wall_s, inputs, commands, self.memory)
        self._frames.add(frame)
        self._sockets.stream(frame)
        for event in events:
            if event.what is Happened.TRIP and self._incident is None:
                stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(wall_s))
                self._incident = (f"{stamp}-{self._boot[:6]}-{event.number:06d}", self.memory.now_s + AFTER_S)
        if self._incident is not None and self.memory.now_s >= self._incident[1]:
            self.write_incident()

    def _record(self, events: tuple[Event, ...]) -> None:
        if events:
            self.ring.add(events, self._times.wall(), self._health.clock_synchronised)

    def _note(self, what: Happened, subject: str, detail: str = "", source: str = "") -> None:
        """An event of the shell's own, numbered among the core's."""
        self.memory = self.memory._replace(events=self.memory.events + 1)
        self._record((Event(self.memory.events, self.memory.now_s, what, subject, detail, source),))

    def _report(self, now_s: float) -> None:
        """What has changed around the guard, said once; what is too much to say one by one, now and then."""
        faults = self._health.faults
        if faults != self._faults:
            for fault in faults:
                if fault not in self._faults:
                    self._note(Happened.NOTE, "controller", fault)
            self._faults = faults
        dropped = sum(self._sockets.dropped.values()) + self._post.dropped
        if dropped > self._dropped_told and now_s - self._dropped_told_s >= TOLD_DROPPED_EVERY_S:
            self._note(Happened.NOTE, "messages dropped", f"{dropped - self._dropped_told} too many on the sockets")
            self._dropped_told, self._dropped_told_s = dropped, now_s

    def write_incident(self) -> None:
        """Hand the record around the last trip over, complete or cut short by the guard's end."""
        if self._incident is None:
            return
        name, due_s = self._incident
        self._incident = None
        events = [event_as_dict(kept) for kept in self.ring.after(0, len(self.ring))]
        causes = [cause.name for cause in self.memory.latch.causes]
        header = {
            "rig": self.rig.name,
            "rig_hash": self.rig.rig_hash,
            "rig_file": self._rig_file,
            "boot": self._boot,
            "trip_s": due_s - AFTER_S,
            "causes": causes,
            "scan_s": self.rig.scan_s,
            "written_at": self._times.wall(),
            "complete": self.memory.now_s >= due_s,
        }
        self._incidents.give(name, Incident(header, self._frames.all(), json.dumps(events).encode()))

    def _status(self) -> dict[str, object]:
        return status(self.rig, self.memory, self.about())

    def about(self) -> About:
        return About(
            boot=self._boot,
            rig_file=self._rig_file,
            time_s=self._times.wall(),
            clock_synchronised=self._health.clock_synchronised,
            challenge=self._challenges.newest(self._times.now()),
            faults=self._health.faults,
            late_scans=self.late_scans,
            dropped_frames=self._sockets.dropped_frames,
            dropped_messages=self._sockets.dropped | {"too many": self._post.dropped},
            lost_events=self.ring.lost,
            keys=self._keys.names,
            simulated=self.rig.simulated,
        )

    def sentence(self) -> str:
        causes = self.memory.latch.causes
        state = words(self.memory.sequence.state.name)
        return f"{self.rig.name}: {state}" + (f", {causes[0].name}" if causes else "")

    def run(self, ended: Callable[[], bool]) -> None:
        """Scans on absolute times until `ended`, then an orderly stop. Raises whatever a scan raises."""
        planned_s = self._times.now()
        end_by_s: float | None = None
        while True:
            self.scan(planned_s)
            now_s = self._times.now()
            if ended():
                if end_by_s is None:
                    end_by_s = now_s + END_WITHIN_S
                    self._commands.append(Command(Verb.STOP, Source.LOCAL, who="the guard is being ended"))
                elif self._off() or now_s >= end_by_s:
                    return
            missed = max(0, int((now_s - planned_s) / self.rig.scan_s))
            planned_s += (missed + 1) * self.rig.scan_s  # never two scans in a hurry to make up for one
            self._times.wait(max(0.0, planned_s - self._times.now()))

    def _off(self) -> bool:
        seq, outputs = self.memory.sequence, self.memory.outputs
        return seq.state in _ENDED_STATES and not seq.powered and not outputs.second

    def started(self, text: str) -> None:
        self._note(Happened.STARTED, "guard", text)

    def end(self) -> None:
        """After the last scan: everything off, and a latch that says it ended in order."""
        with suppress(*PIN_ERRORS):
            self._hands.drives.write(OFF)
        self.write_incident()
        latch = self.memory.latch
        if latch.starts_without_health:
            latch = latch._replace(number=latch.number + 1, starts_without_health=0)
            self.memory = self.memory._replace(latch=latch)
        self._latches.give(latch)
