"""The demo as a person starts it, and its judge, which must be able to say no."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.cli import demo as demo_module
from controller.cli.demo import Company, Demo
from controller.cli.faults import FAULTS, Named
from controller.core.commands import Verb
from controller.guard.client import Client

AT_MOST_S = 240


def lyewatch(*arguments: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    where = {"LYEWATCH_RUN_DIR": str(folder), "LYEWATCH_BENCH": str(folder)} if folder else {}
    return subprocess.run(
        [sys.executable, "-m", "controller.cli", *arguments],
        env=os.environ | where,
        capture_output=True,
        text=True,
        timeout=AT_MOST_S,
        check=False,
    )


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    company = Company(tmp_path / "d")
    company.folder.mkdir()
    made = Demo(company, "boathouse")
    made.start()
    made.to_power()
    yield made
    company.end()


@pytest.mark.parametrize(
    ("rig", "fault"),
    [
        ("boathouse", "level-low"),
        ("boathouse", "guard-killed"),
        ("fixed-voltage", "coolant-lost"),  # air cools it
        ("voltage-knob", "over-current"),
    ],
)
def test_a_fault_in_the_demo_ends_well_only_by_the_benchs_word(rig: str, fault: str) -> None:
    ended = lyewatch("demo", "--rig", rig, "--fault", fault)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert "contacts open" in ended.stdout
    assert "Guard:  says the same" in ended.stdout
    assert "Everything has ended." in ended.stdout


def test_the_judge_says_no_when_power_stays_on(
    demo: Demo, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo_module, "PATIENCE_S", 2.0)
    harmless = Named("nothing much", (("sensor-noisy", "coolant_inlet", 0.1),), frozenset({"leak"}), 1.0)
    monkeypatch.setitem(FAULTS, "coolant-lost", harmless)
    assert not demo.judge("coolant-lost")
    assert "power is still on" in capsys.readouterr().out


def test_the_judge_says_no_when_it_took_too_long_or_the_guard_names_another_cause(
    demo: Demo, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The float's limit has a delay of three seconds, and the cause is not a leak."""
    monkeypatch.setitem(FAULTS, "level-low", Named("x", (("level-low", "", 0.0),), frozenset({"leak"}), 1.0))
    assert not demo.judge("level-low")
    said = capsys.readouterr().out
    assert "later than 1 s: FAILED" in said
    assert "names level low hydrogen side, not leak. FAILED" in said


def test_another_terminal_needs_one_file_only(tmp_path: Path) -> None:
    folder = tmp_path / "a folder"
    folder.mkdir()
    here = demo_module.for_another_terminal(folder)
    ask = f". '{here}'; echo $LYEWATCH_RUN_DIR; echo $LYEWATCH_BENCH; lyewatch --version"
    said = subprocess.run(["sh", "-c", ask], capture_output=True, text=True, timeout=60, check=True, env={}).stdout
    assert said.splitlines()[:2] == [str(folder), str(folder)]
    assert said.splitlines()[2].startswith("lyewatch ")


def test_status_watch_and_fault_speak_with_the_running_rig(demo: Demo) -> None:
    folder = demo.folder
    status = lyewatch("status", folder=folder)
    assert status.returncode == 0, status.stderr
    assert any(words in status.stdout for words in ("First power", "Starting", "Running at"))
    watched = lyewatch("watch", "--seconds", "1", folder=folder)
    assert "self-test, main alone: passed" in watched.stdout
    unknown = lyewatch("fault", "coolant-los", folder=folder)
    assert (unknown.returncode, "Did you mean coolant-lost" in unknown.stderr) == (2, True)
    assert "coolant-lost" in lyewatch("fault", "--list", folder=folder).stdout
    assert lyewatch("fault", "stop-pressed", folder=folder).returncode == 0
    demo_module.wait_for("power off", demo.dead)
    tripped = lyewatch("status", folder=folder)
    assert tripped.returncode == 1, "the answer is no while a trip stands"
    assert "Tripped" in tripped.stdout
    assert lyewatch("reset", folder=folder).returncode == 1, "the cause still stands"
    assert lyewatch("fault", "--clear", folder=folder).returncode == 0

    def reset() -> bool:
        with Client(folder / "local.sock") as client:
            return client.do(Verb.RESET).accepted

    demo_module.wait_for("reset", reset)
