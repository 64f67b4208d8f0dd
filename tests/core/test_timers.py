"""The one timer: what it may never do, and what it must."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.timers import fill

seconds = st.floats(0.0, 100.0)
steps = st.floats(0.0, 1.0)


@given(filled_s=seconds, dt_s=steps, share=st.floats(0.0, 1.0), delay_s=seconds)
def test_a_timer_never_holds_less_than_nothing_nor_more_than_its_delay(
    filled_s: float, dt_s: float, share: float, delay_s: float
) -> None:
    assert 0.0 <= fill(min(filled_s, delay_s), dt_s, share, delay_s) <= delay_s


@given(filled_s=st.floats(1.0, 8.0), dt_s=steps)
def test_it_empties_at_the_rate_it_fills(filled_s: float, dt_s: float) -> None:
    fuller = fill(filled_s, dt_s, 1.0, 10.0)
    assert fuller == pytest.approx(filled_s + dt_s)
    assert fill(fuller, dt_s, 0.0, 10.0) == pytest.approx(filled_s)


@given(filled_s=st.floats(0.0, 9.9) | st.just(10.0), share=st.floats(0.0, 1.0))
def test_no_time_passed_changes_nothing(filled_s: float, share: float) -> None:
    assert fill(filled_s, 0.0, share, 10.0) == filled_s


@pytest.mark.parametrize(("share", "after_s"), [(1.0, 3.0), (0.75, 6.0), (0.6, 15.0), (0.55, 30.0)])
def test_a_condition_that_holds_most_of_the_time_comes_due(share: float, after_s: float) -> None:
    """A delay of 3 s is filled at (2 x share - 1) seconds a second."""
    filled_s, scans = 0.0, 0
    while filled_s < 3.0:
        filled_s = fill(filled_s, 0.1, share, 3.0)
        scans += 1
        assert scans < 1000
    assert scans * 0.1 == pytest.approx(after_s, abs=0.11)


@given(share=st.floats(0.0, 0.5))
def test_a_condition_that_holds_at_most_half_of_the_time_never_does(share: float) -> None:
    filled_s = 0.0
    for _ in range(300):
        filled_s = fill(filled_s, 0.1, share, 1.0)
    assert filled_s < 1.0


@pytest.mark.parametrize("scans", [1, 3, 10, 30, 50, 599, 600, 8640])
def test_so_many_tenths_of_a_second_fill_so_many_tenths_and_not_one_scan_more(scans: int) -> None:
    delay_s, filled_s, now_s = scans / 10, 0.0, 12345.6
    for count in range(1, scans + 1):
        assert filled_s < delay_s, count
        later_s = now_s + 0.1
        filled_s, now_s = fill(filled_s, later_s - now_s, 1.0, delay_s), later_s
    assert filled_s == delay_s


def test_a_delay_of_nothing_is_due_at_once() -> None:
    assert fill(0.0, 0.0, 1.0, 0.0) == 0.0
    assert math.copysign(1.0, fill(0.0, 0.1, 0.0, 0.0)) == 1.0
