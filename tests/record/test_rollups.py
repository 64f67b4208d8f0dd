"""Least, mean over time and most of a line that is straight between its points."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.record import rollups
from controller.record.blocks import JOINED, Points
from controller.record.rollups import Buckets, merged, summarise


def points(*at: tuple[float, float, bool]) -> Points:
    times, values, tied = zip(*at, strict=True)
    return Points(np.array(times), np.array(values), np.array([JOINED if t else 0 for t in tied], np.uint8))


def test_a_ramp_over_two_minutes() -> None:
    """0 to 120 in 120 s: the first minute averages 30, the second 90 (the middle of a straight line)."""
    buckets = summarise(points((0, 0, False), (120, 120, True)), 0.0, 60.0, 2)
    assert buckets.least.tolist() == [0, 60]
    assert buckets.mean.tolist() == [30, 90]
    assert buckets.most.tolist() == [60, 120]
    assert buckets.seen_s.tolist() == [60, 60]


def test_the_mean_is_weighted_by_time_not_by_points() -> None:
    line = points((0, 10, False), (50, 10, True), (51, 20, True), (52, 10, True), (53, 10, True), (60, 10, True))
    assert summarise(line, 0.0, 60.0, 1).mean[0] == pytest.approx((58 * 10 + 2 * 15) / 60)


def test_a_gap_counts_for_nothing() -> None:
    line = points((0, 10, False), (20, 10, True), (20.5, math.nan, False), (50, 40, False), (59, 40, True))
    buckets = summarise(line, 0.0, 60.0, 2)
    assert buckets.seen_s.tolist() == [29, 0]
    assert buckets.mean[0] == pytest.approx((20 * 10 + 9 * 40) / 29)
    assert math.isnan(buckets.mean[1])


def test_a_line_that_comes_in_and_goes_out_counts_inside_only() -> None:
    buckets = summarise(points((-60, 0, False), (120, 180, True)), 0.0, 60.0, 1)
    assert (buckets.least[0], buckets.mean[0], buckets.most[0], buckets.seen_s[0]) == (60, 90, 120, 60)


@given(st.lists(st.tuples(st.floats(0.05, 40), st.floats(-100, 100), st.booleans()), min_size=2, max_size=40))
def test_against_a_line_walked_in_small_steps(steps: list[tuple[float, float, bool]]) -> None:
    """Independent: the same line looked at every 5 ms."""
    times = np.cumsum([dt for dt, _, _ in steps])
    line = points(*((float(t), v, tied) for t, (_, v, tied) in zip(times, steps, strict=True)))
    buckets = summarise(line, 0.0, 60.0, 3)
    for nth in range(3):
        grid = np.arange(60.0 * nth + 0.0025, 60.0 * (nth + 1), 0.005)
        after = np.searchsorted(times, grid)
        on = (after > 0) & (after < len(times))
        on[on] &= line.mark[after[on]] != 0
        assert buckets.seen_s[nth] == pytest.approx(on.sum() * 0.005, abs=0.02 * len(steps))
        if on.sum() > 2000:
            values = np.interp(grid[on], times, line.value)
            assert buckets.mean[nth] == pytest.approx(values.mean(), abs=0.5)
            assert buckets.least[nth] <= values.min() + 1e-6
            assert buckets.most[nth] >= values.max() - 1e-6


def test_a_row_comes_back_as_it_was_packed() -> None:
    one = summarise(points((0, 0, False), (120, 120, True)), 0.0, 60.0, 2)
    two = summarise(points((0, 5, False), (59, 5, True)), 0.0, 60.0, 2)
    back = rollups.unpack(rollups.pack({3: one, 9: two}))
    assert back.keys() == {3, 9}
    assert back[3].mean.tolist() == [30, 90]
    assert back[9].seen_s.tolist() == [59, 0]
    assert rollups.unpack(rollups.pack({3: one, 9: two}), [9]).keys() == {9}


def test_many_buckets_become_one() -> None:
    two = Buckets(np.array([1.0, 0.0]), np.array([2.0, 8.0]), np.array([3.0, 9.0]), np.array([30.0, 60.0]))
    assert [float(column[0]) for column in merged(two)] == [0.0, 6.0, 9.0, 90.0]
