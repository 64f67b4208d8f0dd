"""The command as a whole: its table, its help, its exit codes, and that nobody ever sees a traceback."""

from __future__ import annotations

import subprocess
import sys
from importlib import import_module
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from controller.cli import app
from controller.cli.app import ENTRIES, TABLE, lyewatch
from controller.cli.problems import Problem


def lyewatch_says(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "controller.cli", *arguments], capture_output=True, text=True, timeout=120, check=False
    )


@pytest.mark.parametrize("entry", TABLE, ids=lambda e: e.name)
def test_every_command_in_the_table_loads_and_explains_itself(entry: app.Entry) -> None:
    module, _, attribute = entry.where.partition(":")
    command = getattr(import_module(module), attribute)
    assert isinstance(command, click.Command)
    result = CliRunner().invoke(command, ["--help"])
    assert result.exit_code == 0
    assert len(result.output) > 60


@pytest.mark.parametrize("entry", TABLE, ids=lambda e: e.name)
def test_no_line_of_any_help_is_wider_than_a_terminal(entry: app.Entry) -> None:
    def look(command: click.Command, words: list[str]) -> None:
        result = CliRunner().invoke(command, ["--help"], prog_name=" ".join(words), terminal_width=80)
        assert [line for line in result.output.splitlines() if len(line) > 80] == []
        if isinstance(command, click.Group):
            for name, inner in command.commands.items():
                look(inner, [*words, name])

    module, _, attribute = entry.where.partition(":")
    look(getattr(import_module(module), attribute), ["lyewatch", entry.name])


def test_the_list_of_commands_loads_none_of_them() -> None:
    program = (
        "import sys, click\nfrom controller.cli.app import lyewatch\n"
        "lyewatch.main(['--help'], standalone_mode=False)\n"
        "heavy = {'pydantic', 'rich', 'numpy', 'gpiozero', 'paho'} & set(sys.modules)\n"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    shown = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=False)
    assert shown.returncode == 0, shown.stderr
    for name in ENTRIES:
        assert f"  {name} " in shown.stdout


def test_the_guards_interpreter_loads_nothing_that_a_scan_does_not_need() -> None:
    program = (
        "import sys, controller.cli.guard_process\n"
        "heavy = {'pydantic', 'rich', 'numpy', 'click', 'paho', 'cryptography', 'asyncio', 'ssl', 'sqlite3'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)"
    )
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == 0, ended.stderr


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("strat",), 2, "Did you mean start?"),
        (("start",), 2, "name one end of the run"),
        (("start", "--hours", "1", "--unlimited"), 2, "name one end of the run"),
        (("start", "--until", "25:00"), 2, "not a time of day"),
        (("start", "--hours", "-1"), 2, "-1"),
        (("stop", "--run-dir", "/nonexistent"), 1, "no guard answers at /nonexistent/local.sock"),
        (("status", "--run-dir", "/nonexistent"), 1, "no guard answers"),
        (("watch", "--run-dir", "/nonexistent"), 1, "no guard answers"),
        (("guard", "/nonexistent.toml"), 2, "there is no such file"),
        (("demo", "--rig", "/nonexistent.toml"), 2, "there is no such file"),
        (("guard", "boathouse"), 2, "name a running bench with --bench"),
        (("guard", "boathouse", "--bench", "/nonexistent"), 2, "no bench in /nonexistent"),
        (("bench", "/nonexistent.toml"), 2, "/nonexistent.toml"),
        (("fault", "coolant-lost", "--dir", "/nonexistent"), 1, "no bench answers"),
        (("fault",), 2, "name a fault"),
        (("fault", "guard-killed"), 2, "demo --fault guard-killed"),
        (("demo", "--rig", "uncooled", "--fault", "coolant-lost"), 2, "nothing cools uncooled"),
        (("demo", "--rig", "shed"), 2, "ships: boathouse, drooping, fixed-voltage, minimal, uncooled"),
        (("new",), 2, "name the file to write"),
        (("service",), 2, "say how the supply is isolated"),
    ],
)
def test_what_goes_wrong_is_a_sentence_and_a_code(arguments: tuple[str, ...], code: int, said: str) -> None:
    result = lyewatch_says(*arguments)
    assert (result.returncode, said in result.stderr) == (code, True), result.stderr
    assert "Traceback" not in result.stderr


def test_a_mistake_of_the_program_is_owned_up_to_and_its_place_shown_on_request() -> None:
    program = (
        "import sys\nfrom controller.cli import app\n"
        "app.lyewatch.main = lambda **_: 1 / 0\nsys.argv[1:] = sys.argv[1:]\napp.run()"
    )
    plain = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=False)
    assert plain.returncode == 3
    assert "a mistake in the program itself" in plain.stderr
    assert "Traceback" not in plain.stderr
    debug = subprocess.run(
        [sys.executable, "-c", program, "--debug"], capture_output=True, text=True, timeout=60, check=False
    )
    assert "ZeroDivisionError" in debug.stderr
    assert "Traceback" in debug.stderr


def test_problems_carry_their_code() -> None:
    assert Problem("no").code == 1
    assert Problem("wrong", 2).code == 2


def test_the_group_is_what_the_entry_point_runs() -> None:
    assert lyewatch.name == "lyewatch"
