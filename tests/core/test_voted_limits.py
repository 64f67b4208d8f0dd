"""A limit that several signals vote on."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.limits import RESTING, Arming, Effect, Limit, is_clear
from tests.core.bench import LIMITS
from tests.core.rigs import MORE_LIMITS, PRESSURE_H, PRESSURE_O, full_bench
from tests.core.watched import FAST, FLOAT, SLOW, SWITCH, Watched, high

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


@pytest.mark.parametrize("member", [PRESSURE_H, PRESSURE_O])
def test_in_the_whole_scan_a_vote_hears_each_of_its_members(member: int) -> None:
    either = Limit(
        "either", "Either pressure", (PRESSURE_H, PRESSURE_O), 4.0, True, Effect.TRIP, Arming.ALWAYS, grace_s=2.0
    )
    bench = full_bench(limits=(*LIMITS, *MORE_LIMITS, either))
    bench.run(3.0)
    assert "either" not in bench.causes
    bench.numbers[bench.rig.signals[member].name] = 4.5
    bench.run(0.3)
    assert bench.causes == ["either"]
