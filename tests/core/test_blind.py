"""A limit whose signal is not seen, or whose readings are refused."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from controller.core.limits import RESTING, watch
from controller.core.signals import Code, Reading, Signal, unseen, validate
from tests.core.watched import FAST, FLOAT, SLOW, SWITCH, Shown, Watched, high, low, seen_at

# --- blind


@pytest.mark.parametrize(
    ("signal", "grace_s"),
    [(FAST, 0.5), (FAST, 2.0), (FAST, 6.0), (SLOW, 3.0), (SLOW, 5.0), (SWITCH, 0.5), (SWITCH, 2.0)],
)
@pytest.mark.parametrize("delay_s", [0.0, 3.0, 60.0])
@pytest.mark.parametrize("shown", [None, (5.0, Code.BAD_CHECKSUM), math.nan], ids=str)
def test_a_signal_not_seen_is_due_at_its_grace_whatever_the_delay(
    signal: Signal, grace_s: float, delay_s: float, shown: Shown
) -> None:
    limit = replace(FLOAT if signal is SWITCH else high(), grace_s=grace_s, delay_s=delay_s)
    watched = Watched(limit, signal)
    watched.run(3.05, 1.0)
    last_good_s = watched.values[0].good_stamp_s
    assert watched.due_after(10.0, lambda s: shown) is not None
    unseen_s = watched.now_s - last_good_s
    assert grace_s - 1e-9 <= unseen_s <= grace_s + 0.1 + 1e-6


def test_a_signal_never_seen_is_blind_since_the_guards_start() -> None:
    watched = Watched(high(), FAST)
    assert watched.due_after(10.0, lambda s: None) == pytest.approx(2.0, abs=0.11)


def test_one_good_sample_begins_the_grace_anew() -> None:
    watched = seen_at(0.0, high())
    watched.run(1.8, None)
    watched.scan(0.0)
    assert watched.due_after(1.9, lambda s: None) is None
    assert watched.due_after(0.3, lambda s: None) is not None


def test_a_held_sample_is_no_newer_for_being_read_again() -> None:
    signal = replace(FAST, period_s=2.0)
    limit = high(grace_s=2.0)
    value, state = unseen(100.0), RESTING
    for scan in range(40):
        now_s = 100.1 + 0.1 * scan
        value = validate(signal, value, Reading(0.0, 100.05), now_s)
        state = watch(limit, state, (value,), now_s - 0.1, now_s, False)
        assert state.due == (value.number is None and now_s - 100.05 >= 2.0)
    assert state.due


def test_a_forced_signal_abstains_for_ever_because_it_forbids_power_by_itself() -> None:
    watched = seen_at(0.0, high())
    assert watched.due_after(20.0, lambda s: (99.0, Code.FORCED)) is None


def test_far_from_the_limit_and_calm_the_longer_grace_counts() -> None:
    limit = high(grace_s=2.0, far_grace_s=10.0, far=20.0)
    for number, calm, grace_s in ((10.0, True, 10.0), (10.1, True, 2.0), (10.0, False, 2.0)):
        watched = seen_at(number, limit)
        watched.calm = calm
        assert watched.due_after(20.0, lambda s: None) == pytest.approx(grace_s, abs=0.11)
    falling = low(grace_s=2.0, far_grace_s=10.0, far=20.0)
    for number, grace_s in ((-10.0, 10.0), (-10.1, 2.0), (50.0, 10.0)):
        watched = seen_at(number, falling)
        watched.calm = True
        assert watched.due_after(20.0, lambda s: None) == pytest.approx(grace_s, abs=0.11)


# --- refused


@pytest.mark.parametrize("shown", [105.0, 110.0, 1e9, (31.0, Code.OUT_OF_SPECIFICATION)], ids=str)
@pytest.mark.parametrize("delay_s", [0.0, 0.3, 1.0])
def test_a_reading_refused_on_the_trip_side_is_a_demand_with_the_delay_and_no_grace(
    shown: Shown, delay_s: float
) -> None:
    watched = seen_at(0.0, high(delay_s=delay_s, grace_s=6.0))
    after_s = watched.due_after(10.0, lambda s: shown)
    assert after_s is not None
    assert after_s - 0.1 == pytest.approx(delay_s, abs=1e-6)
    assert watched.state.how is not Code.OK


@pytest.mark.parametrize("shown", [-105.0, -1e9, (29.0, Code.OUT_OF_SPECIFICATION)], ids=str)
def test_a_reading_refused_on_the_safe_side_has_the_grace(shown: Shown) -> None:
    watched = seen_at(0.0, high(delay_s=0.0, grace_s=2.0))
    assert watched.due_after(10.0, lambda s: shown) == pytest.approx(2.0, abs=0.11)


def test_a_jump_that_is_refused_for_its_rate_counts_on_the_trip_side() -> None:
    signal = replace(FAST, step=1.0, rate_per_s=1.0)
    watched = Watched(high(delay_s=0.5), signal)
    watched.run(1.0, 0.0)
    after_s = watched.due_after(5.0, lambda s: 40.0)
    assert after_s == pytest.approx(0.6, abs=1e-6)
    assert watched.values[0].code is Code.TOO_FAST


def test_a_refused_reading_never_outlives_the_grace_whatever_the_delay() -> None:
    watched = seen_at(0.0, high(delay_s=60.0, grace_s=2.0))
    assert watched.due_after(70.0, lambda s: 105.0) == pytest.approx(2.0, abs=0.11)


def test_a_wire_fault_has_the_grace_though_it_lies_on_the_trip_side() -> None:
    watched = Watched(high(delay_s=0.0), replace(FAST, rail_is_wire_fault=True))
    watched.run(1.0, 0.0)
    assert watched.due_after(5.0, lambda s: 110.0) == pytest.approx(2.0, abs=0.11)


def test_a_float_refused_on_the_trip_side_fills_its_delay_no_faster_than_a_low_one() -> None:
    watched = Watched(FLOAT, SWITCH)
    watched.limit = replace(FLOAT, grace_s=6.0)
    watched.run(1.0, 1.0)
    assert watched.due_after(10.0, lambda s: -0.1) == pytest.approx(3.0, abs=0.11)


def test_at_the_grace_exactly_counts() -> None:
    limit, value = high(), unseen(96.0)  # whole seconds, so that nothing is rounded
    assert watch(limit, RESTING, (value,), 97.9, 98.0, False).due
    assert not watch(limit, RESTING, (value,), 97.9, math.nextafter(98.0, 0.0), False).due


def test_a_signal_that_comes_back_beyond_its_limit_is_due_at_once() -> None:
    watched = seen_at(0.0, high(delay_s=1.0))
    watched.run(2.2, None)
    assert watched.state.due
    assert watched.scan(31.0).due
