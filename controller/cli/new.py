"""`lyewatch new`: fifteen questions, and a rig file that `check` accepts, or why such a rig cannot be run."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import click

from controller.cli.problems import Problem, examples
from controller.config.load import CompiledRig
from controller.config.problems import RigFileError
from controller.config.questions import BY_KEY, QUESTIONS, NotUnderstood, Question, understood
from controller.config.written import rig_file


@click.command(epilog=examples("new shed.toml", 'new shed.toml --yes --set "cells=1 x 50" --set gas=valve'))
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--answers", type=click.Path(path_type=Path, dir_okay=False), help="TOML file of answers by question.")
@click.option("--set", "given", multiple=True, metavar="QUESTION=ANSWER", help="One answer.")
@click.option("--yes", is_flag=True, help="Ask nothing: what is not answered is as usual.")
@click.option("--questions", is_flag=True, help="Print the questions with their usual answers and write nothing.")
def new(file: Path, answers: Path | None, given: tuple[str, ...], yes: bool, questions: bool) -> None:
    """Ask about your rig in plain words and write FILE, its rig file.

    Exit 0: written. 1: such a rig cannot be run, and what would do. 2: an answer is not understood.
    """
    if questions:
        for question in QUESTIONS:
            _show(question)
            click.echo(f"  {question.key} = {question.default!r}")
        return
    if file.exists():
        raise Problem(f"{file} is there already: give another name, or move it away", 2)
    said = _from_file(answers) | _from_words(given)
    if not (yes or answers):
        said |= {question.key: _ask(question) for question in QUESTIONS if question.key not in said}
    try:
        text, compiled = rig_file(understood(said), date.today())
    except NotUnderstood as error:
        raise Problem(str(error), 2) from None
    except RigFileError as error:
        reasons = "\n".join(f"  - {p.wrong}. {p.right}" for p in error.problems)
        raise Problem(f"such a rig cannot be run, and nothing was written:\n{reasons}", 1) from None
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise Problem(f"{file} cannot be written: {error.strerror}", 2) from None
    click.echo(_next(file, text, compiled))


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


def _show(question: Question) -> None:
    click.echo(f"\n{question.asks}")
    for number, (choice, means) in enumerate(question.choices.items(), 1):
        click.echo(f"  {number:>2}  {choice:<21}{means}")


def _ask(question: Question) -> str:
    """One answer, asked for until it is understood. A choice may be given by its number."""
    _show(question)
    while True:
        text = str(click.prompt(" ", default=question.default, prompt_suffix="> ")).strip()
        numbered = list(question.choices)
        words = [numbered[int(w) - 1] if w.strip().isdigit() and 0 < int(w) <= len(numbered) else w.strip()
                 for w in text.split(",")] if numbered else [text]  # fmt: skip
        text = ", ".join(words)
        try:
            question.judge(text)
        except ValueError as refusal:
            click.echo(f"  {refusal}")
            continue
        return text


def _next(file: Path, text: str, compiled: CompiledRig) -> str:
    missing = compiled.core.missing
    lines = [f"Written: {file}, {text.count(chr(10))} lines, {len(compiled.core.limits)} limits."]
    if missing:
        lines += [f"You can stand beside it at up to {compiled.core.most_a:g} A. To leave it alone, it needs:"]
        lines += [f"  - {what}" for what in missing]
    else:
        lines += ["It may be left alone, as far as this file goes; the rig itself is proven by its proof tests."]
    lines += ["Next:", f"  lyewatch check {file}", f"  lyewatch rehearse --all {file}     every fault, on your rig"]
    return "\n".join(lines)
