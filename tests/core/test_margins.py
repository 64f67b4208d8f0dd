"""Margins say how far and how long; their numbers are those the decision uses."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.commands import Verb
from controller.core.explain import explain
from controller.core.margins import FORESEEN_S, Margin, Trend, follow, margins, nearest
from controller.core.sequence import State
from controller.core.signals import Code
from tests.core.bench import Bench


def after(bench: Bench, seconds: float, per_s: dict[str, float]) -> Trend:
    """Follow the bench while signals change at the given rates."""
    trend: Trend = ()
    for _ in range(round(seconds / 0.1)):
        for name, rate in per_s.items():
            bench.numbers[name] = (bench.numbers[name] or 0.0) + rate * 0.1
        bench.scan()
        trend = follow(bench.rig, trend, bench.memory)
    return trend


def named(found: tuple[Margin, ...], limit: str) -> Margin:
    return next(m for m in found if m.limit == limit)


@given(rate=st.floats(0.005, 0.05), start_c=st.floats(20.0, 60.0))
def test_the_time_to_a_limit_is_the_way_left_over_a_steady_rise(rate: float, start_c: float) -> None:
    bench = Bench()
    bench.numbers["cell temperature"] = start_c
    trend = after(bench, 40.0, {"cell temperature": rate})
    now_c = bench.numbers["cell temperature"]
    assert now_c is not None
    found = named(margins(bench.rig, bench.memory, trend), "over-temperature")
    assert found.left == pytest.approx(70.0 - now_c)
    assert found.seconds == pytest.approx((70.0 - now_c) / rate, rel=0.02)


@pytest.mark.parametrize("rate", [0.0, -0.02])
def test_what_does_not_come_nearer_has_no_time(rate: float) -> None:
    bench = Bench()
    bench.numbers["cell temperature"] = 50.0
    trend = after(bench, 40.0, {"cell temperature": rate})
    assert named(margins(bench.rig, bench.memory, trend), "over-temperature").seconds is None


def test_what_lies_beyond_foresight_has_no_time() -> None:
    bench = Bench()
    bench.numbers["cell temperature"] = 20.0
    trend = after(bench, 40.0, {"cell temperature": 40.0 / FORESEEN_S})
    assert named(margins(bench.rig, bench.memory, trend), "over-temperature").seconds is None


def test_a_signal_not_seen_has_no_margin_and_is_nearer_than_any() -> None:
    bench = Bench()
    bench.codes["cell temperature"] = Code.ABSENT
    bench.run(1.0)
    found = margins(bench.rig, bench.memory)
    margin = named(found, "over-temperature")
    assert (margin.left, margin.fraction, margin.seconds) == (None, None, None)
    closest = nearest(bench.rig, found)
    assert closest is not None
    assert closest.limit == "over-temperature"


def test_the_magnitude_of_a_reversed_current_counts() -> None:
    bench = Bench()
    bench.fixed_current_a = -30.0
    bench.run(0.3)
    assert named(margins(bench.rig, bench.memory), "over-current").left == pytest.approx(5.0)


def test_limits_not_armed_are_never_the_nearest() -> None:
    bench = Bench()
    bench.run(1.0)
    assert bench.state is State.OFF
    closest = nearest(bench.rig, margins(bench.rig, bench.memory))
    assert closest is not None
    assert closest.limit == "over-temperature"  # the flow is zero, but nobody minds while power is off


def test_while_running_the_sentence_names_the_nearest_with_its_own_numbers() -> None:
    bench = Bench()
    bench.start()
    bench.numbers["cell temperature"] = 60.0
    bench.run(100.0)
    trend = after(bench, 40.0, {"cell temperature": 0.02})
    found = margins(bench.rig, bench.memory, trend)
    sentence = explain(bench.rig, bench.memory, found)
    margin = named(found, "over-temperature")
    assert margin.left is not None
    assert margin.seconds is not None
    assert dict(sentence.numbers)["left"] == margin.left
    assert f"Cell temperature is nearest its limit: {margin.left:.2f} C left" in sentence.text
    assert f"about {round(margin.seconds / 60)} min at this trend" in sentence.text


def test_the_rise_of_a_start_is_no_trend() -> None:
    bench = Bench()
    bench.run(1.0)
    bench.ask(Verb.START)
    trend: Trend = ()
    while bench.state is not State.RUNNING:
        bench.scan()
        trend = follow(bench.rig, trend, bench.memory)
        found = margins(bench.rig, bench.memory, trend)
        assert not bench.memory.sequence.powered or named(found, "over-current").seconds is None


def test_at_the_limit_the_sentence_says_how_much_of_the_delay_is_left() -> None:
    bench = Bench()
    bench.start()
    bench.numbers["coolant flow"] = 0.0
    bench.run(2.0)
    text = explain(bench.rig, bench.memory, margins(bench.rig, bench.memory)).text
    assert "Coolant flow is at its limit: power goes off in 3 s if it stays." in text
    bench.run(4.0)
    assert bench.state is State.TRIPPED
    text = explain(bench.rig, bench.memory, margins(bench.rig, bench.memory)).text
    assert "Coolant flow lost: 0.00 L/min; the limit is 0.80 L/min or less." in text
    assert "contactors open, 0.0 A" in text


def test_every_state_has_a_sentence() -> None:
    bench = Bench()
    seen = set()

    def note() -> None:
        seen.add(bench.state)
        assert explain(bench.rig, bench.memory, margins(bench.rig, bench.memory)).text

    bench.run(1.0)
    note()
    bench.ask(Verb.HOLD, who="Ada", text="new gasket")
    bench.scan()
    note()
    bench.ask(Verb.LIFT, who="Ada")
    bench.ask(Verb.SERVICE, text="plug pulled, lying on the bench")
    note()
    bench.ask(Verb.LEAVE_SERVICE)
    bench.ask(Verb.START)
    while bench.state is not State.RUNNING:
        bench.scan()
        note()
    bench.ask(Verb.STOP)
    bench.numbers["cell temperature"] = 60.0
    for _ in range(30):
        bench.scan()
        note()
    bench.numbers["stop chain"] = 0.0
    bench.run(0.5)
    note()
    bench.fixed_current_a = 12.0
    bench.run(2.0)
    note()
    assert seen == set(State)
