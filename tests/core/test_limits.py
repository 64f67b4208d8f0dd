"""One limit: when it is due, and when it is not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.limits import RESTING, Effect, Limit, clear_between, is_clear, watch
from controller.core.signals import Code, Reading, Signal, unseen, validate
from tests.core.watched import Shown, Watched

FAST = Signal("p", "P", "mbar", "pressure", 0.1, -100.0, 100.0, -110.0, 110.0)
SLOW = replace(FAST, name="t", period_s=1.0)
SWITCH = Signal("f", "Float", "share", "switch", 0.1, 0.0, 1.0)


def high(**changes: object) -> Limit:
    limit = Limit("high", "High", (0,), 30.0, True, Effect.TRIP, deadband=2.0, delay_s=1.0, grace_s=2.0)
    return replace(limit, **changes)  # type: ignore[arg-type]


def low(**changes: object) -> Limit:
    return high(threshold=-30.0, rises=False, **changes)


FLOAT = Limit("low", "Low", (0,), 0.5, False, Effect.TRIP, delay_s=3.0, is_switch=True)


def seen_at(number: float, limit: Limit) -> Watched:
    watched = Watched(limit, FAST)
    watched.run(0.5, number)
    return watched


# --- threshold and deadband


@pytest.mark.parametrize("limit", [high(delay_s=0.0), low(delay_s=0.0), high(delay_s=0.0, magnitude=True)])
def test_at_the_threshold_counts_in_both_directions(limit: Limit) -> None:
    assert seen_at(limit.threshold, limit).state.due
    nearly = math.nextafter(limit.threshold, 0.0)
    assert not seen_at(nearly, limit).state.due
    assert seen_at(nearly, limit).state is RESTING


def test_a_magnitude_counts_on_both_sides() -> None:
    limit = high(delay_s=0.0, magnitude=True)
    assert seen_at(-30.0, limit).state.due
    assert not seen_at(-29.9, limit).state.due
    assert not seen_at(-99.0, high(delay_s=0.0)).state.due


@pytest.mark.parametrize(("limit", "sign"), [(high(delay_s=0.0), 1.0), (low(delay_s=0.0), -1.0)])
def test_the_deadband_only_lets_go(limit: Limit, sign: float) -> None:
    watched = seen_at(sign * 29.0, limit)
    assert watched.state is RESTING  # within the deadband from the good side: nothing
    assert watched.scan(sign * 30.0).due
    for inside in (29.9, 29.0, 28.0):  # at the edge of the deadband is not beyond it
        state = watched.scan(sign * inside)
        assert (state.due, state.standing) == (False, True)
    assert watched.scan(sign * 27.9) is RESTING


@given(number=st.floats(-100.0, 100.0), limit=st.sampled_from([high(), low(), high(magnitude=True)]))
def test_the_quick_interval_and_the_comparison_agree_everywhere(number: float, limit: Limit) -> None:
    above, below = clear_between(replace(limit, delay_s=0.0))
    assert (above < number < below) == (seen_at(number, replace(limit, delay_s=0.0)).state is RESTING)


# --- delay


@pytest.mark.parametrize("delay_s", [0.0, 0.1, 0.3, 1.0, 3.0, 60.0])
@pytest.mark.parametrize("make", [high, low])
def test_a_steady_demand_is_due_when_the_delay_is_over_and_not_before(make: type, delay_s: float) -> None:
    limit = make(delay_s=delay_s)
    watched = seen_at(0.0, limit)
    after_s = watched.due_after(100.0, lambda s: limit.threshold)
    assert after_s is not None
    # the first sample that demands is read in the first scan: the delay counts from there
    assert after_s - 0.1 == pytest.approx(delay_s, abs=1e-6)


def test_a_demand_that_ends_in_time_is_forgotten_as_fast_as_it_came() -> None:
    watched = seen_at(0.0, high(delay_s=1.0))
    watched.run(0.9, 31.0)
    watched.run(0.5, 0.0)
    assert watched.due_after(0.4, lambda s: 31.0) is None
    watched = seen_at(0.0, high(delay_s=1.0))
    watched.run(0.9, 31.0)
    watched.run(1.5, 0.0)
    assert watched.state is RESTING


@pytest.mark.parametrize("delay_s", [0.5, 0.9, 2.0])
def test_one_held_sample_cannot_satisfy_a_delay(delay_s: float) -> None:
    """A probe read once a second says 31 once, then 0: the 0.9 s for which the sample is held prove nothing."""
    watched = Watched(high(delay_s=delay_s), SLOW)
    watched.run(3.0, 0.0)
    assert watched.due_after(10.0, lambda s: 31.0 if 0.05 < s < 1.05 else 0.0) is None


@pytest.mark.parametrize(("delay_s", "samples"), [(0.5, 2), (1.0, 2), (2.0, 3), (3.0, 4)])
def test_a_slow_probe_is_due_with_the_sample_that_completes_its_delay(delay_s: float, samples: int) -> None:
    watched = Watched(high(delay_s=delay_s), SLOW)
    watched.run(3.0, 0.0)
    after_s = watched.due_after(20.0, lambda s: 31.0)
    assert after_s is not None
    assert after_s == pytest.approx(samples - 1.0, abs=0.25)


@pytest.mark.parametrize("signal", [FAST, SLOW])
def test_every_second_sample_bad_neither_starts_nor_stops_a_delay(signal: Signal) -> None:
    """Half of the samples lost is not yet intermittent: the good ones must still count as the time that they span."""
    watched = Watched(high(delay_s=3.0, grace_s=6.0), signal)
    watched.run(3.0, 0.0)
    after_s = watched.due_after(30.0, lambda s: 31.0 if round(s / signal.period_s) % 2 == 0 else None)
    assert after_s is not None
    assert after_s <= 3.0 + 2.0 * signal.period_s + 0.2


def test_bad_samples_do_not_begin_a_delay() -> None:
    watched = seen_at(0.0, high(delay_s=1.0, grace_s=60.0))
    assert watched.due_after(50.0, lambda s: None) is None


# --- switches


@pytest.mark.parametrize(("share", "due"), [(0.45, False), (0.5, False), (0.6, True), (0.9, True), (1.0, True)])
def test_chatter_counts_by_its_share_of_the_time(share: float, due: bool) -> None:
    """Edges are stamped by the kernel: each scan gets the share for which the float was low."""
    watched = Watched(FLOAT, SWITCH)
    watched.run(1.0, 1.0)
    after_s = watched.due_after(60.0, lambda s: 1.0 - share)
    assert (after_s is not None) == due
    if after_s is not None:
        assert after_s == pytest.approx(3.0 / (2.0 * share - 1.0), abs=0.25)


@pytest.mark.parametrize(("share", "due"), [(0.45, False), (0.6, True)])
@pytest.mark.parametrize("hertz", [0.5, 1.5, 4.7])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.7])
def test_chatter_slower_than_the_scan_counts_by_its_share_too(
    share: float, due: bool, hertz: float, phase: float
) -> None:
    def low_for(begin_s: float, end_s: float) -> float:
        """Seconds low within an interval, each period low for its first `share`."""

        def until(s: float) -> float:
            whole, part = divmod(s * hertz + phase, 1.0)
            return (whole * share + min(part, share)) / hertz

        return until(end_s) - until(begin_s)

    watched = Watched(FLOAT, SWITCH)
    watched.run(1.0, 1.0)
    after_s = watched.due_after(60.0, lambda s: 1.0 - min(1.0, low_for(s - 0.1, s) / 0.1))
    assert (after_s is not None) == due


def test_a_switch_without_delay_is_due_for_any_part_of_a_scan() -> None:
    watched = Watched(replace(FLOAT, delay_s=0.0), SWITCH)
    watched.run(1.0, 1.0)
    assert watched.scan(0.99).due


def test_a_switch_stands_until_it_is_proven_for_a_whole_scan() -> None:
    watched = Watched(replace(FLOAT, delay_s=0.0), SWITCH)
    watched.run(0.5, 0.0)
    assert watched.scan(0.9).standing
    assert watched.scan(1.0) is RESTING


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


# --- several members


def voted(needed: int, members: int, **changes: object) -> Limit:
    return high(members=tuple(range(members)), needed=needed, **changes)


def test_two_of_three_is_due_with_the_second_and_not_with_the_first() -> None:
    watched = Watched(voted(2, 3), FAST)
    watched.run(1.0, 0.0, 0.0, 0.0)
    assert not watched.run(10.0, 31.0, 0.0, 0.0).due
    assert not watched.run(0.9, 31.0, 31.0, 0.0).due
    assert watched.run(0.3, 31.0, 31.0, 0.0).due


def test_two_of_three_becomes_one_of_two_when_one_is_blind() -> None:
    watched = Watched(voted(2, 3), FAST)
    watched.run(1.0, 0.0, 0.0, 0.0)
    assert not watched.run(30.0, None, 0.0, 0.0).due
    assert not watched.run(1.0, None, 31.0, 0.0).due
    assert watched.run(0.2, None, 31.0, 0.0).due


def test_two_blind_members_of_three_are_due_at_the_second_ones_grace() -> None:
    watched = Watched(voted(2, 3, delay_s=50.0), FAST)
    watched.run(1.0, 0.0, 0.0, 0.0)
    watched.run(5.0, None, 0.0, 0.0)
    assert not watched.run(1.8, None, None, 0.0).due
    assert watched.run(0.3, None, None, 0.0).due
    assert watched.state.member in (0, 1)


def test_a_voted_trip_lets_go_when_enough_members_are_clear_though_one_stays_dead() -> None:
    watched = Watched(voted(2, 3, delay_s=0.0), FAST)
    watched.run(1.0, 0.0, 31.0, 31.0)
    assert watched.state.due
    watched.run(5.0, None, 29.0, 0.0)  # one dead, one within its deadband: it could still decide
    assert watched.state.standing
    watched.run(0.2, None, 0.0, 0.0)
    assert is_clear(watched.limit, watched.values)
    assert watched.state is RESTING


def test_a_blind_member_that_decides_alone_is_the_one_that_is_named() -> None:
    watched = Watched(voted(1, 2, delay_s=50.0), FAST)
    watched.run(1.0, 0.0, 0.0)
    watched.run(2.2, 31.0, None)  # the first demands, but within its delay
    assert watched.state.due
    assert watched.state.member == 1


def test_the_time_of_a_vote_counts_between_samples_too() -> None:
    """Two slow probes say 31 once each: held for 0.9 s they prove nothing."""
    watched = Watched(voted(2, 2, delay_s=0.8), SLOW)
    watched.run(3.0, 0.0, 0.0)
    dues = [watched.scan(31.0, 31.0).due for _ in range(9)]
    assert not any(dues)
    assert watched.run(1.2, 31.0, 31.0).due


def test_two_floats_vote_with_the_share_for_which_both_are_low() -> None:
    """One low for good, the other for a tenth of each scan: two of two are low together for a tenth at most."""
    limit = replace(FLOAT, members=(0, 1), needed=2)
    watched = Watched(limit, SWITCH)
    watched.run(1.0, 1.0, 1.0)
    assert not watched.run(30.0, 0.0, 0.9).due
    assert watched.run(30.0, 0.0, 0.2).due


def test_two_of_three_floats_vote_with_the_share_of_the_second_though_the_third_says_nothing() -> None:
    limit = replace(FLOAT, members=(0, 1, 2), needed=2, grace_s=60.0)
    watched = Watched(limit, SWITCH)
    watched.run(1.0, 1.0, 1.0, 1.0)
    assert not watched.run(20.0, 0.0, 0.6, None).due


def test_refused_readings_vote_and_count_between_their_samples() -> None:
    watched = Watched(voted(2, 3, delay_s=0.5, grace_s=6.0), FAST)
    watched.run(1.0, 0.0, 0.0, 0.0)
    assert not watched.run(0.5, 105.0, 105.0, 0.0).due
    assert watched.run(0.2, 105.0, 105.0, 0.0).due


@settings(max_examples=60)
@given(
    numbers=st.lists(
        st.sampled_from([29.0, 29.9, 30.0, 30.1, 105.0, -105.0, None]) | st.floats(-100.0, 100.0),
        min_size=1,
        max_size=80,
    )
)
def test_a_limit_is_due_only_while_it_demands_and_stands_only_after_it_was_due(numbers: list[float | None]) -> None:
    watched = Watched(high(delay_s=0.3, grace_s=0.5), FAST)
    was_due = False
    for number in numbers:
        before = watched.state
        state = watched.scan(number)
        was_due |= state.due
        if state.due:
            assert number is None or number >= 30.0 or number < -100.0
            assert state.standing
        if state.standing and not before.standing:
            assert state.due
        assert not state.standing or was_due
        assert 0.0 <= state.filled_s <= 0.3
