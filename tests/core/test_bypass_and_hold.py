"""A bypass covers one value for half an hour; a hold covers everything until the one who put it there lifts it."""

from __future__ import annotations

import copy
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.core.sequence import State
from controller.core.signals import Code
from tests.core.bench import LIMITS, Bench, rig
from tests.core.states import in_state

# --- bypass


def test_a_bypass_covers_the_value_for_half_an_hour_and_then_the_limit_trips() -> None:
    bench = in_state(State.RUNNING)
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="meter cleaned")
    given_s = bench.now_s
    bench.numbers["coolant flow"] = 0.0
    bench.until(lambda: bench.at(State.TRIPPED), 2000.0)
    assert bench.now_s - given_s == pytest.approx(1800.0, abs=0.2)
    assert bench.causes == ["coolant flow low"]
    assert bench.said(Happened.BYPASSED) == bench.said(Happened.BYPASS_ENDED) == ["coolant flow low"]


def test_a_bypass_does_not_cover_the_loss_of_the_sensor_nor_another_limit() -> None:
    bench = in_state(State.RUNNING)
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="meter cleaned")
    other = copy.deepcopy(bench)
    bench.codes["coolant flow"] = Code.ABSENT
    bench.until(lambda: bench.at(State.TRIPPED), 2.5)
    other.numbers["cell temperature"] = 80.0
    other.until(lambda: other.at(State.TRIPPED), 4.0)


def test_a_bypass_lets_a_start_at_the_rig_go_without_what_it_covers() -> None:
    bench = in_state(State.OFF)
    bench.numbers["coolant flow"] = 0.0
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="first power, beside it")
    bench.ask(Verb.START)
    bench.until(lambda: bench.at(State.RUNNING))
    bench.numbers["cell temperature"] = 80.0
    bench.until(lambda: bench.at(State.TRIPPED), 4.0)
    assert bench.causes == ["over-temperature"]


def test_bypasses_are_one_at_a_time_with_a_reason_on_what_allows_it_and_not_again_for_eight_hours() -> None:
    limits = tuple(replace(x, bypassable=x.name in ("coolant flow low", "level low oxygen side")) for x in LIMITS)
    bench = Bench(rig(limits=limits))
    bench.run(1.0)
    assert "never bypassed" in bench.ask(Verb.BYPASS, subject="over-temperature", text="x").detail
    assert "no limit" in bench.ask(Verb.BYPASS, subject="nonsense", text="x").detail
    assert "reason" in bench.ask(Verb.BYPASS, subject="coolant flow low", text=" ").detail
    assert bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").what is Happened.ACCEPTED
    until_s = bench.memory.person.bypass_until_s
    assert "one bypass" in bench.ask(Verb.BYPASS, subject="level low oxygen side", text="x").detail
    assert bench.ask(Verb.BYPASS, subject="level low oxygen side", number=0.0).what is Happened.REFUSED
    assert bench.ask(Verb.BYPASS, subject="coolant flow low", number=0.0).what is Happened.ACCEPTED
    assert bench.memory.person.bypass == -1
    assert "not again" in bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").detail
    bench.scan(dt_s=until_s + 8 * 3600.0 - 1.0 - bench.now_s)
    assert "not again" in bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").detail
    bench.run(1.0)
    assert bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").what is Happened.ACCEPTED


def test_a_trip_whose_cause_is_bypassed_is_not_reset_until_the_bypass_ends() -> None:
    bench = in_state(State.RUNNING)
    bench.numbers["coolant flow"] = 0.0
    bench.until(lambda: bench.at(State.TRIPPED), 10.0)
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="x")
    bench.run(2.0)
    assert "bypass" in bench.ask(Verb.RESET).detail
    bench.ask(Verb.BYPASS, subject="coolant flow low", number=0.0)
    assert bench.ask(Verb.RESET).what is Happened.ACCEPTED


# --- hold


asked = st.builds(
    Command,
    verb=st.sampled_from([v for v in Verb if v is not Verb.LIFT]),
    source=st.sampled_from(Source),
    number=st.none() | st.sampled_from([0.0, 1.0, 12.0]),
    subject=st.sampled_from(["horn", "coolant flow low", "main_hold"]),
    text=st.just("because"),
    who=st.sampled_from(["Jo", "Al"]),
    seconds=st.none() | st.just(60.0),
)


@settings(max_examples=40, deadline=None)
@given(
    before=st.lists(asked, max_size=2),
    commands=st.lists(st.lists(asked, max_size=3), max_size=8),
    state=st.sampled_from([State.OFF, State.COOLING, State.TRIPPED, State.LOCKED_OUT]),
)
def test_with_a_hold_no_sequence_of_commands_from_any_source_energises(
    before: list[Command], commands: list[list[Command]], state: State
) -> None:
    bench = in_state(state)
    closings = len(bench.parts.closings)
    bench.scan(*before, Command(Verb.HOLD, Source.LOCAL, who="Jo", text="hands inside"))
    held_by = bench.memory.latch.held_by
    assert held_by
    for scan in commands:
        bench.scan(*scan)
        for _ in range(20):
            bench.scan()
            assert not any(
                (bench.outputs.main_hold, bench.outputs.main_close, bench.outputs.second, bench.outputs.edge)
            )
    assert len(bench.parts.closings) == closings
    assert bench.memory.latch.held_by == held_by


@pytest.mark.parametrize("order", [0, 1])
def test_a_hold_beside_a_start_in_one_scan_wins_in_whichever_order(order: int) -> None:
    hold, start = Command(Verb.HOLD, Source.LOCAL, who="Jo", text="hands inside"), Command(Verb.START, Source.LOCAL)
    bench = in_state(State.OFF)
    bench.scan(*((hold, start) if order else (start, hold)))
    assert bench.at(State.OUT_OF_SERVICE)


def test_a_hold_needs_a_name_and_a_reason_and_is_lifted_by_the_same_name_at_the_rig() -> None:
    bench = in_state(State.OFF)
    assert bench.ask(Verb.HOLD, who=" ", text="x").what is Happened.REFUSED
    assert bench.ask(Verb.HOLD, who="Jo", text="").what is Happened.REFUSED
    bench.ask(Verb.HOLD, who="Jo", text="gasket")
    detail = bench.ask(Verb.START).detail
    assert "Jo" in detail
    assert "gasket" in detail
    for source in (Source.REMOTE, Source.BUTTON, Source.PLAN):
        assert bench.ask(Verb.LIFT, source, who="Jo").what is Happened.REFUSED
    assert "only Jo" in bench.ask(Verb.LIFT, who="Al").detail
    assert bench.ask(Verb.LIFT, who="Jo").what is Happened.ACCEPTED
    bench.start()


def test_a_hold_put_on_a_tripped_rig_outlives_the_reset() -> None:
    bench = in_state(State.TRIPPED)
    bench.numbers["cell temperature"] = 20.0
    bench.ask(Verb.HOLD, who="Jo", text="float replaced")
    bench.run(0.3)
    bench.ask(Verb.RESET)
    bench.run(1.0)
    assert bench.at(State.OUT_OF_SERVICE)
