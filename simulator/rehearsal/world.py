"""One rig, one bench and one guard on a virtual clock: what a rehearsal plays in.

Two levels. `drivers`: the guard's loop reads through the real drivers from emulated chips. `signals`: the same loop
gets what those would have read, without them. Everything else is one and the same code.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from enum import Enum
from functools import lru_cache
from random import Random
from typing import Any, NamedTuple

from controller.config.load import CompiledRig
from controller.core.commands import Source
from controller.core.events import Event
from controller.core.memory import first
from controller.core.rig import Grade
from controller.core.sequence import State
from controller.core.signals import Reading
from controller.guard.loop import Times
from controller.guard.ring import FrameRing
from controller.hardware.instruments import Instruments, SlowGroup
from simulator.boards.clock import VirtualClock
from simulator.boards.physics import looked_at
from simulator.boards.wiring import Wiring
from simulator.faults.active import Active
from simulator.faults.kinds import CONTROLLER, POST
from simulator.plant.inputs import RUN30
from simulator.plant.parameters import Parameters
from simulator.plant.start import cold_start, steady_state
from simulator.plant.state import State as PlantState
from simulator.rehearsal.quick import QuickBench
from simulator.rehearsal.quick_instruments import QuickInstruments
from simulator.rehearsal.virtual import (
    FRIEND,
    Incidents,
    LeanGuard,
    ListenedGuard,
    Mailbox,
    VirtualDisk,
    VirtualHealth,
    VirtualKeys,
    signature,
)
from simulator.whole import PlantBehind, WholeBench

BEGIN_S = 1000.0
WALL_S = 1_790_000_000.0  # a label; any other would do
BOOT = "00000000000000aa"
PRESS_EVERY_S = 300.0
SETTLE_S = 5.0
START_AT_MOST_S = 180.0
LOOK_S = 4.0  # until everything has been read once
COLD_C = 25.0  # of a plant that is to be run up: every rig may start from there
LATE_SHARE = 0.3  # of the scans, while memory is short


class Level(Enum):
    SIGNALS = "signals"
    DRIVERS = "drivers"


class Physical(NamedTuple):
    """A rig and what stands behind it."""

    rig: CompiledRig
    wiring: Wiring
    parameters: Parameters
    note: str = ""  # where the bench had to be worked out from the rig file


class CannotStart(RuntimeError):
    """The rig does not get to the state that the scenario begins in; says what it said."""


@lru_cache(maxsize=64)
def settled(parameters: Parameters, current_a: float, ambient_c: float) -> PlantState:
    """The plant after hours at this current."""
    return steady_state(parameters, RUN30._replace(setpoint_a=current_a, ambient_c=ambient_c))


def with_less_water(parameters: Parameters, used_g: float) -> Parameters:
    """The same plant after so much of its water has been split."""
    y = parameters.hydraulics
    left_kg = y.lye_kg - 0.001 * used_g
    y = replace(y, lye_kg=left_kg, mass_fraction=y.mass_fraction * y.lye_kg / left_kg)
    return replace(parameters, hydraulics=y)


def allowed_a(rig: CompiledRig) -> float:
    """The largest current the rig's grade allows."""
    return rig.core.most_a


class World:
    """`through`: parts that are broken below their sensor in this rehearsal, and go through their drivers."""

    def __init__(
        self,
        physical: Physical,
        level: Level,
        seed: int,
        current_a: float,
        ambient_c: float = 20.0,
        lye_c: float = COLD_C,
        through: frozenset[str] = frozenset(),
        attended: bool = True,
        frames: bool | None = None,
    ) -> None:
        self.rig, self.level, self.current_a = physical.rig, level, current_a
        self.clock = VirtualClock(BEGIN_S)
        self.behind = PlantBehind(physical.parameters, cold_start(physical.parameters, lye_c), current_a)
        self.behind.surroundings = self.behind.surroundings._replace(ambient_c=ambient_c)
        self.bench: WholeBench
        if level is Level.SIGNALS:
            self.bench = QuickBench(physical.wiring, self.clock, seed, self.behind, through)
        else:
            self.bench = WholeBench(physical.wiring, self.clock, seed, behind=self.behind)
        self.ambient_c = ambient_c
        self.noise = Random(f"{seed} world")
        self.active = Active(self.bench, seed, self._elsewhere)
        self.disk = VirtualDisk(self.rig.core, self.clock)
        self.health = VirtualHealth(self.bench.kernel, self.disk)
        self.incidents = Incidents()
        self.mailbox = Mailbox()
        self.wall_off_s = WALL_S - BEGIN_S
        self.heard: list[tuple[int, Event]] = []  # scan and event
        self.scans = 0
        self.planned_s = BEGIN_S
        self._graves: list[Any] = []  # of dead processes: their pins must not be closed by a garbage collector
        self.died_s: list[float] = []
        self._stall_s = 0.0
        self._late_s = 0.0
        self._back_s: float | None = None
        self._frames = level is Level.DRIVERS if frames is None else frames
        self._press_s = BEGIN_S if attended and self.rig.core.grade is Grade.ATTENDED else float("inf")
        self.guard: ListenedGuard | None = None
        self.hands: Instruments
        self._boot()

    # --- the process

    def _boot(self) -> None:
        now_s = self.clock.now_s
        if isinstance(self.bench, QuickBench):
            self.bench.forget()
            self.hands = QuickInstruments(self.rig.hardware, self.bench, self.clock)
        else:
            self.hands = Instruments(self.rig.hardware, self.bench.ports(), self.clock, self.clock.wait)
        latch = self.disk.start(now_s)
        guard_kind = ListenedGuard if self._frames else LeanGuard
        self.guard = guard_kind(
            self.rig.core,
            first(self.rig.core, latch, now_s),
            self.hands,
            self.mailbox,
            self.disk,
            self.health,
            self.incidents,
            lambda: None,
            VirtualKeys(),
            BOOT,
            "rehearsal",
            Times(self.clock, self.clock.wait, lambda: self.clock.now_s + self.wall_off_s),
        )
        self.guard.heard = self._hear
        self.planned_s = now_s

    def _hear(self, events: tuple[Event, ...]) -> None:
        scan = self.scans
        self.heard.extend((scan, event) for event in events)

    def _die(self) -> None:
        self.died_s.append(self.clock.now_s)
        self._graves.append((self.guard, self.hands))
        self.guard = None
        self.bench.board.process_died()

    def close(self) -> None:
        if self.guard is not None:
            self.hands.close()

    # --- time

    @property
    def state(self) -> State | None:
        return None if self.guard is None else self.guard.memory.sequence.state

    def scan(self, happen: Callable[[], None] | None = None) -> None:
        """One scan of the guard, or the time of one without a guard.

        happen: what the scenario does now, once the bench stands at this time and before the guard looks at it.
        """
        clock, bench, scan_s = self.clock, self.bench, self.rig.core.scan_s
        planned_s = self.planned_s
        if planned_s > clock.now_s:
            clock.now_s = planned_s
        self.scans += 1
        bench.advance(clock.now_s)
        self.active.update(clock.now_s)
        if happen is not None:
            happen()
        if self._back_s is not None and self.guard is None and clock.now_s >= self._back_s:
            self._back_s = None
            self._boot()
        guard = self.guard
        if guard is None:
            self.planned_s = planned_s + scan_s
            return
        if self._stall_s > 0.0:
            self._stall()
        elif self._late_s > 0.0 and self.noise.random() < LATE_SHARE:
            clock.now_s += self._late_s
        self.health.look(clock.now_s)
        if planned_s >= self._press_s:
            self._press_s = planned_s + PRESS_EVERY_S
            self.mailbox.post(Source.LOCAL, {"do": "present"})
        for group in self.hands._slow.values():
            if group._arrives is None or clock.now_s >= group._arrives[0]:
                self._read_slowly(group)
        guard.scan(planned_s)
        late_s = clock.now_s - planned_s
        missed = int(late_s / scan_s) if late_s >= scan_s else 0
        self.planned_s = planned_s + (missed + 1) * scan_s

    def _read_slowly(self, group: SlowGroup) -> None:
        """What the group's threads have done meanwhile, at their own times."""
        now_s = self.clock.now_s
        while True:
            due_s = now_s if group._arrives is None else max(group._arrives[0], now_s - group.one_takes_s)
            if due_s > now_s:
                break
            self.clock.now_s = due_s
            group.step(due_s)
            if group._arrives is None:
                break
        self.clock.now_s = now_s

    def _stall(self) -> None:
        """The process stands still while the world goes on."""
        until_s = self.clock.now_s + self._stall_s
        self._stall_s = 0.0
        while self.clock.now_s < until_s - 1e-9:
            self.clock.now_s = min(until_s, self.clock.now_s + self.rig.core.scan_s)
            self.bench.advance(self.clock.now_s)
            self.active.update(self.clock.now_s)

    # --- starting

    def run_up(self, at: PlantState | None = None, water_used_g: float = 0.0) -> None:
        """From off to running as if for hours: a start like any other, on a cold plant, then the settled plant.

        water_used_g: since the level was last seen.
        """
        for _ in range(round(LOOK_S / self.rig.core.scan_s)):
            self.scan()
        self.ask("start", number=self.current_a)
        self._until(State.VENTING)
        assert self.guard is not None
        memory = self.guard.memory
        flushed = memory.run._replace(vented_c=max(memory.run.vented_c, self.rig.core.vent_charge_c))
        self.guard.memory = memory._replace(run=flushed)
        self._until(State.RUNNING)
        parameters = with_less_water(self.behind.parameters, water_used_g)
        self.settle_at(at or settled(parameters, self.current_a, self.ambient_c))
        for _ in range(round(SETTLE_S / self.rig.core.scan_s)):
            self.scan()
        latch = self.guard.memory.latch
        latch = latch._replace(water_used_g=latch.water_used_g + water_used_g)
        self.guard.memory = self.guard.memory._replace(latch=latch)
        self.guard._frames = FrameRing(self.rig.core.scan_s)  # the record begins after the memory was set
        if self.state is not State.RUNNING:
            raise CannotStart(f"it starts, but does not go on: {self._last_words()}")

    def _until(self, state: State) -> None:
        for _ in range(round(START_AT_MOST_S / self.rig.core.scan_s)):
            if self.state is state or self.state is State.RUNNING:
                return
            self.scan()
        raise CannotStart(f"it does not start: {self._last_words()}")

    def _last_words(self) -> str:
        return "; ".join(f"{e.what.name.lower()} {e.subject} {e.detail}".strip() for _, e in self.heard[-4:])

    def settle_at(self, state: PlantState) -> None:
        """The plant is in this state, and everybody has been looking at it for long."""
        assert self.guard is not None
        self.behind.state = state
        shown = self.behind.shown()
        bench, hands, memory = self.bench, self.hands, self.guard.memory
        for signal, sensor in bench.sensors.items():
            sensor._follows = None
            sensor.advance(looked_at(shown, bench._follows[signal]), bench.now_s, 0.0)
        values = list(memory.values)
        for group in hands._slow.values():
            group._arrives = None
            group._reading_since_s.clear()
            for at, reader in group._readers.items():
                reading = reader.read_once()
                hands._latest[at] = reading
                values[at] = _as_seen(values[at], reading)
        self.guard.memory = memory._replace(values=tuple(values))

    # --- people and programs

    def ask(self, command: str, source: Source = Source.LOCAL, **given: Any) -> None:
        """A message through the socket that gives it this source; buttons are pressed."""
        message = {"do": command} | {k: v for k, v in given.items() if v not in (None, "", False)}
        if source is Source.BUTTON:
            self._press_of(command)
        elif source is Source.REMOTE:
            self._sign(message, FRIEND)
        else:
            self.mailbox.post(source, message)

    def _sign(self, message: dict[str, Any], key: str, challenge: str | None = None, good: bool = True) -> bytes | None:
        if self.guard is None:
            return None
        if challenge is None:
            challenge = str(self.guard.about().challenge)
        text = json.dumps(message | {"challenge": challenge})
        given = signature(text if good else text + " ")
        self.mailbox.post(Source.LINK, {"signed": text, "key": key, "signature": given.hex()})
        return self.mailbox.mail[-1].data

    def _press_of(self, command: str) -> None:
        switch = dict(self.rig.hardware.buttons).get(command)
        contact = switch and next((c for c in self.bench.wiring.contact if c.pin == switch.pin), None)
        if not contact:
            raise ValueError(f"this rig has no button for {command}")
        self.press(contact.signal)

    def press(self, button: str, seconds: float = 0.3) -> None:
        self.bench.press(button, seconds)
        if isinstance(self.hands, QuickInstruments):
            self.hands.pressed_until_s = self.clock.now_s + seconds + 1.0

    # --- faults beyond the bench

    def _elsewhere(self, target: str, kind: str, amount: float, begins: bool) -> None:
        if target == CONTROLLER:
            self._controller(kind, amount, begins)
        elif target == POST and begins:
            self._somebody(kind, amount)
        # faults of the link reach nothing here: that they do not is what a rehearsal of them shows

    def _controller(self, kind: str, amount: float, begins: bool) -> None:
        match kind:
            case "stall" if begins:
                self._stall_s = amount
            case "late":
                self._late_s = amount if begins else 0.0
            case "kill" if begins and self.guard is not None:
                self._back_s = self.clock.now_s + amount
                self._die()
            case "clock" if begins:
                self.wall_off_s += amount
            case "disk_full" | "disk_read_only":
                words = "full: 0 MB free, 16 needed" if kind == "disk_full" else "read-only"
                self.disk.trouble = f"the disk of /var/lib/lyewatch is {words}" if begins else ""
            case "disk_stall" if begins:
                self.disk.slow_until_s = self.clock.now_s + amount

    def _somebody(self, kind: str, amount: float) -> None:
        start = {"do": "start", "seconds": 3600.0}
        match kind:
            case "flood":
                for _ in range(int(amount)):
                    self.mailbox.post(Source.LINK, {"do": "silence"})
            case "forged":
                self._sign(start, "stranger")
                self._sign(start, FRIEND, good=False)
            case "stale":
                self._sign(start, FRIEND, challenge=f"{BOOT}-1-{'0' * 24}")
            case "repeated":
                data = self._sign({"do": "silence"}, FRIEND)
                if data is not None:
                    for _ in range(3):
                        self.mailbox.mail.append(self.mailbox.mail[-1]._replace(data=data))
            case "retained":
                self.mailbox.post(Source.LOCAL, start | {"retained": True})
                self.mailbox.post(Source.LINK, {"do": "stop", "retained": True})

    @property
    def powered(self) -> bool:
        """Whether current can flow, by the bench's word."""
        return self.bench.power.closed


def _as_seen(value: Any, reading: Reading) -> Any:
    if reading.number is None:
        return value
    return value._replace(number=reading.number, good_number=reading.number)
