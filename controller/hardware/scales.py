"""From volts at a converter to the signal's unit: pure, frozen, and honest where a wire is broken."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from controller.core.signals import Code

ZERO_C_IN_K = 273.15


class Scaled(NamedTuple):
    """A number in the signal's unit, or None with the reason."""

    number: float | None
    code: Code = Code.OK


class Scale(Protocol):
    def __call__(self, volts: float) -> Scaled: ...


WIRE_FAULT = Scaled(None, Code.WIRE_FAULT)


@dataclass(frozen=True, slots=True)
class TwoPoint:
    """A straight line through two measured points, volts to the signal's unit."""

    low_v: float
    low: float
    high_v: float
    high: float
    slope: float = field(init=False)  # unit per volt

    def __post_init__(self) -> None:
        if self.low_v == self.high_v:
            raise ValueError(f"both points are at {self.low_v} V; they must differ")
        object.__setattr__(self, "slope", (self.high - self.low) / (self.high_v - self.low_v))

    def __call__(self, volts: float) -> Scaled:
        return Scaled(self.low + (volts - self.low_v) * self.slope)


def shunt_amplifier(volts_per_a: float) -> TwoPoint:
    """Shunt and isolated amplifier, read against the amplifier's mid-point: amperes, both signs.

    >>> shunt_amplifier(0.010)(0.3).number
    30.0
    """
    return TwoPoint(0.0, 0.0, volts_per_a, 1.0)


def divider(top_ohm: float, bottom_ohm: float) -> TwoPoint:
    """Volts before a divider, from the volts across its lower resistor.

    >>> divider(40e3, 10e3)(1.8).number
    9.0
    """
    return TwoPoint(0.0, 0.0, bottom_ohm, top_ohm + bottom_ohm)


@dataclass(frozen=True, slots=True)
class LiveZero:
    """A sensor whose healthy output never touches either rail (0.5 to 4.5 V): beyond the bands a wire is broken.

    The bands are half of what is left to the rails; the output still means something between end and band.
    """

    line: TwoPoint
    broken_below_v: float
    broken_above_v: float

    def __call__(self, volts: float) -> Scaled:
        if self.broken_below_v < volts < self.broken_above_v:
            return self.line(volts)
        return WIRE_FAULT


@dataclass(frozen=True, slots=True)
class CurrentLoop:
    """4 to 20 mA over a resistor, with the bands of NAMUR NE 43: 3.8 to 20.5 mA measures, under 3.6 mA is a fault.

    Above 20.5 mA the number stays and counts towards a trip: an over-range detector must not read as a broken one.
    """

    ohm: float
    low: float  # the signal's unit at 4 mA
    high: float  # at 20 mA

    def __call__(self, volts: float) -> Scaled:
        milliamp = volts / self.ohm * 1e3
        if milliamp <= 3.6:
            return WIRE_FAULT
        number = self.low + (milliamp - 4.0) / 16.0 * (self.high - self.low)
        return Scaled(number, Code.OK if 3.8 <= milliamp <= 20.5 else Code.OUT_OF_SPECIFICATION)


@dataclass(frozen=True, slots=True)
class PulledUp:
    """The resistance of a sensor to ground below a known pull-up. Within 1 % of a rail it is open or shorted."""

    pull_up_ohm: float
    supply_v: float

    def ohm(self, volts: float) -> float | None:
        share = volts / self.supply_v
        return self.pull_up_ohm * share / (1.0 - share) if 0.01 < share < 0.99 else None


@dataclass(frozen=True, slots=True)
class NtcBeta:
    """Thermistor by the beta equation, in C: R = R25 exp(B (1/T - 1/298.15))."""

    wired: PulledUp
    at_25_c_ohm: float
    beta_k: float

    def __call__(self, volts: float) -> Scaled:
        ohm = self.wired.ohm(volts)
        return WIRE_FAULT if ohm is None else Scaled(self.celsius(ohm))

    def celsius(self, ohm: float) -> float:
        return 1.0 / (1.0 / (25.0 + ZERO_C_IN_K) + math.log(ohm / self.at_25_c_ohm) / self.beta_k) - ZERO_C_IN_K


@dataclass(frozen=True, slots=True)
class NtcSteinhartHart:
    """Thermistor by Steinhart and Hart, in C: 1/T = A + B ln R + C (ln R)^3. Half a kelvin better than beta at 0 C."""

    wired: PulledUp
    a: float
    b: float
    c: float

    def __call__(self, volts: float) -> Scaled:
        ohm = self.wired.ohm(volts)
        return WIRE_FAULT if ohm is None else Scaled(self.celsius(ohm))

    def celsius(self, ohm: float) -> float:
        log_ohm = math.log(ohm)
        return 1.0 / (self.a + self.b * log_ohm + self.c * log_ohm**3) - ZERO_C_IN_K


@dataclass(frozen=True, slots=True)
class Platinum:
    """Pt100 or Pt1000 after IEC 60751, in C, from -50 C to 200 C; far beyond the standard a wire is broken."""

    wired: PulledUp
    at_0_c_ohm: float = 1000.0

    _A = 3.9083e-3
    _B = -5.775e-7
    _C = -4.183e-12
    _ENDS = (0.2, 3.5)  # of the resistance at 0 C: about -200 and 750 C

    def __call__(self, volts: float) -> Scaled:
        ohm = self.wired.ohm(volts)
        least, most = self._ENDS
        if ohm is None or not least <= ohm / self.at_0_c_ohm <= most:
            return WIRE_FAULT
        return Scaled(self.celsius(ohm))

    def ends_v(self) -> tuple[float, float]:
        """Least and most volts that still mean a temperature; a hair inside, for rounding."""
        ohms = (self.at_0_c_ohm * self._ENDS[0] * 1.0001, self.at_0_c_ohm * self._ENDS[1] * 0.9999)
        low, high = (self.wired.supply_v * ohm / (ohm + self.wired.pull_up_ohm) for ohm in ohms)
        return low, high

    def celsius(self, ohm: float) -> float:
        ratio = ohm / self.at_0_c_ohm
        celsius = (-self._A + math.sqrt(self._A**2 - 4.0 * self._B * (1.0 - ratio))) / (2.0 * self._B)
        if celsius >= 0.0:
            return celsius
        for _ in range(3):  # below zero the cubic term counts; Newton from the quadratic's answer
            t = celsius
            found = 1.0 + self._A * t + self._B * t**2 + self._C * (t - 100.0) * t**3
            slope = self._A + 2.0 * self._B * t + self._C * (4.0 * t**3 - 300.0 * t**2)
            celsius = t - (found - ratio) / slope
        return celsius


@dataclass(frozen=True, slots=True)
class SupervisedContact:
    """A contact with an end-of-line resistor: 1 proven closed, 0 open, a fault for a shorted or cut cable.

    `closed_v` and `open_v` are what the healthy line gives; a quarter of their distance is allowed around each.
    """

    closed_v: float
    open_v: float

    def __call__(self, volts: float) -> Scaled:
        allowed_v = abs(self.open_v - self.closed_v) / 4.0
        if abs(volts - self.closed_v) <= allowed_v:
            return Scaled(1.0)
        if abs(volts - self.open_v) <= allowed_v:
            return Scaled(0.0)
        return WIRE_FAULT
