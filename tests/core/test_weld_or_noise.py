"""Current that must not flow: one sample of it is noise, whatever it says; a lasting one is a weld, and soon found."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.core.outputs import Outputs
from controller.core.rig import Supply
from controller.core.sequence import Check, State
from tests.core.bench import SIGNALS, Bench, rig

ANY_SIZE_A = st.sampled_from([0.5, -0.5, 2.0, -30.0, 51.198, -51.198, 1e9]) | st.floats(0.5, 60.0)
DELAY_S = 0.3
KNOB = Supply(kind="current knob", rated_a=30.0, minimum_a=9.0, start_lag_s=0.5)


class Sampled(Bench):
    """A bench whose current channel gives a sample each `period_s`, holds it in between, and may be disturbed."""

    def __init__(self, period_s: float = 0.1, **changes: object) -> None:
        signals = tuple(replace(s, period_s=period_s) if s.name == "current" else s for s in SIGNALS)
        super().__init__(rig(signals=signals, **changes))
        self.period_s = period_s
        self.disturbed_a: float | None = None  # what the samples read until it is taken away
        self.samples = 0

    def scan(self, *commands: Command, dt_s: float = 0.1) -> Outputs:
        next_s = self.now_s + dt_s
        if next_s - self.stamps.get("current", -1e9) >= self.period_s - 1e-6:
            self.stamps["current"] = next_s
            self.numbers["current"] = self.current_a() if self.disturbed_a is None else self.disturbed_a
            self.samples += 1
        return super().scan(*commands, dt_s=dt_s)


@settings(max_examples=80, deadline=None)
@given(reads_a=ANY_SIZE_A, at=st.integers(0, 75), period_s=st.sampled_from([0.1, 0.1, 0.2, 0.5]))
@example(reads_a=1e9, at=0, period_s=0.1)
def test_one_disturbed_sample_of_any_size_while_power_is_off_never_locks_out(
    reads_a: float, at: int, period_s: float
) -> None:
    """Off, in every scan of the self-test, cooling, off again: and the run that was asked for comes and ends."""
    bench = Sampled(period_s)
    bench.numbers["cell temperature"] = 48.0  # so that it cools for a while
    off_scans, ran, before = 0, False, -1
    for _ in range(330):
        if bench.disturbed_a is not None and (bench.samples > before or bench.memory.sequence.powered):
            bench.disturbed_a = None
        if not bench.memory.sequence.powered:
            off_scans += 1
            if off_scans == at:
                bench.disturbed_a, before = reads_a, bench.samples
        if bench.at(State.OFF) and not ran:
            bench.scan(Command(Verb.START, Source.LOCAL))
        elif bench.at(State.RUNNING) and not ran:
            ran = True
            bench.ask(Verb.STOP)
        elif ran and off_scans > at + 5:
            bench.numbers["cell temperature"] = 44.0
            bench.scan()
        else:
            bench.scan()
        assert not bench.causes
    assert ran
    assert bench.at(State.OFF)


def test_one_disturbed_sample_in_a_hundred_never_locks_out() -> None:
    lot = random.Random(1)
    bench = Sampled()
    for _ in range(20_000):
        bench.disturbed_a = lot.choice([0.6, -3.0, 1e9]) if lot.random() < 0.01 else None
        bench.scan()
    assert bench.at(State.OFF)


@settings(max_examples=100, deadline=None)
@given(
    current_a=ANY_SIZE_A,
    dts=st.lists(st.floats(0.05, 0.19), min_size=40, max_size=40),
    period_s=st.sampled_from([0.1, 0.2, 0.5]),
)
def test_a_lasting_current_locks_out_after_its_delay_and_not_before(
    current_a: float, dts: list[float], period_s: float
) -> None:
    """Not before two samples that agree lie 0.3 s apart; within that, a sample and a scan at either end."""
    bench = Sampled(period_s)
    bench.run(1.0)
    bench.disturbed_a, began_s = current_a, bench.now_s
    for dt_s in dts:
        bench.scan(dt_s=dt_s)
        if bench.at(State.LOCKED_OUT):
            break
    assert bench.causes == ["current while off"]
    assert DELAY_S - 1e-9 <= bench.now_s - began_s <= DELAY_S + 2 * (period_s + max(dts))


def test_current_that_comes_and_goes_but_mostly_flows_is_found_too() -> None:
    bench = Sampled()
    bench.run(1.0)
    for scan in range(20):
        bench.disturbed_a = None if scan % 3 == 2 else 0.6
        bench.scan()
    assert bench.causes == ["current while off"]


# --- in the self-test


@pytest.mark.parametrize("pole", ["main_pole_welded", "second_pole_welded"])
@pytest.mark.parametrize("supply_a", [0.6, 30.0])
def test_a_supply_with_a_knob_feeds_a_welded_pole_for_no_longer_than_it_takes_to_be_sure(
    pole: str, supply_a: float
) -> None:
    """From the contactor that completes the path to the one that breaks it: the delay, and the scans at its ends."""
    bench = Sampled(supply=KNOB)
    setattr(bench.parts, pole, True)
    bench.supply_a = supply_a
    bench.run(1.0)
    bench.ask(Verb.START)
    flowed_s = 0.0
    while bench.at(State.CHECKING):
        flowed_s += 0.1 * bench.parts.path
        bench.scan()
    assert bench.at(State.LOCKED_OUT)
    assert DELAY_S <= flowed_s <= DELAY_S + 0.3 + 1e-9
    first = bench.memory.latch.causes[0]
    assert first.name == "current while off" or "current flows with the" in first.signal
    bench.run(1.0)
    assert not bench.parts.main
    assert not bench.parts.second


@pytest.mark.parametrize(("step", "waits_s"), [(Check.SECOND_ALONE, 1.9), (Check.MAIN_ALONE, 2.4)])
def test_a_current_that_is_disturbed_for_too_long_gives_the_start_up_and_locks_nothing_out(
    step: Check, waits_s: float
) -> None:
    """Every other sample: neither none nor a weld. The contactors did what they were told.

    Closing 0.1 s, the main one's pulse 0.5 s, the supply's lag 0.5 s, to be seen 0.3 s, and a margin of 0.5 s twice.
    """
    bench = Sampled()
    bench.run(1.0)
    bench.ask(Verb.START)
    bench.until(lambda: bench.memory.sequence.check is step)
    scans = 0
    while bench.at(State.CHECKING):
        scans += 1
        bench.disturbed_a = 40.0 if scans % 2 else None
        bench.scan()
        assert scans < 40
    assert 0.1 * scans == pytest.approx(waits_s, abs=0.15)
    assert bench.at(State.COOLING, State.OFF)
    assert "current was not known" in bench.memory.run.ending
    bench.disturbed_a = None
    bench.until(lambda: bench.ask(Verb.START).what is Happened.ACCEPTED)
    bench.until(lambda: bench.at(State.RUNNING))
