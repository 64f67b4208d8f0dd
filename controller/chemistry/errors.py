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


def within(name: str, value: float | NDArray[Any], low: float, high: float, unit: str) -> None:
    """Raise OutOfRange unless low <= value <= high, for each element of an array. Not-a-number is never within."""
    if isinstance(value, np.ndarray):
        outside = ~((value >= low) & (value <= high))
        if outside.any():
            raise OutOfRange(name, float(value[outside][0]), low, high, unit)
    elif not low <= value <= high:
        raise OutOfRange(name, float(value), low, high, unit)
