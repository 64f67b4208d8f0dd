"""One limit: when it is due, and when it is not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.limits import RESTING, Limit, clear_between, watch
from controller.core.signals import Code, Signal, Status, Value
from tests.core.watched import FAST, FLOAT, SLOW, SWITCH, Watched, high, low, seen_at

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


@given(
    numbers=st.tuples(*[st.floats(-100.0, 100.0)] * 3),
    limit=st.sampled_from([high(), low(), high(magnitude=True), low(magnitude=True), FLOAT]),
    needed=st.integers(1, 3),
)
def test_a_vote_that_is_not_asked_would_have_said_that_it_is_clear(
    numbers: tuple[float, float, float], limit: Limit, needed: int
) -> None:
    vote = replace(limit, members=(0, 1, 2), needed=needed)
    above, below = clear_between(vote)
    values = [Value(number, Status.GOOD, Code.OK, 0.0, number, None, 0.0, 0) for number in numbers]
    if all(above < number < below for number in numbers):
        assert watch(vote, RESTING, values, -0.1, 0.0, calm=False) is RESTING
    elif needed == 1 and above < below:  # and one that is asked was worth it
        assert watch(vote, RESTING, values, -0.1, 0.0, calm=False) is not RESTING


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
