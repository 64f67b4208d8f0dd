"""A rig and the few physical parts around it, as plain as can be: what core tests run against.

`Parts` is written from what contactors, a seal-in and a watchdog relay do, not from what the core does with them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

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
        delay_s=0.3,
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
        "roles": Roles(current=0, cell_temperature=1),
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
    has_second: bool = True
    seals_in: bool = True  # closes on the pulse and then holds itself; otherwise it follows `hold`
    last_edge_s: float = -1e9
    main: bool = False
    second: bool = False
    # broken ones
    main_welded: bool = False
    second_welded: bool = False
    main_pole_welded: bool = False  # one pole conducts on; armature and auxiliary contact move as they should
    second_pole_welded: bool = False
    relay_stuck: bool = False
    main_dead: bool = False  # never closes
    second_dead: bool = False
    relay_dead: bool = False
    seal_broken: bool = False  # falls open again when the pulse ends
    main_aux_lies: bool | None = None  # what it says, whatever the contact does
    second_aux_lies: bool | None = None
    relay_aux_lies: bool | None = None
    closings: list[float] = field(default_factory=list)  # of the path: both contactors closed
    pulses: int = 0

    def relay(self, now_s: float) -> bool:
        return not self.relay_dead and (self.relay_stuck or now_s - self.last_edge_s <= self.relay_s)

    def elapse(self, now_s: float) -> None:
        """Time passes in which nobody acts: without edges the relay drops both contactors."""
        self.last_edge_s = min(self.last_edge_s, now_s)  # the parts know nothing of a clock that steps back
        if not self.relay(now_s):
            self.main, self.second = self.main_welded, self.second_welded

    def advance(self, outputs: Outputs, now_s: float) -> None:
        was = self.path
        if outputs.edge:
            self.last_edge_s = now_s
        self.pulses += outputs.main_close
        fed = self.relay(now_s)
        held = outputs.main_close or (self.main and not self.seal_broken) or not self.seals_in
        self.main = self.main_welded or (fed and outputs.main_hold and held and not self.main_dead)
        self.second = self.second_welded or (fed and outputs.second and not self.second_dead)
        if self.path and not was:
            self.closings.append(now_s)

    @property
    def path(self) -> bool:
        main, second = self.main or self.main_pole_welded, self.second or self.second_pole_welded
        return main and (second or not self.has_second)

    def contacts(self, power: PowerPath, now_s: float) -> tuple[bool | None, bool | None, bool | None]:
        """What the auxiliary contacts of main, second and relay say, as far as they are wired."""
        told = (
            (power.main_contact, self.main_aux_lies, self.main),
            (power.second_contact and self.has_second, self.second_aux_lies, self.second),
            (power.relay_contact, self.relay_aux_lies, self.relay(now_s)),
        )
        main, second, relay = ((is_so if lie is None else lie) if wired else None for wired, lie, is_so in told)
        return main, second, relay


class Bench:
    """The core and its parts on a clock of its own; what the signals read may be set by name."""

    def __init__(self, rig_: Rig | None = None, start_s: float = 1000.0, latch: Latch | None = None) -> None:
        self.rig = rig_ or rig()
        self.now_s = start_s
        power = self.rig.power
        self.parts = Parts(power.watchdog_s, power.has_second, power.seal_in)
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
        self.well = True
        self.pins: tuple[bool | None, ...] = (False,) * len(PINS)
        self.fixed_current_a: float | None = None  # whatever flows or not
        self.supply_a: float | None = None  # what the supply gives into a closed path; None: what it is told

    @property
    def state(self) -> State:
        return self.memory.sequence.state

    def current_a(self) -> float:
        if self.fixed_current_a is not None:
            return self.fixed_current_a
        if not self.parts.path:
            return 0.0
        return self.outputs.setpoint_a if self.supply_a is None else self.supply_a

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
        self.parts.elapse(self.now_s)
        contacts = self.parts.contacts(self.rig.power, self.now_s)
        inputs = Inputs(self.readings(), self.pins, *contacts, self.on_disk, self.well)
        self.memory, self.outputs, events = step(self.rig, self.memory, inputs, commands, self.now_s)
        self.events.extend(events)
        self.parts.advance(self.outputs, self.now_s)
        self.pins = tuple(getattr(self.outputs, name) for name in PINS)
        if self.latch_delay():
            self.on_disk = self.memory.latch.number
        return self.outputs

    def ask(self, verb: Verb, source: Source = Source.LOCAL, **fields: Any) -> Event:
        """Give a command in one scan; returns its answer."""
        before = len(self.events)
        self.scan(Command(verb, source, **fields))
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

    def flows(self) -> bool:
        return self.parts.path

    def at(self, *states: State) -> bool:
        return self.state in states

    def said(self, what: Happened) -> list[str]:
        """Subjects of the events of one kind so far."""
        return [e.subject for e in self.events if e.what is what]

    @property
    def causes(self) -> list[str]:
        return [c.name for c in self.memory.latch.causes]

    def start(self) -> None:
        """From off to running."""
        self.run(1.0)
        answer = self.ask(Verb.START)
        assert answer.what is Happened.ACCEPTED, answer.detail
        self.until(lambda: self.state is State.RUNNING)
