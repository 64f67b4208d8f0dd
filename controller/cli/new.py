"""`lyewatch new`: fifteen questions, and a rig file that `check` accepts, or why such a rig cannot be run."""

from __future__ import annotations

import re
import textwrap
import tomllib
from datetime import date
from pathlib import Path

import click

from controller.cli.problems import NARROWEST, Problem, examples
from controller.config import rigs
from controller.config.load import CompiledRig
from controller.config.problems import RigFileError
from controller.config.questions import BY_KEY, QUESTIONS, NotUnderstood, Question, understood
from controller.config.written import rig_file
from controller.core.permissives import UNMEASURED

INTRODUCTION = (
    "{number} questions. Enter takes the answer in brackets; a choice may be given by\n"
    "its number. Nothing is written before the last one, and every answer can be\n"
    "changed in the file afterwards."
)


@click.command(epilog=examples("new shed.toml", 'new shed.toml --yes --set "cells=1 x 50" --set gas=valve'))
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option("--answers", type=click.Path(path_type=Path, dir_okay=False), help="TOML file of answers by question.")
@click.option("--set", "given", multiple=True, metavar="QUESTION=ANSWER", help="One answer.")
@click.option("--yes", is_flag=True, help="Ask nothing: what is not answered is as usual.")
@click.option("--questions", is_flag=True, help="Print the questions with their usual answers and write nothing.")
def new(file: Path | None, answers: Path | None, given: tuple[str, ...], yes: bool, questions: bool) -> None:
    """Ask about your rig in plain words and write FILE, its rig file.

    Exit 0: written. 1: such a rig cannot be run, and what would do. 2: an answer is not understood.
    """
    if questions:
        for question in QUESTIONS:
            _show(question)
            click.echo(f"  {question.key} = {question.default!r}")
        return
    if file is None:
        raise click.UsageError("name the file to write, such as shed.toml")
    if file.exists():
        raise Problem(f"{file} is there already: give another name, or move it away", 2)
    said = _from_file(answers) | _from_words(given)
    asks = not (yes or answers)
    if asks:
        unanswered = [question for question in QUESTIONS if question.key not in said]
        click.echo(INTRODUCTION.format(number=len(unanswered)))
        for number, question in enumerate(unanswered, 1):
            said[question.key] = _ask(question, f"{number} of {len(unanswered)}: ")
    text, compiled = _made(said, asks)
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise Problem(f"{file} cannot be written: {error.strerror}", 2) from None
    click.echo(_next(file, text, compiled))


def _made(said: dict[str, str], asks: bool) -> tuple[str, CompiledRig]:
    """What the answers give. Where somebody sits there, answers may be changed until such a rig can be run."""
    while True:
        try:
            return rig_file(understood(said), date.today())
        except NotUnderstood as error:
            raise Problem(str(error), 2) from None
        except RigFileError as error:
            reasons = "\n".join(_wrapped(f"{p.wrong}. {p.right}", "  - ", "    ") for p in error.problems)
            if not asks:
                raise Problem(f"such a rig cannot be run, and nothing was written:\n{reasons}", 1) from None
            click.echo(f"\nSuch a rig cannot be run:\n{reasons}\n\nYour answers:")
            for key in BY_KEY:
                click.echo(f"  {key:<14}{said[key]}")
        change = click.prompt("Change which? (its name; Enter: none, and nothing is written)", "", show_default=False)
        if change.strip() in BY_KEY:
            said[change.strip()] = _ask(BY_KEY[change.strip()])
        elif not change.strip():
            raise Problem("such a rig cannot be run, and nothing was written", 1)


def _wrapped(text: str, first: str, rest: str) -> str:
    """Lines that no terminal breaks within a word."""
    return textwrap.fill(text, NARROWEST - 1, initial_indent=first, subsequent_indent=rest)


def _from_file(path: Path | None) -> dict[str, str]:
    if path is None:
        return {}
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise Problem(f"{path}: {error.strerror}", 2) from None
    except ValueError as error:
        raise Problem(f"{path}: not TOML: {error}", 2) from None
    return {key: str(value) for key, value in found.items()}


def _from_words(given: tuple[str, ...]) -> dict[str, str]:
    said = {}
    for words in given:
        key, equals, answer = words.partition("=")
        if not equals or key not in BY_KEY:
            raise Problem(f"--set {words}: give QUESTION=ANSWER, one of {', '.join(BY_KEY)}", 2)
        said[key] = answer
    return said


def _show(question: Question, place: str = "") -> None:
    click.echo("\n" + _wrapped(place + question.asks, "", "  "))
    for number, (choice, means) in enumerate(question.choices.items(), 1):
        click.echo(_wrapped(means, f"  {number:>2}  {choice:<21}", " " * 27))


def _ask(question: Question, place: str = "") -> str:
    """One answer, asked for until it is understood."""
    _show(question, place)
    while True:
        text = str(click.prompt(" ", default=question.default, prompt_suffix="> ")).strip()
        if question.choices:
            text = ", ".join(_meant(text, question))
        try:
            question.judge(text)
        except ValueError as refusal:
            click.echo(_wrapped(str(refusal), "  ", "  "))
            continue
        return text


def _meant(text: str, question: Question) -> list[str]:
    """Choices by name or number; of several also a stretch of numbers."""
    names = list(question.choices)
    meant = []
    for word in map(str.strip, text.split(",")):
        found = re.fullmatch(r"(\d+)(?:\s*-\s*(\d+))?", word)
        first, last = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
        known = 0 < first <= last <= len(names) and (first == last or question.several)
        meant += names[first - 1 : last] if known else [word]
    return meant


def _next(file: Path, text: str, compiled: CompiledRig) -> str:
    missing = compiled.core.missing
    lines = [f"Written: {file}, {text.count(chr(10))} lines, {len(compiled.core.limits)} limits."]
    if missing:
        if compiled.core.roles.current < 0:
            lines += [_wrapped(f"It cannot run yet: {UNMEASURED}.", "", ""), "To leave it alone, it needs:"]
        else:
            lines += [f"You can stand beside it at up to {compiled.core.most_a:.3g} A. To leave it alone, it needs:"]
        lines += [_wrapped(what, "  - ", "    ") for what in missing]
    else:
        lines += ["It may be left alone, as far as this file goes;", "the rig itself is proven by its proof tests."]
    if compiled.file.cell.cells_in_series > 1:
        lines += [
            "Not asked: a tap on each cell, which finds one bad cell in a sound stack. Copy",
            "[converters] taps, cell_1, cell_2, ... and cell_spread from",
            f"  {rigs.shipped('drooping')}",
        ]
    lines += ["Next:", f"  lyewatch check {file}", f"  lyewatch rehearse --all {file}     every fault, on your rig"]
    return "\n".join(lines)
