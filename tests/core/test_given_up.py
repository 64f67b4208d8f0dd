"""A start that is given up: what must come first, and what must still hold when power comes on."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from controller.core.sequence import POWERED_STATES, Check, State
from controller.core.signals import Code
from tests.core.bench import Bench
from tests.core.states import at, checking, ended

# --- the latch comes first


@pytest.mark.parametrize("delay_s", [0.0, 0.1, 4.0, 14.0])
def test_powered_is_on_disk_before_the_close_pulse(delay_s: float) -> None:
    bench = checking()
    ready_s: list[float] = []

    def written() -> bool:
        if bench.memory.latch.powered and not ready_s:
            ready_s.append(bench.now_s)
        return not ready_s or bench.now_s - ready_s[0] >= delay_s - 1e-9

    bench.latch_delay = written
    while bench.state is not State.RUNNING:
        bench.scan()
        if bench.state in POWERED_STATES:
            assert bench.memory.latch.powered
            assert bench.on_disk >= bench.memory.latch.number
            assert bench.now_s - ready_s[0] >= delay_s - 0.01
        assert bench.now_s < 1100.0


def test_a_disk_that_does_not_take_the_latch_ends_the_start_and_latches_nothing() -> None:
    bench = checking()
    bench.until(lambda: at(Check.MAIN_ALONE)(bench))
    bench.latch_delay = lambda: False
    bench.until(lambda: ended(bench), 30.0)
    assert bench.state is State.COOLING
    assert "not on disk" in bench.memory.run.ending
    assert not bench.memory.latch.tripped
    assert bench.parts.closings == []


# --- whatever allowed the start must still hold when power comes on


def floor_falls(bench: Bench) -> None:
    bench.numbers["level oxygen side"] = 0.0


def forced(bench: Bench) -> None:
    bench.codes["level hydrogen side"] = Code.FORCED


def warmed(bench: Bench) -> None:
    bench.numbers["cell temperature"] = 55.0


def unwell(bench: Bench) -> None:
    bench.well = False


@pytest.mark.parametrize("step", [Check.PROVE, Check.SECOND_OPENS, Check.STAYS_OPEN])
@pytest.mark.parametrize("happens", [floor_falls, forced, warmed, unwell])
def test_what_is_lost_during_the_test_ends_the_start_before_power(
    happens: Callable[[Bench], None], step: Check
) -> None:
    bench = checking()
    bench.until(lambda: at(step)(bench))
    happens(bench)
    bench.until(lambda: ended(bench), 40.0)
    assert bench.state is State.COOLING
    assert bench.memory.run.ending
    assert not bench.memory.latch.tripped
    assert bench.parts.closings == []


def test_coolant_that_never_flows_fails_the_start_at_the_proving_time_and_nothing_is_closed() -> None:
    bench = checking()
    bench.numbers["coolant flow"] = 0.0
    assert bench.until(lambda: ended(bench), 40.0) == pytest.approx(15.0 + 2.0, abs=0.3)
    assert bench.state is State.COOLING
    assert "not proven" in bench.memory.run.ending
    assert bench.parts.closings == []
    assert bench.parts.pulses == 0


def test_coolant_that_comes_within_the_proving_time_is_enough() -> None:
    bench = checking()
    bench.numbers["coolant flow"] = 0.0
    bench.run(4.0)
    bench.numbers["coolant flow"] = None
    bench.until(lambda: bench.state is State.RUNNING)


@pytest.mark.parametrize(("gone_s", "runs"), [(1.5, True), (3.0, False)])
def test_coolant_lost_again_during_the_test_may_come_back_within_two_seconds(gone_s: float, runs: bool) -> None:
    bench = checking()
    bench.until(lambda: at(Check.SECOND_ALONE)(bench))
    bench.numbers["coolant flow"] = 0.0
    bench.run(gone_s)
    bench.numbers["coolant flow"] = None
    bench.run(40.0)
    assert (bench.state is State.RUNNING) == runs
    assert runs or "lost while starting" in bench.memory.run.ending
