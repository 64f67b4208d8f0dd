"""The units that ship: the system's own checker has nothing to say of them, and the guard's keeps its promises."""

from __future__ import annotations

import shutil
import subprocess
from importlib import import_module
from pathlib import Path

import pytest

from controller.cli.app import ENTRIES
from controller.guard.realtime import PRIORITY

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


def test_every_user_that_a_unit_names_is_made_by_the_users_file() -> None:
    """Groups too: a unit whose group is missing does not start. In sysusers.d(5) `u` makes a group besides."""
    lines = [line.split() for line in (UNITS[0].parent / "lyewatch.sysusers").read_text().splitlines()]
    made = {line[1] for line in lines if line and line[0] in ("u", "g")}
    for unit in UNITS:
        found = settings(unit)
        assert {found["User"], *found.get("SupplementaryGroups", "").split()} <= made, unit.name


def test_the_users_file_is_one_that_the_system_takes(tmp_path: Path) -> None:
    maker = shutil.which("systemd-sysusers")
    assert maker, "apt install systemd"
    file = UNITS[0].parent / "lyewatch.sysusers"
    (tmp_path / "etc").mkdir()
    ran = subprocess.run(
        [maker, "--root", str(tmp_path), str(file)], capture_output=True, text=True, timeout=60, check=False
    )
    assert ran.returncode == 0, ran.stderr
    assert {"lyewatch", "lyewatch-link", "lyewatch-page", "lyewatch-notify"} <= {
        line.split(":")[0] for line in (tmp_path / "etc" / "passwd").read_text().splitlines()
    }


def test_who_asks_whether_the_clock_is_synchronised_is_allowed_to() -> None:
    """@system-service leaves it out, and a refusal would read as a clock that is not synchronised."""
    for unit in UNITS:
        if unit.stem in ("lyewatch-guard", "lyewatch-link"):
            found = settings(unit)
            assert {"adjtimex", "clock_adjtime", "clock_adjtime64"} <= set(found["SystemCallFilter"].split())
            assert "ProtectClock" not in found  # it filters the same calls


def test_only_the_scan_gets_real_time_priority() -> None:
    """A scheduling policy of the unit would be inherited by the threads that wait for the card and the slow sensors."""
    found = settings(GUARD)
    assert int(found["LimitRTPRIO"]) == PRIORITY
    assert "CPUSchedulingPolicy" not in found


def test_each_unit_starts_a_command_with_everything_that_it_needs() -> None:
    for unit in UNITS:
        program, *arguments = settings(unit)["ExecStart"].split()
        assert program == "/opt/lyewatch/bin/lyewatch"
        module, _, attribute = ENTRIES[arguments[0]].where.partition(":")
        command = getattr(import_module(module), attribute)
        command.make_context(arguments[0], arguments[1:])
        assert arguments[1:] or unit.stem == "lyewatch-page"  # all others work from a file


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
