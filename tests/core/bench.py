"""A rig and the few physical parts around it, as plain as can be: what core tests run against.

`Parts` is written from what contactors, a seal-in and a watchdog relay do, not from what the core does with them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from controller.core.commands import Command, Source, Verb
from controller.core.events import Event, Happened
from controller.core.limits import Arming, Effect, Limit, TripKind
from controller.core.memory import Inputs, Memory, first
from controller.core.outputs import OFF, PINS, Outputs
from controller.core.rig import Grade, PowerPath, Rig, Roles, Supply, Timing
from controller.core.sequence import State
from controller.core.signals import Code, Reading, Signal
from controller.core.step import step
from controller.core.trips import Latch

SIGNALS = (
    Signal(
        "current", "Current", "A", "current", 0.1, -60.0, 60.0, -51.198, 51.198, normal=30.0, device="converter 0x48"
    ),
    Signal(
        "cell temperature",
        "Cell temperature",
        "C",
        "temperature",
        1.0,
        -20.0,
        110.0,
        normal=55.0,
        device="1-Wire",
        window_scans=150,
    ),
    Signal("level hydrogen side", "Level, hydrogen side", "share", "switch", 0.1, 0.0, 1.0),
    Signal("level oxygen side", "Level, oxygen side", "share", "switch", 0.1, 0.0, 1.0),
    Signal("coolant flow", "Coolant flow", "L/min", "flow", 0.1, 0.0, 30.0, normal=2.0),
    Signal("stop chain", "Stop chain", "share", "switch", 0.1, 0.0, 1.0),
)
LIMITS = (
    Limit(
        "over-temperature",
        "Lye too hot",
        (1,),
        70.0,
        True,
        Effect.TRIP,
        Arming.ALWAYS,
        deadband=2.0,
        delay_s=2.0,
        grace_s=5.0,
    ),
    Limit(
        "level low hydrogen side",
        "Level low, hydrogen side",
        (2,),
        0.5,
        False,
        Effect.TRIP,
        delay_s=3.0,
        is_switch=True,
    ),
    Limit(
        "level low oxygen side", "Level low, oxygen side", (3,), 0.5, False, Effect.TRIP, delay_s=3.0, is_switch=True
    ),
    Limit("coolant flow low", "Coolant flow lost", (4,), 0.8, False, Effect.TRIP, delay_s=5.0, proving=True),
    Limit(
        "over-current",
        "Too much current",
        (0,),
        35.0,
        True,
        Effect.TRIP,
        kind=TripKind.LOCAL,
        magnitude=True,
        delay_s=1.0,
        settle_s=0.2,
    ),
    Limit(
        "short", "Short circuit", (0,), 45.5, True, Effect.TRIP, kind=TripKind.LOCK_OUT, magnitude=True, settle_s=0.2
    ),
    Limit("reversed", "Leads swapped", (0,), -1.0, False, Effect.TRIP, kind=TripKind.LOCK_OUT, settle_s=0.2),
    Limit(
        "current while off",
        "Current while off",
        (0,),
        0.5,
        True,
        Effect.TRIP,
        Arming.OPENED,
        TripKind.LOCK_OUT,
        magnitude=True,
    ),
    Limit("no current", "No current", (0,), 2.0, False, Effect.TRIP, settle_s=20.0, delay_s=5.0),
    Limit("minimum current", "Under the minimum current", (0,), 9.0, False, Effect.STOP, settle_s=20.0, delay_s=60.0),
    Limit("stop chain", "Stop button", (5,), 0.5, False, Effect.TRIP, Arming.ALWAYS, TripKind.LOCAL, is_switch=True),
    Limit(
        "over-temperature warn", "Lye warm", (1,), 60.0, True, Effect.ALARM, Arming.ALWAYS, deadband=1.0, delay_s=2.0
    ),
)


def rig(**changes: object) -> Rig:
    """A rig with the four protective quantities and a stop chain; keywords replace fields of Rig."""
    fields: dict[str, object] = {
        "name": "pretend",
        "rig_hash": "0" * 16,
        "scan_s": 0.1,
        "signals": SIGNALS,
        "limits": LIMITS,
        "roles": Roles(current=0, cell_temperature=1, coolant_flow=4),
        "power": PowerPath(),
        "supply": Supply(kind="settable", rated_a=30.0, minimum_a=9.0, start_lag_s=0.5),
        "timing": Timing(
            proving_s=15.0, proven_for_s=2.0, ramp_s=5.0, off_at_least_s=0.0, starts_per_hour=1000, cooled_c=45.0
        ),
        "grade": Grade.UNATTENDED,
        "vent_charge_c": 300.0,
        "permitted": frozenset({(Verb.START, Source.REMOTE), (Verb.START, Source.PLAN)}),
        "cells": 3,
    }
    fields.update(changes)
    return Rig(**fields)  # type: ignore[arg-type]


@dataclass
class Parts:
    """Relay, contactors and a supply that follows its set-point at once. Times in seconds."""

    relay_s: float = 1.0
    last_edge_s: float = -1e9
    main: bool = False
    second: bool = False
    main_welded: bool = False
    second_welded: bool = False
    relay_stuck: bool = False
    seals_in: bool = True
    main_aux_lies: bool | None = None
    closings: list[float] = field(default_factory=list)  # of the path: both contactors closed

    def relay(self, now_s: float) -> bool:
        return self.relay_stuck or now_s - self.last_edge_s <= self.relay_s

    def advance(self, outputs: Outputs, now_s: float) -> None:
        if outputs.edge:
            self.last_edge_s = now_s
        was = self.path
        fed = self.relay(now_s)
        sealed = outputs.main_close or self.main or not self.seals_in
        self.main = self.main_welded or (fed and outputs.main_hold and sealed)
        self.second = self.second_welded or (fed and outputs.second)
        if self.path and not was:
            self.closings.append(now_s)

    @property
    def path(self) -> bool:
        return self.main and self.second


class Bench:
    """The core and its parts on a clock of its own. `world` may change any reading before it is given."""

    def __init__(self, rig_: Rig | None = None, start_s: float = 1000.0, latch: Latch | None = None) -> None:
        self.rig = rig_ or rig()
        self.now_s = start_s
        self.parts = Parts()
        self.memory: Memory = first(self.rig, latch or Latch(1, self.rig.rig_hash, False), start_s)
        self.outputs = OFF
        self.events: list[Event] = []
        self.numbers: dict[str, float | None] = {
            "current": None,  # None: follows the supply
            "cell temperature": 20.0,
            "level hydrogen side": 1.0,
            "level oxygen side": 1.0,
            "coolant flow": None,  # None: follows the valve
            "stop chain": 1.0,
        }
        self.codes: dict[str, Code] = {}
        self.stamps: dict[str, float] = {}
        self.latch_delay: Callable[[], bool] = lambda: True
        self.on_disk = self.memory.latch.number
        self.pins: tuple[bool | None, ...] = (False,) * len(PINS)
        self.fixed_current_a: float | None = None

    @property
    def state(self) -> State:
        return self.memory.sequence.state

    def current_a(self) -> float:
        if self.fixed_current_a is not None:
            return self.fixed_current_a
        return self.outputs.setpoint_a if self.parts.path else 0.0

    def readings(self) -> tuple[Reading, ...]:
        out = []
        for signal in self.rig.signals:
            number = self.numbers.get(signal.name)
            if signal.name == "current" and number is None:
                number = self.current_a()
            if signal.name == "coolant flow" and number is None:
                number = 2.0 if self.outputs.coolant else 0.0
            stamp_s = self.stamps.get(signal.name, self.now_s - 0.01)
            out.append(Reading(number, stamp_s, self.codes.get(signal.name, Code.OK)))
        return tuple(out)

    def scan(self, *commands: Command, dt_s: float = 0.1) -> Outputs:
        self.now_s += dt_s
        aux = self.parts.main if self.parts.main_aux_lies is None else self.parts.main_aux_lies
        inputs = Inputs(self.readings(), self.pins, aux, self.parts.second, self.parts.relay(self.now_s), self.on_disk)
        self.memory, self.outputs, events = step(self.rig, self.memory, inputs, commands, self.now_s)
        self.events.extend(events)
        self.parts.advance(self.outputs, self.now_s)
        self.pins = tuple(getattr(self.outputs, name) for name in PINS)
        if self.latch_delay():
            self.on_disk = self.memory.latch.number
        return self.outputs

    def ask(self, verb: Verb, source: Source = Source.LOCAL, **fields: object) -> Event:
        """Give a command in one scan; returns its answer."""
        before = len(self.events)
        self.scan(Command(verb, source, **fields))  # type: ignore[arg-type]
        return next(e for e in self.events[before:] if e.what in (Happened.ACCEPTED, Happened.REFUSED))

    def until(self, reached: Callable[[], bool], at_most_s: float = 120.0) -> float:
        """Scan until it is so; seconds it took. Fails the test when it never is."""
        start_s = self.now_s
        while not reached():
            assert self.now_s - start_s < at_most_s, f"not within {at_most_s} s; {self.state.name}, {self.events[-6:]}"
            self.scan()
        return self.now_s - start_s

    def run(self, for_s: float) -> None:
        for _ in range(round(for_s / 0.1)):
            self.scan()

    def start(self) -> None:
        """From off to running."""
        self.run(1.0)
        answer = self.ask(Verb.START)
        assert answer.what is Happened.ACCEPTED, answer.detail
        self.until(lambda: self.state is State.RUNNING)
