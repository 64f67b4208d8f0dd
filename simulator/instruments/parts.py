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
    "saturated": "the amplifier is at its upper end",
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


Part = Shunt | Amplifier | Divider | Linear | Loop | Ntc | Fixed
