"""How far each limit is, and how long until it is reached at the present trend.

Outside `step`: called at frame rate, not in every scan.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.limits import Arming, Effect, Limit
from controller.core.memory import Memory
from controller.core.rig import Rig
from controller.core.sequence import State

# A trend is a straight line through the last minute or so; what lies further off than this is not "coming".
TREND_S = 60.0
FORESEEN_S = 6 * 3600.0
# A line through less past than this says nothing; nor does one through the rise that every start makes.
LEAST_TREND_S = 30.0
AFTER_START_S = 90.0


class Slope(NamedTuple):
    """Weighted straight line through a signal's recent past: means of time and number, their spread and product."""

    stamp_s: float
    weight_s: float  # how much past is in it, at most TREND_S
    time_s: float
    number: float
    spread: float
    product: float

    @property
    def per_s(self) -> float:
        return self.product / self.spread if self.spread > 0.0 else 0.0


Trend = tuple[Slope | None, ...]


def follow(rig: Rig, trend: Trend, memory: Memory) -> Trend:
    """The trend with this memory's values in it; () begins anew. A signal not good begins anew when it comes back."""
    if not trend:
        trend = (None,) * len(rig.signals)
    slopes: list[Slope | None] = []
    for slope, value in zip(trend, memory.values, strict=True):
        if value.number is None:
            slopes.append(None)
        elif slope is None:
            slopes.append(Slope(value.good_stamp_s, 0.0, value.good_stamp_s, value.number, 0.0, 0.0))
        else:
            slopes.append(_add(slope, value.good_stamp_s, value.number))
    return tuple(slopes)


def _add(slope: Slope, stamp_s: float, number: float) -> Slope:
    dt_s = stamp_s - slope.stamp_s
    if dt_s <= 0.0:
        return slope
    weight_s = min(TREND_S, slope.weight_s + dt_s)
    share = dt_s / (weight_s + dt_s)
    time_off, number_off = stamp_s - slope.time_s, number - slope.number
    return Slope(
        stamp_s,
        weight_s,
        slope.time_s + share * time_off,
        slope.number + share * number_off,
        (1.0 - share) * (slope.spread + share * time_off * time_off),
        (1.0 - share) * (slope.product + share * time_off * number_off),
    )


class Margin(NamedTuple):
    """The way left to one limit, in the unit of its signal; None where the signal is not seen."""

    limit: str
    signal: int
    number: float | None
    left: float | None
    fraction: float | None  # 1: as far as in normal running; 0: at the limit
    seconds: float | None  # at the present trend; None when it is not coming nearer
    due_in_s: float | None  # beyond the limit: how much of its delay is left
    armed: bool
    standing: bool
    bypassed: bool


def margins(rig: Rig, memory: Memory, trend: Trend = ()) -> tuple[Margin, ...]:
    """One margin a limit, in the order of the rig file."""
    armed = {
        Arming.ALWAYS: True,
        Arming.POWERED: memory.sequence.powered,
        Arming.OPENED: not memory.sequence.powered and memory.sequence.state is not State.CHECKING,
        Arming.COLLECTING: memory.outputs.collect,
    }
    return tuple(_margin(rig, memory, trend, at, limit, armed[limit.armed]) for at, limit in enumerate(rig.limits))


def _margin(rig: Rig, memory: Memory, trend: Trend, at: int, limit: Limit, armed: bool) -> Margin:
    worst: tuple[float, int, float] | None = None
    for member in limit.members:
        number = memory.values[member].number
        if number is not None:
            size = abs(number) if limit.magnitude else number
            left = limit.threshold - size if limit.rises else size - limit.threshold
            if worst is None or left < worst[0]:
                worst = left, member, size
    state = memory.limits[at]
    bypassed = memory.person.bypass == at
    if worst is None:
        return Margin(limit.name, limit.members[0], None, None, None, None, None, armed, state.standing, bypassed)
    left, member, size = worst
    seconds = None
    slope = trend[member] if trend else None
    steady = not memory.sequence.powered or 0.0 <= memory.sequence.closed_s <= memory.now_s - AFTER_START_S
    if slope is not None and slope.weight_s >= LEAST_TREND_S and steady and left > 0.0 and not limit.is_switch:
        towards = slope.per_s if limit.rises else -slope.per_s
        if limit.magnitude and (memory.values[member].number or 0.0) < 0.0:
            towards = -towards
        if towards > 0.0 and left / towards <= FORESEEN_S:
            seconds = left / towards
    fraction = min(1.0, max(0.0, left / _span(rig, limit, member)))
    due_in_s = max(0.0, limit.delay_s - state.filled_s) if left <= 0.0 and armed else None
    return Margin(limit.name, member, size, left, fraction, seconds, due_in_s, armed, state.standing, bypassed)


def _span(rig: Rig, limit: Limit, member: int) -> float:
    """The way from normal running to the limit; without a stated normal, from the far end of the range."""
    signal = rig.signals[member]
    if limit.is_switch:
        return 1.0 - limit.threshold if limit.threshold < 1.0 else 1.0
    normal = signal.normal
    if normal is None:
        normal = (0.0 if limit.magnitude else signal.low) if limit.rises else signal.high
    span = limit.threshold - normal if limit.rises else normal - limit.threshold
    return span if span > 0.0 else abs(limit.threshold) or 1.0


def nearest(rig: Rig, found: tuple[Margin, ...]) -> Margin | None:
    """The armed trip or stop with the least of its way left; an unseen one is nearer than any."""
    effects = {limit.name: limit.effect for limit in rig.limits}
    switches = {limit.name for limit in rig.limits if limit.is_switch}
    candidates = [
        m
        for m in found
        if m.armed and effects[m.limit] >= Effect.STOP and (m.limit not in switches or m.fraction != 1.0)
    ]
    return min(candidates, key=lambda m: -1.0 if m.fraction is None else m.fraction, default=None)
