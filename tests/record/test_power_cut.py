"""Whenever power goes, the record opens, no event that was safe is missing, and at most two minutes of trend are."""

from __future__ import annotations

from pathlib import Path

from tests.record.power_cut import kills, tears


def test_a_writer_killed_at_random_points_loses_no_event_and_at_most_two_minutes(tmp_path: Path) -> None:
    found = kills(tmp_path, 6, seed=3)
    assert all(f.whole for f in found)
    assert sum(f.events for f in found) > 50  # else nothing was tried
    assert [f.missing_events for f in found] == [0] * len(found)
    assert max(f.missing_trend_s for f in found) <= 120.0


def test_a_write_ahead_file_cut_or_garbled_and_a_torn_checkpoint_lose_nothing_that_was_safe(tmp_path: Path) -> None:
    found = tears(tmp_path, 40, seed=4)
    assert all(f.whole for f in found)
    assert [f.missing_events for f in found] == [0] * len(found)
    assert len({f.events for f in found}) > 5  # cut in different places
    assert max(f.missing_trend_s for f in found) <= 120.0
