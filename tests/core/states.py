"""Benches in the state that a test begins from, and parts that are broken."""

from __future__ import annotations

import copy
from collections.abc import Callable
from functools import cache
from typing import Any

from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.sequence import Check, State
from tests.core.bench import LIMITS, Bench, rig
from tests.core.rigs import with_limit

GRANTS = frozenset(
    {(Verb.START, Source.PLAN)} | {(verb, Source.REMOTE) for verb in (Verb.START, Verb.RESET, Verb.SET_CURRENT)}
)
BYPASSABLE = with_limit("coolant flow low", bypassable=True)
RIG = rig(permitted=GRANTS, limits=BYPASSABLE)
FLOW = next(at for at, limit in enumerate(LIMITS) if limit.name == "coolant flow low")


@cache
def _in(state: State) -> Bench:
    bench = Bench(RIG, start_s=1e6)
    bench.numbers["cell temperature"] = 48.0  # warm, so that cooling lasts
    bench.run(1.0)
    match state:
        case State.SERVICE:
            bench.ask(Verb.SERVICE, text="plug pulled")
        case State.OUT_OF_SERVICE:
            bench.ask(Verb.HOLD, who="Jo", text="gasket")
        case State.OFF:
            pass
        case _:
            bench.ask(Verb.START)
            if state in (State.CHECKING, State.RAMPING, State.VENTING):
                bench.until(lambda: bench.at(state))
            else:
                bench.until(lambda: bench.at(State.RUNNING))
    match state:
        case State.STOPPING:
            bench.ask(Verb.STOP, Source.PLAN)
        case State.COOLING:
            bench.ask(Verb.STOP, Source.PLAN)
            stopped(bench)
        case State.TRIPPED:
            bench.numbers["level oxygen side"] = 0.0
            bench.until(lambda: bench.at(State.TRIPPED))
            bench.numbers["level oxygen side"] = 1.0
            bench.run(2.0)
        case State.LOCKED_OUT:
            bench.fixed_current_a = 50.0
            bench.scan()
            bench.fixed_current_a = None
            bench.run(2.0)
    bench.ask(Verb.ENABLE)
    bench.ask(Verb.CONFIRM)
    assert bench.at(state)
    return bench


def stopped(bench: Bench) -> None:
    """Until it cools, and the watchdog relay, which has no edges any more, has dropped."""
    bench.until(lambda: bench.at(State.COOLING))
    bench.run(1.5)


def in_state(state: State) -> Bench:
    return copy.deepcopy(_in(state))


SAID: dict[str, Any] = {"text": "because", "who": "Jo"}
WITH: dict[str, dict[str, Any]] = {
    "START": {"seconds": 600.0},
    "SET_CURRENT": {"number": 12.0},
    "BYPASS": {"subject": "coolant flow low"},
    "DRIVE": {"subject": "horn", "number": 1.0},
}


def closing(bench: Bench) -> Bench:
    """In the scan after the one in which the path has closed."""
    bench.run(1.0)
    bench.ask(Verb.START)
    bench.until(lambda: bool(bench.parts.closings))
    return bench


def ran(bench: Bench | None = None) -> Bench:
    bench = bench or Bench()
    bench.start()
    return bench


BROKEN: dict[str, dict[str, bool]] = {
    "main welded": {"main_welded": True},
    "second welded": {"second_welded": True},
    "main never closes": {"main_dead": True},
    "second never closes": {"second_dead": True},
    "relay stuck closed": {"relay_stuck": True},
    "relay never closes": {"relay_dead": True},
    "seal-in does not hold": {"seal_broken": True},
    "closes without a pulse": {"seals_in": False},
    "main contact says closed": {"main_aux_lies": True},
    "main contact says open": {"main_aux_lies": False},
    "second contact says closed": {"second_aux_lies": True},
    "second contact says open": {"second_aux_lies": False},
    "relay contact says closed": {"relay_aux_lies": True},
    "relay contact says open": {"relay_aux_lies": False},
}


def break_(bench: Bench, what: str) -> None:
    for field, value in BROKEN[what].items():
        setattr(bench.parts, field, value)


def checking(bench: Bench | None = None) -> Bench:
    """A bench on which a start has just been taken."""
    bench = bench or Bench()
    bench.run(1.0)
    assert bench.ask(Verb.START).what is Happened.ACCEPTED
    assert bench.at(State.CHECKING)
    return bench


def ended(bench: Bench) -> bool:
    return not bench.at(State.CHECKING)


def at(step: Check) -> Callable[[Bench], bool]:
    return lambda bench: bench.memory.sequence.check is step
