"""What a person is told instead of a traceback, and the exit code that goes with it."""

from __future__ import annotations

import getpass
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from controller.guard.client import Client, NoGuard

RUN_DIR = Path("/run/lyewatch")
STATE_DIR = Path("/var/lib/lyewatch")
NARROWEST = 80  # columns of the terminal that everything is laid out for

run_dir_option = click.option(
    "--run-dir",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="LYEWATCH_RUN_DIR",
    default=RUN_DIR,
    show_default=True,
    help="Folder of the guard's sockets.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="For a program.")


def login() -> str:
    """Who sits at the terminal: behind sudo too, and where the machine has no name for the user."""
    try:
        return os.environ.get("SUDO_USER") or getpass.getuser()
    except (KeyError, OSError):
        return f"user {os.getuid()}"


class Problem(Exception):
    """An expected failure, told in one sentence. Code 1: the answer is no; 2: the input is wrong."""

    def __init__(self, text: str, code: int = 1) -> None:
        super().__init__(text)
        self.code = code


@contextmanager
def to_the_guard(run_dir: Path, wait_s: float = 3.0) -> Iterator[Client]:
    """The guard's local socket."""
    door = run_dir / "local.sock"
    try:
        with Client(door, wait_s) as client:
            yield client
    except NoGuard as error:
        hint = "Is it running? See: systemctl status lyewatch-guard, or try: lyewatch demo"
        if door.exists() and not os.access(door, os.W_OK):
            hint = "It obeys root and its own group: put sudo before it"
        raise Problem(f"{error}. {hint}") from None
    except ValueError as error:
        raise Problem(f"the guard did not understand: {error}", 2) from None


def examples(*lines: str) -> str:
    """The end of a help page."""
    return "\b\nExamples:\n" + "\n".join(_fitting(f"  lyewatch {line}") for line in lines)


def _fitting(command: str) -> str:
    """Broken before an option where it is too long for a terminal, as a shell takes it. Click indents by two."""
    first, *options = command.split(" --")
    lines = [first]
    for option in options:
        if len(lines[-1]) + len(option) + len(" -- \\") > NARROWEST - 2:
            lines.append("   ")
        lines[-1] += f" --{option}"
    return " \\\n".join(lines)
