"""`lyewatch measure`: what the program costs on this machine, each figure beside a baseline taken in the same run."""

from __future__ import annotations

import json
from importlib import import_module
from typing import NamedTuple

import click

from controller.cli.measures.row import FULL, SHORT, Effort, NotHere, Row
from controller.cli.problems import Problem, examples, json_option


class Subject(NamedTuple):
    name: str
    where: str  # module:function of an Effort, giving rows
    says: str


SUBJECTS: tuple[Subject, ...] = (
    Subject("scan", "scan:scans", "one scan decided: the core alone"),
    Subject("frame", "scan:frames", "one scan's record packed"),
    Subject("drivers", "scan:through_drivers", "one scan through drivers and emulated boards, and with the plant"),
    Subject("plant", "others:plant", "one step of the physics"),
    Subject("record", "others:record", "a trend out of the record"),
    Subject("start", "process:start", "the guard's first scan after its start"),
    Subject("memory", "process:memory", "what the guard keeps in memory, its ring full"),
)


def measured(subject: Subject, effort: Effort) -> list[Row]:
    module, _, function = subject.where.partition(":")
    rows: list[Row] = getattr(import_module(f"controller.cli.measures.{module}"), function)(effort)
    return rows


def _subjects(names: tuple[str, ...]) -> list[Subject]:
    known = {subject.name: subject for subject in SUBJECTS}
    if wrong := [name for name in names if name not in known]:
        raise Problem(f"nothing is called {', '.join(wrong)} here; it measures {', '.join(known)}", 2)
    return [known[name] for name in names or known]


def _figures(*numbers: float) -> list[str]:
    return [f"{number:.3g}" if abs(number) < 1000.0 else f"{number:.0f}" for number in numbers]


@click.command(
    epilog=examples("measure", "measure scan memory", "measure --json")
    + "\n\n\b\nNames:\n"
    + "\n".join(f"  {s.name:<10}{s.says}" for s in SUBJECTS)
)
@click.argument("names", nargs=-1, metavar="[NAME]...")
@click.option("--quick", is_flag=True, help="A few rounds only: whether it works, not how fast.")
@json_option
def measure(names: tuple[str, ...], quick: bool, as_json: bool) -> None:
    """What the program costs on this machine; two minutes, or NAMEd subjects only.

    Each figure stands beside a baseline measured in the same run: the ratio says more than the figure, which follows
    the machine and what else it is doing. Times are processor time, but for a start, which is by the clock.
    """
    rows: list[Row] = []
    missing: list[str] = []
    if not as_json:
        click.echo(f"{'':<36}{'here':>9}{'baseline':>14}{'ratio':>9}")
    for subject in _subjects(names):
        try:
            found = measured(subject, SHORT if quick else FULL)
        except NotHere as error:
            missing.append(f"{subject.name} is not measured, for want of {error}")
            continue
        rows += found
        for one in () if as_json else found:
            value, baseline, ratio = _figures(one.value, one.baseline, one.ratio)
            click.echo(f"{one.name:<36}{value:>9} {one.unit:<5}{baseline:>8} {ratio:>8}   {one.beside}")
    if as_json:
        click.echo(json.dumps([{k: v for k, v in one._asdict().items() if k != "beside"} for one in rows]))
    if missing:
        raise Problem("; ".join(missing))
