"""Circuits between a quantity and a converter's input: what volts they give, and what volts when a wire is broken."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

_STRICT = {"extra": "forbid"}  # whoever reads a file into these refuses what they do not know
# What the wires of an analogue input can do wrong; `amount` means nothing.
WIRE_FAULTS = {
    "open": "the wire is broken",
    "short": "the wire is shorted to ground",
    "saturated": "the wire is shorted to the supply, or the amplifier is at its upper end",
}


@dataclass(frozen=True, slots=True)
class Shunt:
    """A shunt and an isolated bidirectional amplifier about a mid-point. Amperes."""

    part: Literal["shunt"]
    signal: str
    of: str
    shunt_mv: float  # at shunt_a
    shunt_a: float
    gain: float
    middle_v: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        return self.middle_v + value * self.shunt_mv * 1e-3 / self.shunt_a * self.gain

    def open_v(self, supply_v: float) -> float:
        return self.middle_v  # an amplifier with nothing at its input


@dataclass(frozen=True, slots=True)
class Amplifier:
    """An isolated voltage amplifier about a mid-point. Volts."""

    part: Literal["amplifier"]
    signal: str
    of: str
    volt_per_volt: float
    middle_v: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        return self.middle_v + value * self.volt_per_volt

    def open_v(self, supply_v: float) -> float:
        return self.middle_v


@dataclass(frozen=True, slots=True)
class Divider:
    """Two resistors to ground. Volts."""

    part: Literal["divider"]
    signal: str
    of: str
    top_ohm: float
    bottom_ohm: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        return value * self.bottom_ohm / (self.top_ohm + self.bottom_ohm)

    def open_v(self, supply_v: float) -> float:
        return 0.0


@dataclass(frozen=True, slots=True)
class Linear:
    """A sensor with its own electronics: a straight line through two points."""

    part: Literal["linear"]
    signal: str
    of: str
    low_v: float
    high_v: float
    low: float
    high: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        return self.low_v + (value - self.low) / (self.high - self.low) * (self.high_v - self.low_v)

    def open_v(self, supply_v: float) -> float:
        return 0.0  # pulled down at the converter


@dataclass(frozen=True, slots=True)
class Loop:
    """4 to 20 mA over a resistor. The transmitter itself ends at 3.8 and 20.5 mA (NAMUR NE 43)."""

    part: Literal["loop"]
    signal: str
    of: str
    ohm: float
    low: float
    high: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        milliamp = 4.0 + 16.0 * (value - self.low) / (self.high - self.low)
        return max(3.8, min(20.5, milliamp)) * 1e-3 * self.ohm

    def open_v(self, supply_v: float) -> float:
        return 0.0


@dataclass(frozen=True, slots=True)
class Hall:
    """A ratiometric Hall sensor behind two resistors: half of its rail at rest, and so much more for each ampere.

    `mv_per_a` and `rest` are the data sheet's, at `rail_v`; all of it moves with the rail that is really there.
    """

    part: Literal["hall"]
    signal: str
    of: str
    mv_per_a: float
    rail_v: float = 5.0
    rail_is_v: float | None = None  # where it is another than the data sheet's
    rest: float = 0.5  # of the rail
    top_ohm: float = 0.0
    bottom_ohm: float = 1.0
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        rail_is_v = self.rail_v if self.rail_is_v is None else self.rail_is_v
        out_v = rail_is_v * (self.rest + value * self.mv_per_a * 1e-3 / self.rail_v)
        return max(0.0, min(rail_is_v, out_v)) * self.bottom_ohm / (self.top_ohm + self.bottom_ohm)

    def open_v(self, supply_v: float) -> float:
        return 0.0  # the lower resistor is still there


@dataclass(frozen=True, slots=True)
class Ntc:
    """A thermistor to ground under a pull-up, by the beta equation. C."""

    part: Literal["ntc"]
    signal: str
    of: str
    at_25_c_ohm: float
    beta_k: float
    pull_up_ohm: float
    pull_up_v: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        ohm = self.at_25_c_ohm * math.exp(self.beta_k * (1.0 / (value + 273.15) - 1.0 / 298.15))
        return self.pull_up_v * ohm / (ohm + self.pull_up_ohm)

    def open_v(self, supply_v: float) -> float:
        return self.pull_up_v


@dataclass(frozen=True, slots=True)
class NtcThreeCoefficients:
    """A thermistor to ground under a pull-up, by Steinhart and Hart: 1/T = a + b ln R + c (ln R)^3. C."""

    part: Literal["ntc by three"]
    signal: str
    of: str
    a: float
    b: float
    c: float
    pull_up_ohm: float
    pull_up_v: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        # the cubic in ln R has one real root: Cardano
        half_q = (self.a - 1.0 / (value + 273.15)) / self.c / 2.0
        third_p = self.b / (3.0 * self.c)
        root = math.sqrt(third_p**3 + half_q**2)
        ohm = math.exp(math.cbrt(root - half_q) - math.cbrt(root + half_q))
        return self.pull_up_v * ohm / (ohm + self.pull_up_ohm)

    def open_v(self, supply_v: float) -> float:
        return self.pull_up_v


@dataclass(frozen=True, slots=True)
class Platinum:
    """Pt100 or Pt1000 to ground under a pull-up, by the polynomial of IEC 60751. C."""

    part: Literal["platinum"]
    signal: str
    of: str
    pull_up_ohm: float
    pull_up_v: float
    at_0_c_ohm: float = 1000.0
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        below = -4.183e-12 * (value - 100.0) * value**3 if value < 0.0 else 0.0
        ohm = self.at_0_c_ohm * (1.0 + 3.9083e-3 * value - 5.775e-7 * value**2 + below)
        return self.pull_up_v * ohm / (ohm + self.pull_up_ohm)

    def open_v(self, supply_v: float) -> float:
        return self.pull_up_v


@dataclass(frozen=True, slots=True)
class Resistor:
    """Whatever has so many ohms, to ground under a pull-up: a decade box, a comb of tracks that lye bridges. Ohms."""

    part: Literal["resistor"]
    signal: str
    of: str
    pull_up_ohm: float
    pull_up_v: float
    end_ohm: float = math.inf  # at the far end of its cable, across it
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        siemens = 1.0 / max(value, 1e-3) + 1.0 / self.end_ohm
        return self.pull_up_v / (1.0 + self.pull_up_ohm * siemens)

    def open_v(self, supply_v: float) -> float:
        return self.pull_up_v


@dataclass(frozen=True, slots=True)
class Supervised:
    """A contact at the end of a cable, one resistor in line with it and one across it, under a pull-up.

    Closed while its quantity lies from `closed_from` to `closed_to`.
    """

    part: Literal["supervised"]
    signal: str
    of: str
    pull_up_ohm: float
    pull_up_v: float
    in_line_ohm: float
    across_ohm: float
    closed_from: float = -math.inf
    closed_to: float = math.inf
    noise_v: float = 0.0
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        closed = self.closed_from <= value <= self.closed_to
        ohm = self.in_line_ohm + (0.0 if closed else self.across_ohm)
        return self.pull_up_v * ohm / (ohm + self.pull_up_ohm)

    def open_v(self, supply_v: float) -> float:
        return self.pull_up_v


@dataclass(frozen=True, slots=True)
class Fixed:
    """A voltage that does not change: a reference, a mid-point, an input tied to ground."""

    part: Literal["fixed"]
    signal: str
    volts_always: float
    noise_v: float = 0.0
    lag_s: float = 0.0
    of: str = ""
    __pydantic_config__ = _STRICT

    def volts(self, value: float) -> float:
        return self.volts_always

    def open_v(self, supply_v: float) -> float:
        return 0.0


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
