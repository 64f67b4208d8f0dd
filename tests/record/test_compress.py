"""The stored line stays within its bound of every sample, and gaps stay gaps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.record import blocks
from controller.record.blocks import JOINED, STATUS, Row
from controller.record.compress import corridor

NUMBERS = st.floats(-1e4, 1e4, allow_nan=False, width=32)


def furthest(times: list[int], values: list[float], kept: list[int]) -> list[float]:
    line = np.interp(times, [times[k] for k in kept], [values[k] for k in kept])
    return [abs(value - at) for value, at in zip(values, line.tolist(), strict=True)]


@given(st.lists(st.tuples(st.integers(1, 5000), NUMBERS), min_size=1, max_size=80), st.floats(0.0, 100.0))
@example([(1, 0.0), (1, 1e4), (1, 0.0)], 0.0)
def test_no_sample_is_further_from_the_line_than_the_bound(steps: list[tuple[int, float]], bound: float) -> None:
    times = np.cumsum([dt for dt, _ in steps]).tolist()
    values = [v for _, v in steps]
    kept = corridor(times, values, [bound] * len(values))
    assert kept[0] == 0
    assert kept[-1] == len(values) - 1
    assert kept == sorted(set(kept))
    assert max(furthest(times, values, kept)) <= bound + 1e-8


@given(st.lists(st.tuples(NUMBERS, st.sampled_from([0.0, 1.0, 50.0])), min_size=2, max_size=60))
def test_each_sample_keeps_its_own_bound(samples: list[tuple[float, float]]) -> None:
    times, values, bounds = list(range(len(samples))), [v for v, _ in samples], [b for _, b in samples]
    away = furthest(times, values, corridor(times, values, bounds))
    assert all(a <= bound + 1e-8 for a, bound in zip(away, bounds, strict=True))


def test_a_published_example_keeps_its_line_within_the_deviation() -> None:
    """The data of the swinging-door patent's usual worked example (US 4669097, after a public library's figures).

    That method ends on computed points, (7.5; 8.25) among them; ours keeps measured ones, the bound is the same.
    """
    times, values = list(range(1, 9)), [6.0, 6.5, 5.5, 6.5, 8.0, 7.5, 8.0, 9.5]
    kept = corridor(times, values, [1.0] * 8)
    assert max(furthest(times, values, kept)) <= 1.0
    assert len(kept) <= 4  # the computed form keeps 3


def test_a_straight_line_is_two_points_and_a_peak_keeps_its_height() -> None:
    assert corridor(list(range(100)), [0.5 * n for n in range(100)], [0.0] * 100) == [0, 99]
    values = [1.0] * 50 + [9.0] + [1.0] * 50
    kept = corridor(list(range(101)), values, [0.1] * 101)
    assert max(values[k] for k in kept) == 9.0


def stored(rows: list[Row], bound: float, before: Row | None = None) -> blocks.Points:
    block = blocks.pack(rows, [bound], [False] * len(rows), before)
    return blocks.by_signal([(rows[0].at_ms, blocks.seal(block, [41]))]).get(41, blocks.NOTHING)


SAMPLES = st.one_of(st.tuples(NUMBERS, st.sampled_from([0, 1])), st.tuples(st.none(), st.sampled_from([2, 3, 4])))


@given(st.lists(st.tuples(st.sampled_from([100, 1000, 9000]), SAMPLES), min_size=1, max_size=60), st.floats(0.0, 50.0))
def test_what_is_stored_gives_back_every_sample_within_the_bound_and_every_gap(
    steps: list[tuple[int, tuple[float | None, int]]], bound: float
) -> None:
    times = np.cumsum([dt for dt, _ in steps]).tolist()
    rows = [Row(at, (sample,)) for at, (_, sample) in zip(times, steps, strict=True)]
    points = stored(rows, bound)
    for row in rows:
        (number, status), at_s = row.samples[0], row.at_ms / 1000.0
        after = int(np.searchsorted(points.at_s, at_s, side="left"))
        if number is None:  # the newest point at or before it says that nothing is to be believed
            newest = int(np.searchsorted(points.at_s, at_s, side="right")) - 1
            assert math.isnan(points.value[newest])
            continue
        if points.at_s[min(after, len(points.at_s) - 1)] == at_s:
            assert points.value[after] == pytest.approx(number, rel=1e-6, abs=0.13 * bound)
            assert points.mark[after] & STATUS == status
        else:
            assert points.mark[after] & JOINED
            assert points.mark[after] & STATUS == status
            between = np.interp(at_s, points.at_s[after - 1 : after + 1], points.value[after - 1 : after + 1])
            assert abs(between - number) <= bound + 1e-6 * abs(number) + 1e-6


def test_a_line_is_not_drawn_over_a_pause() -> None:
    rows = [Row(0, ((1.0, 0),)), Row(1000, ((1.0, 0),)), Row(9000, ((1.0, 0),)), Row(10_000, ((1.0, 0),))]
    points = stored(rows, 0.1)
    assert points.at_s.tolist() == [0.0, 1.0, 9.0, 10.0]
    assert [bool(mark & JOINED) for mark in points.mark] == [False, True, False, True]


def test_a_block_goes_on_from_the_one_before() -> None:
    rows = [Row(1000, ((1.0, 0),)), Row(2000, ((1.0, 0),))]
    assert stored(rows, 0.1, before=Row(0, ((1.0, 0),))).mark.tolist() == [JOINED, JOINED]
    assert stored(rows, 0.1, before=Row(0, ((None, 4),))).mark.tolist() == [0, JOINED]


def test_an_eighth_of_the_bound_may_go_into_rounding_and_nothing_where_the_bound_is_nothing() -> None:
    assert blocks.rounded(20.013, 0.05) == (20.015625, 0.05 - 0.00390625)
    assert blocks.rounded(20.013, 0.0) == (blocks.single(20.013), 0.0)
    assert blocks.single(20.013) == pytest.approx(20.013, rel=1e-7)


def test_bytes_that_are_no_block_are_refused() -> None:
    with pytest.raises(ValueError, match="not a packed block"):
        blocks.unseal(b"something else")
