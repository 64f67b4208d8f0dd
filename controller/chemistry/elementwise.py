"""One formula for one number and for an array of them.

The bodies of this package are written, and typed, for floats. `elementwise` says that they hold for arrays too, and
sees to it that a scalar question gets a plain float back. `root` is the one solver the inverse functions need.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec, Protocol, cast, overload

import numpy as np
from numpy.typing import NDArray

P = ParamSpec("P")
FloatArray = NDArray[np.float64]

HALVINGS = 60  # the bracket shrinks by 1e18: below the rounding of any quantity here


class Elementwise(Protocol[P]):
    """Floats in, float out; any array among the arguments, and an array of their broadcast shape comes out."""

    @overload
    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> float: ...
    @overload
    def __call__(self, *args: Any, **kwargs: Any) -> FloatArray: ...


def elementwise(formula: Callable[P, float]) -> Elementwise[P]:
    """Make a formula on floats one on floats or arrays."""

    @wraps(formula)
    def answer(*args: P.args, **kwargs: P.kwargs) -> Any:
        result: Any = formula(*args, **kwargs)
        return result if isinstance(result, np.ndarray) and result.ndim else float(result)

    return cast("Elementwise[P]", answer)


def root(rising: Callable[[Any], Any], low: float, high: float) -> float:
    """Where a rising function crosses zero between low and high, elementwise; an end where it does not cross."""
    shape = np.shape(rising(0.5 * (low + high)))
    below, above = np.full(shape, low, dtype=float), np.full(shape, high, dtype=float)
    for _ in range(HALVINGS):
        middle = 0.5 * (below + above)
        under = rising(middle) < 0.0
        below, above = np.where(under, middle, below), np.where(under, above, middle)
    return cast("float", 0.5 * (below + above))
