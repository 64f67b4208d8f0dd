"""The core is a function of what it is given: the same again, from any scan on, and after being written down."""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.commands import Command, Source, Verb
from controller.core.events import Event, Happened
from controller.core.frame import pack, unpack
from controller.core.memory import Inputs, Memory, first
from controller.core.outputs import Outputs
from controller.core.rig import Rig
from controller.core.sequence import State
from controller.core.signals import Code
from controller.core.step import step
from controller.core.trips import Latch
from tests.core.bench import Bench
from tests.core.rigs import full_bench

Scanned = tuple[Inputs, tuple[Command, ...], float]


class Recording(Bench):
    """A bench that keeps what each scan was given."""

    def __init__(self, bench: Bench) -> None:
        self.__dict__.update(bench.__dict__)
        self.scanned: list[Scanned] = []

    def scan(self, *commands: Command, dt_s: float = 0.1) -> Outputs:
        now_s = self.now_s + dt_s
        self.parts.elapse(now_s)
        before, self.now_s = self.now_s, now_s
        inputs = Inputs(
            self.readings(), self.pins, *self.parts.contacts(self.rig.power, now_s), self.on_disk, self.well
        )
        self.now_s = before
        self.scanned.append((inputs, commands, now_s))
        return super().scan(*commands, dt_s=dt_s)


VERBS = [Verb.STOP, Verb.RESET, Verb.START, Verb.BYPASS, Verb.HOLD, Verb.LIFT, Verb.RELEASE, Verb.SILENCE, Verb.ENABLE]


def eventful(seed: int, scans: int) -> Recording:
    """A start, then sensors that fail and come back, quantities that pass their limits, and commands, by lot."""
    lot = random.Random(seed)
    bench = Recording(full_bench())
    bench.start()
    names = [s.name for s in bench.rig.signals]
    calm = dict(bench.numbers)
    for _ in range(scans):
        match lot.randrange(30):
            case 0:
                bench.codes[lot.choice(names)] = lot.choice([Code.ABSENT, Code.BUS_ERROR, Code.FORCED])
            case 1:
                bench.codes.clear()
            case 2:
                bench.numbers[lot.choice(names)] = lot.choice([0.0, 0.3, 50.0, 66.0, 75.0, 1e9])
            case 3 | 4:
                bench.numbers = dict(calm)
        commands = [Command(lot.choice(VERBS), Source.LOCAL, text="x", who="Jo")] if lot.random() < 0.1 else []
        bench.scan(*commands, dt_s=lot.choice([0.1] * 20 + [0.0, 0.25, 0.6]))
    return bench


def again(rig: Rig, memory: Memory, scanned: list[Scanned]) -> list[tuple[Memory, Outputs, tuple[Event, ...]]]:
    out = []
    for inputs, commands, now_s in scanned:
        memory, outputs, events = step(rig, memory, inputs, commands, now_s)
        out.append((memory, outputs, events))
    return out


def copied(value: Any) -> Any:
    """Tuples all the way down, each made anew."""
    if not isinstance(value, tuple):
        return value
    parts = [copied(v) for v in value]
    return value._make(parts) if hasattr(value, "_make") else tuple(parts)


def written_and_read(rig: Rig, memory: Memory, inputs: Inputs) -> Memory:
    return unpack(rig, pack(rig, "0" * 16, 0.0, inputs, (), memory)).memory


SEEDS = range(6)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_inputs_give_the_same_memory_outputs_and_events(seed: int) -> None:
    bench = eventful(seed, 300)
    begun = first(bench.rig, Latch(1, bench.rig.rig_hash, False), 1000.0)
    once, twice = again(bench.rig, begun, bench.scanned), again(bench.rig, begun, bench.scanned)
    assert once == twice
    assert once[-1][0] == bench.memory
    assert [e for _, _, events in once for e in events] == bench.events


@pytest.mark.parametrize("seed", SEEDS)
def test_a_memory_written_down_and_read_back_after_every_scan_changes_nothing(seed: int) -> None:
    bench = eventful(seed, 300)
    memory = plain = first(bench.rig, Latch(1, bench.rig.rig_hash, False), 1000.0)
    for inputs, commands, now_s in bench.scanned:
        memory, outputs, events = step(bench.rig, memory, inputs, commands, now_s)
        plain, *expected = step(bench.rig, plain, inputs, commands, now_s)
        assert [outputs, events] == expected
        memory = written_and_read(bench.rig, memory, inputs)
        assert memory == plain


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), scan=st.integers(0, 250))
def test_a_memory_copied_at_any_scan_goes_on_as_the_original(seed: int, scan: int) -> None:
    """Copied piece by piece, so that no object is the same one: nothing may hang on identity."""
    bench = eventful(seed, 60)
    scan %= len(bench.scanned)
    begun = first(bench.rig, Latch(1, bench.rig.rig_hash, False), 1000.0)
    halfway = again(bench.rig, begun, bench.scanned[:scan])[-1][0] if scan else begun
    ends = again(bench.rig, copied(halfway), bench.scanned[scan:])
    assert ends[-1][0] == bench.memory


def test_eventful_runs_are_eventful() -> None:
    """Otherwise the tests above say little."""
    states = set()
    for seed in SEEDS:
        states |= {State[s] for s in eventful(seed, 300).said(Happened.STATE)}
    assert states >= {State.RUNNING, State.TRIPPED, State.COOLING}


@pytest.mark.parametrize("seed", SEEDS)
def test_the_memory_it_was_given_is_never_touched(seed: int) -> None:
    bench = eventful(seed, 100)
    begun = first(bench.rig, Latch(1, bench.rig.rig_hash, False), 1000.0)
    kept = repr(begun)
    again(bench.rig, begun, bench.scanned)
    assert repr(begun) == kept
