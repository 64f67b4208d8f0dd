"""Two guards never drive the same pins."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller.guard.lock import Locks, Taken, names_of


def test_a_second_guard_on_the_same_device_is_told_who_has_it(tmp_path: Path) -> None:
    held = Locks(tmp_path, ["machine", "i2c-1"])
    with pytest.raises(Taken, match=r"another guard \(process \d+\) already has i2c-1.*No pin was touched"):
        Locks(tmp_path, ["i2c-1", "pins"])
    held.release()


def test_a_guard_that_was_refused_holds_nothing(tmp_path: Path) -> None:
    held = Locks(tmp_path, ["pins"])
    with pytest.raises(Taken):
        Locks(tmp_path, ["a", "pins"])
    Locks(tmp_path, ["a"]).release()
    held.release()


def test_a_lock_ends_with_its_process_however_that_ends(tmp_path: Path) -> None:
    program = (
        "import os, sys\nfrom pathlib import Path\nfrom controller.guard.lock import Locks\n"
        "held = Locks(Path(sys.argv[1]), ['machine'])\nos.kill(os.getpid(), 9)"
    )
    ended = subprocess.run([sys.executable, "-c", program, str(tmp_path)], timeout=60, check=False)
    assert ended.returncode == -9
    Locks(tmp_path, ["machine"]).release()


def test_real_hardware_locks_the_machine_each_bus_and_the_pins() -> None:
    assert names_of([1, 1, 3], "gpiochip0") == ("machine", "gpiochip0", "i2c-1", "i2c-3")
