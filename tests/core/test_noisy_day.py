"""A calm rig with noisy sensors does not trip, and the noise is there."""

from __future__ import annotations

import pytest

from tests.core.noisy_day import day


@pytest.mark.parametrize(("hours", "scan_s", "seed"), [(1.0, 0.1, 1), (1.0, 0.1, 2), (24.0, 1.0, 3)])
def test_a_noisy_day_passes_without_one_trip_and_in_running_all_the_time(
    hours: float, scan_s: float, seed: int
) -> None:
    """At ten scans a second for two hours here; the whole day so is `python -m tests.core.noisy_day`."""
    found = day(hours, scan_s, seed)
    assert found.trips == []
    assert found.stops == []
    assert found.always_running
    assert found.scans > 0.95 * hours * 3600.0 / scan_s
    assert 0.007 < found.bad / found.read < 0.03
