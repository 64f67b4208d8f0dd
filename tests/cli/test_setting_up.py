"""The scripts' own environment: once for a checkout, anew for another. With a stand-in for Python and pip."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "deploy" / "python.sh"
STAND_IN = """#!/bin/sh
case "$1 $2" in
"--version ") echo "Python 3.11.0" ;;
"-m venv") mkdir -p "$4/bin" && cp "$0" "$4/bin/python" ;;
"-m pip")
    for place; do :; done
    place=${place%[*}
    mkdir -p "$place/controller/dashboard/dist"
    echo "$place" >>"$INSTALLED" ;;
esac
"""


class Machine:
    """A home with one environment, and checkouts."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.python = home / "python"
        self.python.write_text(STAND_IN)
        self.python.chmod(0o755)
        self.installed = home / "installed"
        self.installed.touch()

    def checkout(self, name: str) -> Path:
        root = self.home / name
        root.mkdir()
        (root / "pyproject.toml").write_text("[project]")
        return root

    def set_up(self, root: Path) -> list[str]:
        """Which checkouts have been installed by now, in order."""
        script = f'set -eu; root="{root}"; . "{SCRIPT}"; make_venv "{self.home}/env" demo; test -x "$venv/bin/python"'
        environment = {"PYTHON": str(self.python), "INSTALLED": str(self.installed), "PATH": "/usr/bin:/bin"}
        subprocess.run(["sh", "-c", script], check=True, env=environment, timeout=60)
        return [Path(line).name for line in self.installed.read_text().splitlines()]


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


def test_one_checkout_is_installed_once_and_again_when_its_needs_change(machine: Machine) -> None:
    root = machine.checkout("one")
    assert machine.set_up(root) == ["one"]
    assert machine.set_up(root) == ["one"]
    (root / "pyproject.toml").write_text("[project] # more")
    assert machine.set_up(root) == ["one", "one"]


def test_another_checkout_does_not_run_the_first_ones_program(machine: Machine) -> None:
    first, second = machine.checkout("first"), machine.checkout("second")
    machine.set_up(first)
    shutil.rmtree(first)
    assert machine.set_up(second) == ["first", "second"]


def test_a_fresh_clone_in_the_old_place_gets_its_page_built(machine: Machine) -> None:
    machine.set_up(machine.checkout("one"))
    shutil.rmtree(machine.home / "one")
    assert machine.set_up(machine.checkout("one")) == ["one", "one"]
