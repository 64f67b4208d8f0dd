"""The units that ship: the system's own checker has nothing to say of them, and the guard's keeps its promises."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

UNITS = sorted((Path(__file__).parents[2] / "deploy" / "systemd").glob("*.service"))
GUARD = next(path for path in UNITS if "guard" in path.name)


@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.name)
def test_the_checker_has_nothing_to_say(unit: Path, tmp_path: Path) -> None:
    """It answers 0 even to an unknown key, so that silence is the proof."""
    checker = shutil.which("systemd-analyze")
    assert checker, "apt install systemd"
    copy = tmp_path / unit.name
    copy.write_text(unit.read_text().replace("/opt/lyewatch/bin/lyewatch", "/bin/true"))
    found = subprocess.run([checker, "verify", str(copy)], capture_output=True, text=True, timeout=60, check=False)
    assert [line for line in found.stderr.splitlines() if copy.name in line] == []


def settings(unit: Path) -> dict[str, str]:
    return dict(line.split("=", 1) for line in unit.read_text().splitlines() if "=" in line and line[0] != "#")


def test_the_guard_has_no_network_and_is_killed_when_it_stops_scanning() -> None:
    found = settings(GUARD)
    assert found["PrivateNetwork"] == "yes"
    assert found["RestrictAddressFamilies"] == "AF_UNIX"
    assert found["Type"] == "notify"
    assert 0 < float(found["WatchdogSec"]) <= 5
    assert found["WatchdogSignal"] == "SIGKILL"  # a stopped process does not answer the default one


def test_the_guard_is_never_given_up_and_never_restarted_in_a_hurry() -> None:
    found = settings(GUARD)
    assert (found["Restart"], found["StartLimitIntervalSec"]) == ("always", "0")
    assert float(found["RestartSec"]) >= 30


def test_outputs_are_put_off_after_it() -> None:
    assert "outputs-off" in settings(GUARD)["ExecStopPost"]
