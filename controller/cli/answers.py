"""How the arithmetic commands ask and answer: options in plain words, results in columns or as JSON, range errors as
sentences in the unit the person typed."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, NamedTuple

import click

from controller.chemistry.errors import OutOfRange
from controller.chemistry.lye import Lye

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

DISCLAIMER = "Arithmetic for planning, not an approval: local codes and the standards they name come first."
KINDS = {lye.formula.lower(): lye for lye in Lye}
ROOM_TEMPERATURE_C = 20.0
LITRES_PER_M3 = 1000.0
CM2_PER_M2 = 1e4


class Line(NamedTuple):
    """One result: its name in JSON (unit included), its words for people, and how many decimals they want."""

    key: str
    words: str
    value: float | str
    unit: str = ""
    decimals: int = 1


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command has to say."""

    title: str
    lines: list[Line]
    cautions: tuple[str, ...] = ()

    def say(self, as_json: bool) -> None:
        """Print it, for people or for a program."""
        if as_json:
            click.echo(
                json.dumps({line.key: line.value for line in self.lines} | {"cautions": self.cautions}, indent=2)
            )
            return
        click.echo(self.title)
        width = max(len(line.words) for line in self.lines)
        for line in self.lines:
            number = line.value if isinstance(line.value, str) else f"{line.value:,.{line.decimals}f}"
            click.echo(f"  {line.words:<{width}}  {number:>10} {line.unit}".rstrip())
        for caution in (*self.cautions, DISCLAIMER):
            click.echo(f"! {caution}")


def answering(command: Callable[..., Answer]) -> Callable[..., None]:
    """Add --json, print the answer, and turn a range error into a sentence in the user's own units."""

    @click.option("--json", "as_json", is_flag=True, help="For a program: one JSON object, units in the names.")
    @wraps(command)
    def run(*args: Any, as_json: bool, **kwargs: Any) -> None:
        try:
            answer = command(*args, **kwargs)
        except OutOfRange as error:
            raise click.UsageError(_in_words(error)) from None
        answer.say(as_json)

    return run


def _in_words(error: OutOfRange) -> str:
    unit = error.unit.partition(" ")[0]
    name = error.name.removesuffix("_" + unit.lower().replace("/", "_")).replace("_", " ")
    if error.unit.startswith("(share"):
        rest = error.unit.partition(")")[2]
        return f"{name} is {100 * error.value:g} %; give {100 * error.low:g} to {100 * error.high:g} %{rest}"
    return f"{name} is {error.value:g}; give {error.low:g} to {error.high:g} {error.unit}"


def kind_option(**settings: Any) -> Decorator:
    """Which hydroxide; needed unless a default is given."""
    kinds = click.Choice(sorted(KINDS), case_sensitive=False)
    return _option("--kind", kinds, "Which hydroxide.", **settings)


def number_option(name: str, words: str, *, least: float = 0.0, **settings: Any) -> Decorator:
    """A number from `least` upwards; needed unless a default is given or `required=False`."""
    return _option(name, click.FloatRange(min=least), words, **settings)


def _option(name: str, kind: click.ParamType[Any], words: str, **settings: Any) -> Decorator:
    settings = {"required": "default" not in settings, "show_default": "default" in settings} | settings
    metavar = None if isinstance(kind, click.Choice) else "NUMBER"
    return click.option(*name.split(), type=kind, help=words, metavar=metavar, **settings)
