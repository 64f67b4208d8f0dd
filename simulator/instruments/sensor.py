"""A sensor that lags, and that can be wrong in the ways sensors are. Noise comes from a generator given."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random


def lagged(shown: float, true: float, dt_s: float, lag_s: float) -> float:
    """First-order lag, exact for a quantity that stood still over the step.

    >>> round(lagged(0.0, 1.0, 10.0, 10.0), 4)
    0.6321
    """
    return true if lag_s <= 0.0 else true + (shown - true) * math.exp(-dt_s / lag_s)


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong with a part. `amount` is in the unit that the kind names; kinds are listed with the parts."""

    kind: str
    amount: float
    since_s: float


# What a sensor of a continuous quantity can do wrong, and what `amount` means, in the unit of the quantity.
SENSOR_FAULTS = {
    "stuck": "keeps showing what it showed",
    "offset": "shows this much too much",
    "drift": "shows more by this much a minute",
    "noise": "standard deviation",
    "spike": "height of a spike, in one sample of ten",
    "gain": "factor on what it shows",
    "scripted": "shows exactly this",
}


class Sensor:
    """Follows a quantity. `shown` is what its electronics then turn into volts, bytes or a contact."""

    __slots__ = ("_follows", "_lag_s", "_noise", "fault", "shown")

    def __init__(self, lag_s: float, noise: Random) -> None:
        self._lag_s = lag_s
        self._noise = noise
        self._follows: float | None = None
        self.shown = math.nan
        self.fault: Fault | None = None

    def advance(self, true: float, now_s: float, dt_s: float) -> None:
        self._follows = true if self._follows is None else lagged(self._follows, true, dt_s, self._lag_s)
        if self.fault is None:
            self.shown = self._follows
        else:
            self.shown = self._wrong(self._follows, self.fault, now_s)

    def _wrong(self, value: float, fault: Fault, now_s: float) -> float:
        match fault.kind:
            case "stuck":
                return self.shown
            case "offset":
                return value + fault.amount
            case "drift":
                return value + fault.amount * (now_s - fault.since_s) / 60.0
            case "noise":
                return value + self._noise.gauss(0.0, fault.amount)
            case "spike":
                return value + (fault.amount if self._noise.random() < 0.1 else 0.0)
            case "gain":
                return value * fault.amount
            case "scripted":
                return fault.amount
            case _:  # a fault of the wires or the bus, which is made where the volts or bytes are
                return value
