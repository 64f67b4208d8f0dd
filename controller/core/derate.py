"""Folding the current back before a limit is reached, where the supply can be told its current.

The cap falls at once and in a straight line, from all of the rated current where a derate begins to the minimum
current where it ends; it rises by one percent a second. A bad value may lower the cap, never raise it.
"""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.limits import Limit
from controller.core.rig import Rig
from controller.core.signals import Value

RISE_PER_S = 0.01


def cap(rig: Rig, last: float, values: Sequence[Value], dt_s: float) -> float:
    """Share of the span between minimum and rated current that is allowed, 0 to 1."""
    allowed, known = 1.0, True
    if not rig.derates:
        return 1.0
    for limit in rig.derates:
        for member in limit.members:
            number = values[member].number
            if number is None:
                known = False
            else:
                allowed = min(allowed, max(0.0, 1.0 - _gone(limit, number)))
    if allowed < last:
        return allowed
    return min(allowed, last + RISE_PER_S * max(0.0, dt_s)) if known else last


def _gone(limit: Limit, number: float) -> float:
    """How much of the way from where a derate begins to where it ends, 0 to 1 and beyond."""
    return (number - limit.threshold) / (limit.derate_to - limit.threshold)


def exhausted(limit: Limit, values: Sequence[Value]) -> float | None:
    """The number, if any, for which the minimum current would still be too much: beyond the end of the derate."""
    for member in limit.members:
        number = values[member].number
        if number is not None and _gone(limit, number) > 1.0:
            return number
    return None


def cap_a(rig: Rig, share: float) -> float:
    """The cap in amperes."""
    supply = rig.supply
    return supply.minimum_a + (supply.rated_a - supply.minimum_a) * share
