"""Is the controller fit for a start? Not known, full, read-only, sagging, or keeping pins: each is a no, in words."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.guard import realtime
from controller.guard.health import DISK_FREE_BYTES, Health
from controller.hardware.ports import TextFolder

PERSIST = "module/pinctrl_bcm2835/parameters/persist_gpio_outputs"


def kernel(tmp_path: Path, persists: str = "N", sags: str = "0") -> TextFolder:
    for path, text in (
        (PERSIST, persists),
        ("class/hwmon/hwmon0/name", "rpi_volt"),
        ("class/hwmon/hwmon0/in0_lcrit_alarm", sags),
    ):
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(text + "\n")
    return TextFolder(tmp_path)


def looked(health: Health) -> tuple[str, ...]:
    health.look()
    return health.faults


def test_before_it_has_looked_it_is_not_well(tmp_path: Path) -> None:
    assert not Health(kernel(tmp_path), tmp_path, lambda: "").well


def test_with_all_in_order_it_is_well(tmp_path: Path) -> None:
    health = Health(kernel(tmp_path), tmp_path, lambda: "")
    assert looked(health) == ()
    assert health.well


@pytest.mark.parametrize(
    ("persists", "sags", "latch", "said"),
    [
        ("Y", "0", "", "dtparam=strict_gpiod"),
        ("N", "1", "", "supply voltage is too low"),
        ("N", "0", "the latch cannot be written: No space left", "No space left"),
    ],
)
def test_each_fault_is_named(tmp_path: Path, persists: str, sags: str, latch: str, said: str) -> None:
    [fault] = looked(Health(kernel(tmp_path, persists, sags), tmp_path, lambda: latch))
    assert said in fault


def test_a_folder_that_is_gone_is_named(tmp_path: Path) -> None:
    [fault] = looked(Health(kernel(tmp_path), tmp_path / "gone", lambda: ""))
    assert "No such file or directory" in fault


@pytest.mark.parametrize(("free", "flag", "said"), [(DISK_FREE_BYTES - 4096, 0, "is full"), (10**9, 1, "read-only")])
def test_a_full_or_read_only_disk_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, free: int, flag: int, said: str
) -> None:
    blocks = free // 4096
    result = os.statvfs_result((4096, 4096, 10**6, blocks, blocks, 1000, 1000, 1000, flag, 255))
    monkeypatch.setattr(os, "statvfs", lambda _path: result)
    [fault] = looked(Health(kernel(tmp_path), tmp_path, lambda: ""))
    assert said in fault


def test_the_start_of_this_process_is_in_the_past_and_not_before_the_machines() -> None:
    import time

    began_s = realtime.process_began_s()
    assert 0.0 < began_s <= time.clock_gettime(time.CLOCK_BOOTTIME)
