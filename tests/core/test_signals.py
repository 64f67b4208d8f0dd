"""Validation: the first reason wins, and nothing that is not believed is used."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.signals import Code, Reading, Signal, Status, Value, unseen, validate

NOW_S = 500.0
SIGNAL = Signal(
    "lye", "Lye", "C", "temperature", 1.0, 0.0, 100.0, electrical_low=-10.0, electrical_high=120.0,
    step=5.0, rate_per_s=1.0,
)  # fmt: skip
LAST = Value(50.0, Status.GOOD, Code.OK, NOW_S - 1.0, 50.0, None, NOW_S - 1.0, 0)
INF, NAN = math.inf, math.nan

# In the order in which they are asked: what is wrong with a number, and what with its stamp.
IN_ORDER = [
    Code.BAD_CHECKSUM, Code.NOT_FINITE, Code.FROM_THE_FUTURE, Code.OLDER_THAN_THE_LAST, Code.OLD, Code.SATURATED,
    Code.OUT_OF_RANGE, Code.TOO_FAST, Code.OK,
]  # fmt: skip
NUMBERS = {
    Code.BAD_CHECKSUM: [(50.0, Code.BAD_CHECKSUM), (NAN, Code.BAD_CHECKSUM), (130.0, Code.BAD_CHECKSUM)],
    Code.NOT_FINITE: [(NAN, Code.OK), (INF, Code.OK), (-INF, Code.OK)],
    Code.SATURATED: [(120.0, Code.OK), (-10.0, Code.OK), (130.0, Code.OK), (-1e300, Code.OK)],
    Code.OUT_OF_RANGE: [(100.1, Code.OK), (-0.1, Code.OK), (119.9, Code.OK)],
    Code.TOO_FAST: [(80.0, Code.OK), (20.0, Code.OK)],
    Code.OK: [(50.0, Code.OK), (55.0, Code.OK)],
}
STAMPS = {
    Code.FROM_THE_FUTURE: [NOW_S + 1e-6, INF, NAN],
    Code.OLDER_THAN_THE_LAST: [NOW_S - 1.0001, -INF, -1e9],
    Code.OLD: [],  # needs a last one that is older still: see below
    Code.OK: [NOW_S, NOW_S - 1.0],
}


@pytest.mark.parametrize(
    ("number", "code", "stamp_s", "reason"),
    [
        (number, code, stamp_s, min((why, when), key=IN_ORDER.index))
        for (why, numbers), (when, stamps) in itertools.product(NUMBERS.items(), STAMPS.items())
        for (number, code), stamp_s in itertools.product(numbers, stamps)
    ],
)
def test_the_first_reason_wins(number: float, code: Code, stamp_s: float, reason: Code) -> None:
    value = validate(SIGNAL, LAST, Reading(number, stamp_s, code), NOW_S)
    assert value.code is reason
    assert (value.number is not None) == (reason is Code.OK)


@pytest.mark.parametrize(("age_s", "code"), [(1.5, Code.OK), (1.500001, Code.OLD), (40.0, Code.OLD)])
@pytest.mark.parametrize("number", [50.0, 130.0])
def test_a_sample_older_than_one_and_a_half_periods_is_old_wherever_it_lies(
    age_s: float, code: Code, number: float
) -> None:
    last = unseen(0.0)
    value = validate(SIGNAL, last, Reading(number, NOW_S - age_s), NOW_S)
    assert value.code is (Code.SATURATED if code is Code.OK and number > 100.0 else code)
    assert value.rejected == (number if value.code is Code.SATURATED else None)


@pytest.mark.parametrize("code", [c for c in Code if Code.ABSENT <= c <= Code.FORCED])
@pytest.mark.parametrize("number", [50.0, None])
def test_the_drivers_own_word_is_never_overruled_by_a_plausible_number(code: Code, number: float | None) -> None:
    value = validate(SIGNAL, LAST, Reading(number, NOW_S, code), NOW_S)
    assert (value.number, value.code, value.rejected) == (None, code, None)
    assert value.status is (Status.FUNCTION_CHECK if code is Code.FORCED else Status.FAILURE)


def test_no_number_without_a_reason_is_absent() -> None:
    assert validate(SIGNAL, LAST, Reading(None, NOW_S), NOW_S).code is Code.ABSENT


def test_a_calibration_overdue_is_used_and_said() -> None:
    value = validate(SIGNAL, LAST, Reading(51.0, NOW_S, Code.CALIBRATION_OVERDUE), NOW_S)
    assert (value.number, value.status) == (51.0, Status.MAINTENANCE_REQUIRED)


def test_out_of_specification_is_not_used_but_its_side_counts() -> None:
    value = validate(SIGNAL, LAST, Reading(51.0, NOW_S, Code.OUT_OF_SPECIFICATION), NOW_S)
    assert (value.number, value.status, value.rejected) == (None, Status.OUT_OF_SPECIFICATION, 51.0)


@pytest.mark.parametrize("number", [0.0, 100.0])
def test_the_ends_of_the_range_belong_to_it(number: float) -> None:
    assert validate(SIGNAL, unseen(0.0), Reading(number, NOW_S), NOW_S).number == number


def test_a_rail_that_means_a_broken_wire_says_nothing_of_the_quantity() -> None:
    wire = Signal("p", "P", "mbar", "pressure", 0.1, 0.0, 100.0, 0.0, 100.0, rail_is_wire_fault=True)
    for rail in (0.0, 100.0, 130.0, -3.0):
        value = validate(wire, unseen(0.0), Reading(rail, NOW_S), NOW_S)
        assert (value.code, value.rejected) == (Code.WIRE_FAULT, None)


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_a_true_new_level_is_accepted_once_the_allowance_has_grown_to_it(direction: float) -> None:
    """Step 5 and 1 a second: a jump by 15 is believed 10 s after the last good sample, and not before."""
    value, number = LAST, 50.0 + direction * 15.0
    for second in range(12):
        now_s = NOW_S + second  # the last good one was a second before the first of these
        value = validate(SIGNAL, value, Reading(number, now_s), now_s)
        assert value.code is (Code.TOO_FAST if second + 1 < 10 else Code.OK), second
        assert value.rejected == (number if second + 1 < 10 else None)


def test_a_spike_does_not_move_what_the_next_sample_is_measured_against() -> None:
    spiked = validate(SIGNAL, LAST, Reading(95.0, NOW_S), NOW_S)
    assert (spiked.good_number, spiked.good_stamp_s) == (50.0, NOW_S - 1.0)
    assert validate(SIGNAL, spiked, Reading(50.5, NOW_S + 1.0), NOW_S + 1.0).number == 50.5


@pytest.mark.parametrize("filter_s", [0.5, 10.0])
def test_a_filter_lags_by_its_time_constant_and_a_held_sample_does_not_move_it(filter_s: float) -> None:
    """A first-order lag of 10 s has done 63 % of a step after 10 s; implicit Euler at 1 s gives 61.4 %."""
    signal = Signal("t", "T", "C", "temperature", 1.0, 0.0, 100.0, filter_s=filter_s)
    value = validate(signal, unseen(0.0), Reading(0.0, 1.0), 1.0)
    for second in range(2, 12):
        stamp_s = float(second)
        for now_s in (stamp_s, stamp_s + 0.3, stamp_s + 0.9):
            value = validate(signal, value, Reading(10.0, stamp_s), now_s)
    assert value.number == pytest.approx(10.0 * (1.0 - (1.0 + 1.0 / filter_s) ** -10))
    assert value.good_number == 10.0


def test_a_filter_begins_anew_after_a_bad_sample() -> None:
    signal = Signal("t", "T", "C", "temperature", 1.0, 0.0, 100.0, filter_s=10.0)
    value = validate(signal, unseen(0.0), Reading(0.0, 1.0), 1.0)
    value = validate(signal, value, Reading(None, 2.0), 2.0)
    assert validate(signal, value, Reading(8.0, 3.0), 3.0).number == 8.0


def test_the_window_of_bad_scans_holds_as_many_as_it_says_and_forgets() -> None:
    signal = Signal("t", "T", "C", "temperature", 0.1, 0.0, 100.0, window_scans=8)
    value, now_s = unseen(0.0), 1.0
    for bad in [True] * 12 + [False] * 3 + [True]:
        now_s += 0.1
        value = validate(signal, value, Reading(None if bad else 5.0, now_s), now_s)
    assert value.bad_bits == 0b11110001
    for _ in range(8):
        now_s += 0.1
        value = validate(signal, value, Reading(5.0, now_s), now_s)
    assert value.bad_bits == 0


anything = st.floats(allow_nan=True, allow_infinity=True)
at_the_edges = st.sampled_from([NOW_S, NOW_S - 1.0, NOW_S - 1.5, NOW_S + 0.1])
stamps = anything | at_the_edges | st.floats(NOW_S - 3.0, NOW_S + 1.0)


@given(
    number=st.none() | anything | st.floats(-20.0, 130.0),
    stamp_s=stamps,
    code=st.sampled_from(Code),
    last=st.sampled_from([LAST, unseen(NOW_S - 2.0)]),
)
def test_whatever_a_driver_gives_only_a_number_in_range_fresh_and_vouched_for_is_used(
    number: float | None, stamp_s: float, code: Code, last: Value
) -> None:
    value = validate(SIGNAL, last, Reading(number, stamp_s, code), NOW_S)
    if value.number is not None:
        assert number is not None
        assert code in (Code.OK, Code.CALIBRATION_OVERDUE)
        assert 0.0 <= value.number <= 100.0
        assert NOW_S - 1.5 <= value.good_stamp_s == stamp_s <= NOW_S
        assert value.bad_bits & 1 == 0
    else:
        assert (value.good_stamp_s, value.good_number) == (last.good_stamp_s, last.good_number)
        assert value.bad_bits & 1 == (code is not Code.FORCED)
        assert value.code is not Code.OK
    assert value.seen_stamp_s <= NOW_S


@given(number=st.floats(0.0, 100.0), stamp_s=st.floats(NOW_S - 0.9, NOW_S), again=st.integers(1, 5))
def test_a_good_sample_held_is_the_same_value_each_time(number: float, stamp_s: float, again: int) -> None:
    value = first = validate(SIGNAL, unseen(0.0), Reading(number, stamp_s), NOW_S)
    for scan in range(again):
        value = validate(SIGNAL, value, Reading(number, stamp_s), NOW_S + 0.1 * scan)
    assert value == first
