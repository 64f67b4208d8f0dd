"""Circuits between a quantity and a converter's input: what volts they give, and what volts when a wire is broken."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

_STRICT = {"extra": "forbid"}  # whoever reads a file into these refuses what they do not know
# What the wires of an analogue input can do wrong; `amount` means nothing.
WIRE_FAULTS = {
    "open": "the wire is broken",
    "short": "the wire is shorted to ground",
    "saturated": "the wire is shorted to the supply, or the amplifier is at its upper end",
}


@dataclass(frozen=True, slots=True)
class Circuit:
    """What all of them have: the signal they serve, the quantity they look at, and their own noise and lag."""

    part: str
    signal: str
    of: str
    noise_v: float = field(default=0.0, kw_only=True)
    lag_s: float = field(default=0.0, kw_only=True)
    __pydantic_config__ = _STRICT

    def open_v(self) -> float:
        """At the converter, with the sensor's wire broken."""
        return 0.0  # the lower resistor, the burden or the converter's pull-down is still there


@dataclass(frozen=True, slots=True)
class PulledUp(Circuit):
    """A resistance to ground under a pull-up."""

    pull_up_ohm: float = field(kw_only=True)
    pull_up_v: float = field(kw_only=True)

    def open_v(self) -> float:
        return self.pull_up_v

    def _across(self, ohm: float) -> float:
        return self.pull_up_v * ohm / (ohm + self.pull_up_ohm)


@dataclass(frozen=True, slots=True)
class Shunt(Circuit):
    """A shunt and an isolated bidirectional amplifier about a mid-point. Amperes."""

    part: Literal["shunt"]
    shunt_mv: float  # at shunt_a
    shunt_a: float
    gain: float
    middle_v: float

    def volts(self, value: float) -> float:
        return self.middle_v + value * self.shunt_mv * 1e-3 / self.shunt_a * self.gain

    def open_v(self) -> float:
        return self.middle_v  # an amplifier with nothing at its input


@dataclass(frozen=True, slots=True)
class Amplifier(Circuit):
    """An isolated voltage amplifier about a mid-point. Volts."""

    part: Literal["amplifier"]
    volt_per_volt: float
    middle_v: float

    def volts(self, value: float) -> float:
        return self.middle_v + value * self.volt_per_volt

    def open_v(self) -> float:
        return self.middle_v


@dataclass(frozen=True, slots=True)
class Divider(Circuit):
    """Two resistors to ground. Volts."""

    part: Literal["divider"]
    top_ohm: float
    bottom_ohm: float

    def volts(self, value: float) -> float:
        return value * self.bottom_ohm / (self.top_ohm + self.bottom_ohm)


@dataclass(frozen=True, slots=True)
class Linear(Circuit):
    """A sensor with its own electronics: a straight line through two points."""

    part: Literal["linear"]
    low_v: float
    high_v: float
    low: float
    high: float

    def volts(self, value: float) -> float:
        return self.low_v + (value - self.low) / (self.high - self.low) * (self.high_v - self.low_v)


@dataclass(frozen=True, slots=True)
class Loop(Circuit):
    """4 to 20 mA over a resistor. The transmitter itself ends at 3.8 and 20.5 mA (NAMUR NE 43)."""

    part: Literal["loop"]
    ohm: float
    low: float
    high: float

    def volts(self, value: float) -> float:
        milliamp = 4.0 + 16.0 * (value - self.low) / (self.high - self.low)
        return max(3.8, min(20.5, milliamp)) * 1e-3 * self.ohm


@dataclass(frozen=True, slots=True)
class Hall(Circuit):
    """A ratiometric Hall sensor behind two resistors: half of its rail at rest, and so much more for each ampere.

    `mv_per_a` and `rest` are the data sheet's, at `rail_v`; all of it moves with the rail that is really there.
    """

    part: Literal["hall"]
    mv_per_a: float
    rail_v: float = 5.0
    rail_is_v: float | None = None  # where it is another than the data sheet's
    rest: float = 0.5  # of the rail
    top_ohm: float = 0.0
    bottom_ohm: float = 1.0

    def volts(self, value: float) -> float:
        rail_is_v = self.rail_v if self.rail_is_v is None else self.rail_is_v
        out_v = rail_is_v * (self.rest + value * self.mv_per_a * 1e-3 / self.rail_v)
        return max(0.0, min(rail_is_v, out_v)) * self.bottom_ohm / (self.top_ohm + self.bottom_ohm)


@dataclass(frozen=True, slots=True)
class Ntc(PulledUp):
    """A thermistor to ground under a pull-up, by the beta equation. C."""

    part: Literal["ntc"]
    at_25_c_ohm: float
    beta_k: float

    def volts(self, value: float) -> float:
        ohm = self.at_25_c_ohm * math.exp(self.beta_k * (1.0 / (value + 273.15) - 1.0 / 298.15))
        return self._across(ohm)


@dataclass(frozen=True, slots=True)
class NtcThreeCoefficients(PulledUp):
    """A thermistor to ground under a pull-up, by Steinhart and Hart: 1/T = a + b ln R + c (ln R)^3. C."""

    part: Literal["ntc by three"]
    a: float
    b: float
    c: float

    def volts(self, value: float) -> float:
        # the cubic in ln R has one real root: Cardano
        half_q = (self.a - 1.0 / (value + 273.15)) / self.c / 2.0
        third_p = self.b / (3.0 * self.c)
        root = math.sqrt(third_p**3 + half_q**2)
        ohm = math.exp(math.cbrt(root - half_q) - math.cbrt(root + half_q))
        return self._across(ohm)


@dataclass(frozen=True, slots=True)
class Platinum(PulledUp):
    """Pt100 or Pt1000 to ground under a pull-up, by the polynomial of IEC 60751. C."""

    part: Literal["platinum"]
    at_0_c_ohm: float = 1000.0

    def volts(self, value: float) -> float:
        below = -4.183e-12 * (value - 100.0) * value**3 if value < 0.0 else 0.0
        ohm = self.at_0_c_ohm * (1.0 + 3.9083e-3 * value - 5.775e-7 * value**2 + below)
        return self._across(ohm)


@dataclass(frozen=True, slots=True)
class Resistor(PulledUp):
    """Whatever has so many ohms, to ground under a pull-up: a decade box, a comb of tracks that lye bridges. Ohms."""

    part: Literal["resistor"]
    end_ohm: float = math.inf  # at the far end of its cable, across it

    def volts(self, value: float) -> float:
        siemens = 1.0 / max(value, 1e-3) + 1.0 / self.end_ohm
        return self.pull_up_v / (1.0 + self.pull_up_ohm * siemens)


@dataclass(frozen=True, slots=True)
class Supervised(PulledUp):
    """A contact at the end of a cable, one resistor in line with it and one across it, under a pull-up.

    Closed while its quantity lies from `closed_from` to `closed_to`.
    """

    part: Literal["supervised"]
    in_line_ohm: float
    across_ohm: float
    closed_from: float = -math.inf
    closed_to: float = math.inf

    def volts(self, value: float) -> float:
        closed = self.closed_from <= value <= self.closed_to
        ohm = self.in_line_ohm + (0.0 if closed else self.across_ohm)
        return self._across(ohm)


@dataclass(frozen=True, slots=True)
class Fixed(Circuit):
    """A voltage that does not change: a reference, a mid-point, an input tied to ground."""

    part: Literal["fixed"]
    of: str = ""
    volts_always: float = field(kw_only=True)

    def volts(self, value: float) -> float:
        return self.volts_always


Part = (
    Shunt
    | Amplifier
    | Divider
    | Linear
    | Loop
    | Hall
    | Ntc
    | NtcThreeCoefficients
    | Platinum
    | Resistor
    | Supervised
    | Fixed
)
