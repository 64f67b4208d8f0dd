"""What a formula answers outside the range it holds in: never a number, always what was asked and what may be asked."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


class OutOfRange(ValueError):
    """A value outside the range in which the formula or the data behind it hold."""

    def __init__(self, name: str, value: float, low: float, high: float, unit: str) -> None:
        """name: the argument; value, low, high: in `unit`, the range inclusive."""
        self.name, self.value, self.low, self.high, self.unit = name, value, low, high, unit
        super().__init__(f"{name} is {value:g}; give {low:g} to {high:g} {unit}")


Number = float | NDArray[Any]


def within(name: str, value: Number, low: Number, high: Number, unit: str) -> None:
    """Raise OutOfRange unless low <= value <= high, for each element of an array. Not-a-number is never within."""
    inside = (low <= value) & (value <= high)
    if inside is True or np.all(inside):  # the first half spares a scalar the call
        return
    first = np.argmin(inside)
    value, low, high = (float(np.broadcast_to(x, np.shape(inside)).flat[first]) for x in (value, low, high))
    raise OutOfRange(name, value, low, high, unit)
