"""What is written to the card: counted where the device counts, and shown in status."""

from __future__ import annotations

import os
from pathlib import Path

from controller.record.wear import SECTOR_BYTES, Wear, wear
from tests.record.card_wear import measure


def test_two_hours_of_running_write_to_the_card_at_the_rate_of_a_day_within_bounds(tmp_path: Path) -> None:
    """The short form. The figure promised, 20 MB a day, is that of `python -m tests.record.card_wear`: two hours
    hold a larger share of the hourly roll-ups and of a checkpoint, so the bound here is wider; a doubling shows."""
    figure = measure(tmp_path, hours=2.0)
    assert 60 <= figure.commits <= 66  # one each two minutes, one for each event
    assert 1.0 < figure.megabytes_a_day(figure.bytes_written - figure.besides) < 25.0, figure
    assert figure.besides > 0


def fake_sys(folder: Path, device: int, sectors: int, partition: bool) -> None:
    disk = folder / "devices" / "mmcblk0"
    place = disk / "mmcblk0p2" if partition else disk
    place.mkdir(parents=True)
    (disk / "stat").write_text(f"   1 2 3 4 5 6 {sectors} 8 9 10 11\n")
    if partition:
        (place / "partition").write_text("2\n")
        (place / "stat").write_text("0 0 0 0 0 0 1 0\n")
    (folder / f"{os.major(device)}:{os.minor(device)}").symlink_to(place)


def test_wear_is_that_of_the_whole_card_not_of_the_partition(tmp_path: Path) -> None:
    for partition in (True, False):
        folder = tmp_path / str(partition)
        fake_sys(folder, os.stat(tmp_path).st_dev, 40_000, partition)
        found = wear(tmp_path, up_s=43_200.0, sys_block=folder)
        assert found == Wear("mmcblk0", 40_000 * SECTOR_BYTES, 43_200.0)
        assert found.bytes_a_day == 2 * 40_000 * SECTOR_BYTES


def test_a_rate_is_told_only_once_there_was_time_for_one() -> None:
    assert Wear("mmcblk0", 90_000_000, 3600.0).sentence == (
        "90 MB written to mmcblk0 by all programs in the 1.0 h since power-up"
    )
    assert Wear("mmcblk0", 30_000_000, 43_200.0).sentence.endswith("in the 12.0 h since power-up, 60 MB a day")


def test_wear_that_nobody_counts_is_not_zero(tmp_path: Path) -> None:
    assert wear(tmp_path, 1.0, sys_block=tmp_path / "nowhere") is None
    assert wear(tmp_path / "missing", 1.0) is None
