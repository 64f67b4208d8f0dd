"""What a fault is: where it acts, how much, and how it comes on. The library is a table of these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

PLANT = "plant"  # acts on the physics: a field of its disturbances
CONTROLLER = "controller"  # acts on the guard's process, its disk or its clock
POST = "post"  # messages that somebody sends to the guard
LINK = "link"  # beyond the guard's reach: broker and network

ON = "on"  # the parameter that says which part


class Onset(Enum):
    STEP = "step"  # all at once
    RAMP = "ramp"  # in a straight line over `over_s`
    INTERMITTENT = "intermittent"  # comes and goes, `on_s` and `off_s` long on average, by the seed


class Parameter(NamedTuple):
    """A number that a fault can be given. Its name carries the unit."""

    name: str
    default: float
    low: float
    high: float
    says: str


class Act(NamedTuple):
    """One thing that happens: at a target, of a kind, so much.

    target: plant, controller, post, link, or a part of the bench; "{on}" stands for the part the fault was put on.
    amount: a number, or the name of the parameter that gives it. neutral: where a ramp begins.
    """

    target: str
    kind: str
    amount: float | str = 1.0
    neutral: float = 0.0


class Fits(Enum):
    """Which part of a bench a fault can be put on."""

    NOTHING = "no part: it is where it is"
    ANALOGUE = "a signal on a converter"
    MEASURED = "a signal on a converter or a thermometer"
    THERMOMETER = "a thermometer"
    METER = "a pulse meter"
    CONTACT = "a contact"
    CONVERTER = "a converter"
    BUS = "an I2C bus"


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One line of the library."""

    name: str
    title: str
    shows: str  # how a person would meet it
    acts: tuple[Act, ...]
    parameters: tuple[Parameter, ...] = ()
    fits: Fits = Fits.NOTHING
    for_s: float | None = None  # ends by itself after so long
    onset: Onset = Onset.STEP
    over_s: float = 60.0  # of a ramp
    on_s: float = 2.0  # of an intermittent one
    off_s: float = 5.0
    harmless: bool = False  # nothing is in danger: the rig must run on as if nothing were
    hidden: bool = False  # shows only together with another fault, or at the next start

    def given(self, numbers: Mapping[str, float]) -> dict[str, float]:
        """All parameters, the unnamed ones by default. Raises ValueError for a number that cannot be."""
        known = {p.name: p for p in self.parameters}
        for name, number in numbers.items():
            if name not in known:
                raise ValueError(f"{self.name} has no {name!r}; it has: {', '.join(known) or 'none'}")
            if not known[name].low <= number <= known[name].high:
                p = known[name]
                raise ValueError(f"{name} is {number:g}; {self.name} takes {p.low:g} to {p.high:g}")
        return {name: numbers.get(name, p.default) for name, p in known.items()}
