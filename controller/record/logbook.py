"""A line of the logbook: what a person did or measured at the rig. It feeds water balance, concentration and wear."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from types import MappingProxyType
from typing import Any, NamedTuple


class Kind(NamedTuple):
    """What belongs to a kind of line. Units are the ones accepted; none: no number is taken."""

    words: str
    units: tuple[str, ...] = ()
    least: float = 0.0
    most: float = math.inf
    needs_number: bool = False
    needs_side: bool = False
    needs_text: bool = False


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "topped up": Kind("water filled in", ("mL", "L"), most=50_000.0, needs_number=True, needs_side=True),
        "density read": Kind("density of the lye", ("g/mL",), 0.95, 1.60, needs_number=True),
        "lye changed": Kind("new lye, mass share if known", ("%",), 0.0, 50.0),
        "gasket": Kind("gasket replaced or retightened"),
        "separator": Kind("separator replaced or cleaned"),
        "additive": Kind("something added to the lye", ("g", "mL"), most=1000.0, needs_text=True),
        "gas collected": Kind("gas by stopwatch, at ambient", ("L/min",), most=100.0, needs_number=True),
        "cleaned": Kind("cell or piping cleaned"),
        "note": Kind("anything else", needs_text=True),
    }
)
SIDES = ("hydrogen", "oxygen", "both")


class WrongEntry(ValueError):
    """A line that cannot be taken; says what would be right."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line. Times: either `time_s` given by the person, or the moment of writing by the machine's own clock."""

    id: str  # its own for ever, so that taking it in twice changes nothing
    kind: str
    who: str = ""
    number: float | None = None
    unit: str = ""
    side: str = ""
    text: str = ""
    time_s: float | None = None  # Unix time, where the person gave one
    machine_boot: str = ""  # where it was written
    mono_s: float = 0.0  # since that machine's power-up
    wall_s: float = 0.0
    synchronised: bool = False

    def __post_init__(self) -> None:
        kind = KINDS.get(self.kind)
        if kind is None:
            raise WrongEntry(f"no kind {self.kind!r}; known: {', '.join(KINDS)}")
        if not self.id:
            raise WrongEntry("a line needs an id")
        if self.number is None:
            if kind.needs_number:
                raise WrongEntry(f"{self.kind!r} needs a number in {' or '.join(kind.units)}")
        elif not kind.units:
            raise WrongEntry(f"{self.kind!r} takes no number; put it in the text")
        elif self.unit not in kind.units:
            raise WrongEntry(f"{self.unit or 'no unit'} for {self.kind!r}; give {' or '.join(kind.units)}")
        elif not kind.least <= self.number <= kind.most:
            raise WrongEntry(
                f"{self.number:g} {self.unit} for {self.kind!r}; give {kind.least:g} to {kind.most:g} {self.unit}"
            )
        if self.side and self.side not in SIDES:
            raise WrongEntry(f"no side {self.side!r}; known: {', '.join(SIDES)}")
        if kind.needs_side and not self.side:
            raise WrongEntry(f"{self.kind!r} needs a side: {', '.join(SIDES)}")
        if kind.needs_text and not self.text:
            raise WrongEntry(f"{self.kind!r} needs a text")
        if any(len(text) > 2000 for text in (self.text, self.who)):
            raise WrongEntry("a text of more than 2000 characters")

    def dumps(self) -> str:
        return json.dumps(asdict(self))


_TYPES: Mapping[str, tuple[type, ...]] = {
    "str": (str,),
    "bool": (bool,),
    "float": (int, float),
    "float | None": (int, float, type(None)),
}


def loads(text: str) -> Entry:
    """The entry in a text that `dumps` made. Raises WrongEntry."""
    try:
        found: Any = json.loads(text)
    except ValueError as error:
        raise WrongEntry(f"not JSON: {error}") from None
    if not isinstance(found, dict):
        raise WrongEntry("not an object")
    types = {field.name: _TYPES[str(field.type)] for field in fields(Entry)}
    for key, value in found.items():
        if key not in types:
            raise WrongEntry(f"unknown key {key!r}; known: {', '.join(types)}")
        if not isinstance(value, types[key]) or (isinstance(value, bool) and bool not in types[key]):
            raise WrongEntry(f"{key} is {value!r}")
        if isinstance(value, float) and not math.isfinite(value):
            raise WrongEntry(f"{key} is not finite")
    if "id" not in found or "kind" not in found:
        raise WrongEntry("id and kind are needed")
    return Entry(**found)
