"""Every command line that is written down somewhere is one that the program takes."""

from __future__ import annotations

import re
import shlex
from importlib import import_module
from pathlib import Path

import click
import pytest

from controller.cli.app import TABLE, lyewatch

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "DEVELOPERS.md", "deploy/SAFETY.md")


def in_pages() -> list[str]:
    text = "\n".join((ROOT / page).read_text() for page in PAGES)
    return re.findall(r"^\$ (?:sudo )?(lyewatch .*)$", text, re.M)


def in_helps() -> list[str]:
    """The examples at the end of every command's help, of commands within commands too."""
    found: list[str] = []

    def look(command: click.Command) -> None:
        found.extend(re.findall(r"^ +(lyewatch .*)$", (command.epilog or "").replace(" \\\n   ", ""), re.M))
        if isinstance(command, click.Group):
            for inner in command.commands.values():
                look(inner)

    for entry in TABLE:
        module, _, attribute = entry.where.partition(":")
        look(getattr(import_module(module), attribute))
    return found


def words_of(line: str) -> list[str]:
    """Without comment, pipe, redirection, and a remark in brackets after some blanks."""
    line = re.sub(r"\s{2,}\(.*\)$", "", line)
    words = shlex.split(line, comments=True)
    ends = [at for at, word in enumerate(words) if word in ("|", ">")]
    return words[1 : min(ends, default=len(words))]


@pytest.mark.parametrize("line", [*in_pages(), *in_helps()])
def test_a_command_line_that_is_written_down_is_one_that_is_taken(line: str) -> None:
    command: click.Command = lyewatch
    name, words, parent = "lyewatch", words_of(line), None
    if "--help" in words:
        words.remove("--help")
        assert lyewatch.get_command(click.Context(lyewatch), words[0]) is not None
        return
    while isinstance(command, click.Group) and words:
        context = command.make_context(name, list(words), parent=parent)
        found_name, found, words = command.resolve_command(context, [*context._protected_args, *context.args])
        assert found is not None
        name, command, parent = found_name or name, found, context
    command.make_context(name, list(words), parent=parent)


def test_there_are_such_lines_in_the_readme_and_in_most_helps() -> None:
    assert len(in_pages()) > 20
    assert len(in_helps()) > len(TABLE)
