"""Odd times: late, paused, standing still, backwards, not a time at all."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.core.frame import pack, unpack
from controller.core.memory import Inputs, Late
from controller.core.outputs import PINS
from controller.core.sequence import State
from controller.core.signals import Reading
from controller.core.step import step
from tests.core.bench import Bench, rig


def running() -> Bench:
    bench = Bench()
    bench.start()
    return bench


@pytest.mark.parametrize("dt_s", [0.5, 0.51, 1.0, 5.0, 86400.0, 1e12])
def test_a_gap_of_half_the_watchdog_time_under_power_trips_in_the_first_scan_after_it(dt_s: float) -> None:
    bench = running()
    bench.scan(dt_s=dt_s)
    assert bench.state is State.TRIPPED
    cause = bench.memory.latch.causes[0]
    assert (cause.name, cause.limit) == ("scan gap", 0.5)
    assert cause.number == pytest.approx(dt_s)
    assert not any((bench.outputs.main_hold, bench.outputs.main_close, bench.outputs.edge))
    bench.run(10.0)
    assert not bench.parts.path
    assert len(bench.parts.closings) == 1


@pytest.mark.parametrize("dt_s", [0.0, 1e-6, 0.02, 0.19, 0.3, 0.49])
def test_anything_shorter_does_not(dt_s: float) -> None:
    bench = running()
    for _ in range(3):
        bench.scan(dt_s=dt_s)
        bench.scan()
    assert bench.state is State.RUNNING


def test_a_gap_while_off_is_no_trip() -> None:
    bench = Bench()
    bench.run(2.0)
    bench.scan(dt_s=3600.0)
    bench.run(5.0)
    assert bench.state is State.OFF
    bench.start()


@pytest.mark.parametrize(("dt_s", "late"), [(0.125, False), (0.1875, False), (0.203125, True), (0.4375, True)])
def test_a_scan_late_by_more_than_a_period_gives_an_event_and_no_edge(dt_s: float, late: bool) -> None:
    bench = running()
    bench.scan(dt_s=(math.floor(bench.now_s * 4.0) + 1.0) / 4.0 - bench.now_s)  # so that the differences are exact
    before = len(bench.events)
    bench.scan(dt_s=dt_s)
    assert [e.what for e in bench.events[before:]] == ([Happened.LATE_SCAN] if late else [])
    assert bench.outputs.edge != late
    assert bench.state is State.RUNNING
    bench.scan()
    assert bench.outputs.edge


def late(bench: Bench, scans: int) -> None:
    for _ in range(scans):
        bench.scan(dt_s=0.25)


@pytest.mark.parametrize(
    ("in_a_row", "said", "powered"),
    [(1, 0, True), (2, 0, True), (2, 0, False), (3, 1, True), (3, 1, False), (6, 1, False)],
)
def test_three_late_scans_in_a_row_are_an_alarm_that_ends_after_a_minute_without_one(
    in_a_row: int, said: int, powered: bool
) -> None:
    bench = running() if powered else Bench()
    bench.run(1.0)
    state = bench.state
    late(bench, in_a_row)
    assert bench.said(Happened.ALARM) == ["scans late"] * said
    bench.run(59.0)
    assert bench.said(Happened.ALARM_CLEARED) == []
    bench.run(1.2)
    assert bench.said(Happened.ALARM_CLEARED) == ["scans late"] * said
    assert bench.state is state
    assert bench.memory.late == Late()


def test_two_late_scans_and_one_in_time_are_not_three_in_a_row() -> None:
    bench = running()
    for _ in range(3):
        late(bench, 2)
        bench.scan()
    assert bench.said(Happened.ALARM) == []
    assert bench.said(Happened.LATE_SCAN) == ["late scan"] * 6


@pytest.mark.parametrize(("count", "said"), [(6, 0), (7, 1), (20, 1)])
def test_more_than_one_late_scan_in_a_hundred_of_a_minute_is_an_alarm(count: int, said: int) -> None:
    """600 scans a minute: six are one in a hundred."""
    bench = running()
    for _ in range(count):
        late(bench, 1)
        bench.run(1.0)
    assert bench.said(Happened.ALARM) == ["scans late"] * said
    bench.run(62.0)
    assert bench.said(Happened.ALARM_CLEARED) == ["scans late"] * said


def test_a_late_scan_each_eleven_seconds_is_none() -> None:
    """Five or six a minute, for ever."""
    bench = running()
    for _ in range(30):
        late(bench, 1)
        bench.run(11.0)
    assert bench.said(Happened.ALARM) == []
    assert len(bench.memory.late.at_s) <= 7


def test_a_slower_rig_has_fewer_scans_in_a_minute() -> None:
    """At 0.2 s there are 300: four late ones are more than one in a hundred, three are not."""
    bench = Bench(rig(scan_s=0.2))
    bench.scan()
    for count in range(1, 5):
        bench.scan(dt_s=0.45)
        for _ in range(5):
            bench.scan(dt_s=0.2)
        assert bench.said(Happened.ALARM) == ["scans late"] * (count == 4)


def test_what_is_known_of_late_scans_outlives_being_written_down() -> None:
    bench = running()
    late(bench, 4)
    inputs = Inputs(bench.readings(), bench.pins)
    memory = unpack(bench.rig, pack(bench.rig, "0" * 16, 0.0, inputs, (), bench.memory)).memory
    assert memory.late == bench.memory.late
    assert memory.late.standing
    assert len(memory.late.at_s) == 4


@pytest.mark.parametrize("back_s", [1e-6, 0.1, 5.0, 3600.0, 1e9])
@pytest.mark.parametrize("powered", [True, False])
def test_a_step_back_trips_whatever_the_state(back_s: float, powered: bool) -> None:
    bench = running() if powered else Bench()
    bench.run(1.0)
    bench.scan(dt_s=-back_s)
    assert bench.state is State.TRIPPED
    assert bench.causes[0] == "time ran backwards"
    assert not bench.parts.main


def test_after_a_step_back_what_waits_for_time_is_not_disarmed() -> None:
    """Every stamp lies in the future then; a weld must still be found, a hot cell too."""
    bench = running()
    bench.parts.main_welded = bench.parts.second_welded = True
    bench.supply_a = 30.0
    bench.scan(dt_s=-1000.0)
    assert bench.memory.sequence.powered
    bench.run(0.8)
    assert bench.state is State.LOCKED_OUT
    bench.numbers["cell temperature"] = 80.0
    bench.run(4.5)
    assert "over-temperature" in bench.causes


def test_after_a_step_back_and_a_reset_the_rig_runs_again() -> None:
    bench = running()
    bench.scan(dt_s=-1000.0)
    bench.run(2.0)
    assert bench.ask(Verb.RESET).what is Happened.ACCEPTED
    bench.until(lambda: bench.at(State.OFF))
    bench.start()


def test_a_locked_out_rig_is_locked_out_after_a_step_back() -> None:
    bench = running()
    bench.fixed_current_a = 50.0
    bench.scan()
    bench.fixed_current_a = None
    bench.run(1.0)
    bench.scan(dt_s=-100.0)
    assert bench.state is State.LOCKED_OUT
    assert bench.causes[0] == "short"
    assert bench.memory.events == len(bench.events)


@pytest.mark.parametrize("now_s", [math.nan, math.inf, -math.inf])
def test_what_is_no_time_is_refused_and_changes_nothing(now_s: float) -> None:
    bench = running()
    memory = bench.memory
    inputs = Inputs(bench.readings(), bench.pins, True, True, True, bench.on_disk)
    with pytest.raises(ValueError, match="finite time"):
        step(bench.rig, memory, inputs, (), now_s)
    assert bench.memory == memory
    bench.run(1.0)
    assert bench.state is State.RUNNING


def test_inputs_of_another_rig_are_refused() -> None:
    bench = Bench()
    with pytest.raises(ValueError, match="5 readings for 6 signals"):
        step(bench.rig, bench.memory, Inputs(bench.readings()[:5], bench.pins), (), 1001.0)
    with pytest.raises(ValueError, match="shorter"):
        step(bench.rig, bench.memory, Inputs(bench.readings(), (False,)), (), 1001.0)


@pytest.mark.parametrize("start_s", [0.0, 0.1, 1e6, 1e9])
def test_a_rig_runs_from_whatever_time_the_machine_has_been_up(start_s: float) -> None:
    bench = Bench(start_s=start_s)
    bench.start()
    assert bench.state is State.RUNNING


@pytest.mark.parametrize("scan_s", [0.02, 0.05, 0.1, 0.15])
def test_a_rig_runs_at_other_scan_periods_and_with_uneven_ones(scan_s: float) -> None:
    bench = Bench()
    uneven = (0.7, 1.0, 1.3)
    for scan in range(10):
        bench.scan(dt_s=scan_s * uneven[scan % 3])
    bench.ask(Verb.START)
    for scan in range(6000):
        bench.scan(dt_s=scan_s * uneven[scan % 3])
        if bench.state is State.RUNNING:
            break
    assert bench.state is State.RUNNING


anything = st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from([0.0, -1.0, 1e308, 35.0, 70.0])


@settings(max_examples=60, deadline=None)
@given(
    dts=st.lists(
        st.sampled_from([0.1, 0.1, 0.1, 0.0, 0.3, 0.5, -0.1, -1e9, 1e9]) | st.floats(-10.0, 10.0),
        min_size=1,
        max_size=12,
    ),
    numbers=st.lists(st.none() | anything, min_size=6, max_size=6),
    ages=st.lists(anything, min_size=6, max_size=6),
    number=st.none() | anything,
    verb=st.sampled_from(Verb),
    source=st.sampled_from(Source),
)
def test_no_number_and_no_time_raises_or_leaves_power_on_without_a_proof(
    dts: list[float], numbers: list[float | None], ages: list[float], number: float | None, verb: Verb, source: Source
) -> None:
    bench = running()
    command = Command(
        verb,
        source,
        number=number,
        seconds=number,
        charge_c=number,
        subject="level low hydrogen side",
        text="x",
        who="Jo",
    )
    now_s = bench.now_s
    memory = bench.memory
    for dt_s in dts:
        now_s += dt_s
        readings = tuple(Reading(n, now_s - age) for n, age in zip(numbers, ages, strict=True))
        inputs = Inputs(readings, (None,) * len(PINS), True, True, True, 10**9)
        memory, outputs, _ = step(bench.rig, memory, inputs, (command,), now_s)
        assert math.isfinite(outputs.setpoint_a)
        assert 0.0 <= outputs.setpoint_a <= 30.0
        if memory.latch.tripped:
            assert not any((outputs.main_hold, outputs.main_close, outputs.edge))
