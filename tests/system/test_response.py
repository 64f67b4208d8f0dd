"""A short form of `python -m tests.system.response`."""

from __future__ import annotations

import doctest

import pytest

from tests.system import response
from tests.system.site import quick_rig


@pytest.mark.parametrize(("fault", "count", "delay_s"), [("short", 1, 0.0), ("level-low", 1, 3.0)])
def test_a_fault_opens_the_contacts_not_before_its_delay_by_the_coil_and_is_named_first(
    fault: str, count: int, delay_s: float
) -> None:
    found = response.trips(fault, count, "short form")
    assert len(found) == count
    assert all(one.first_out in response.FAULTS[fault].causes for one in found)
    for one in found:
        assert delay_s < one.coil_off_s < one.open_s


def test_scans_come_one_a_period() -> None:
    found = response.punctual(response.scans(30, "short form"), quick_rig()[0].scan_s)
    assert len(found.late_s) == 30
    assert min(found.late_s) == 0.0


def test_lateness_is_against_the_grid_and_what_was_left_out_is_counted() -> None:
    assert doctest.testmod(response).attempted > 0
    assert doctest.testmod(response).failed == 0


def test_shares_of_a_sorted_list() -> None:
    thousand_s = [nth / 1000.0 for nth in range(1000)]
    assert response.line("x", thousand_s).split() == ["x", "0.0", "500.0", "950.0", "990.0", "999.0", "999.0"]
