"""What a sound part and its driver would have said, worked out directly: contacts, meters, thermometers, converters.

The quantised volts of a converter, the time of a conversion, the share of a contact, the flow of a turbine: the same
numbers at the same times as through the chips, and a test over the whole library says so.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable

from controller.core.signals import Code, Reading
from controller.hardware.ads1115 import POLLS
from controller.hardware.description import PAIRS, Ads1115, Ads1115Channel, PulseMeter, Switch
from controller.hardware.pulses import WINDOW_S
from simulator.boards.ads1115 import Ads1115Chip
from simulator.boards.clock import VirtualClock
from simulator.instruments.sensor import Sensor

Sample = Callable[[], float]  # volts at an input, now
SampleOf = Callable[[int], Sample | float]  # a number where they never change
_OK = Code.OK  # looking a member up in its enumeration takes Python 3.11 ten times as long as a name of the module


class QuickContact:
    """What a contact's driver would say: the share of the time since the last poll for which it was proven."""

    __slots__ = (
        "_last_s", "_polled_s", "_proven_s", "_share", "_started", "closed", "proven", "when_closed", "when_open"
    )  # fmt: skip

    def __init__(self, switch: Switch, closed: bool) -> None:
        high_is_proven = switch.proven_when == "high"
        self.when_closed = not high_is_proven  # closed to ground: low
        self.when_open = (switch.pull == "up") is high_is_proven
        self.closed = closed
        self.proven = self.when_closed if closed else self.when_open
        self._share = float(self.proven)  # while nothing moves
        self._proven_s = 0.0
        self._last_s = self._polled_s = 0.0
        self._started = False

    def move(self, closed: bool, at_s: float) -> None:
        if closed is self.closed:
            return
        since_s = max(self._last_s, self._polled_s)
        if self.proven:
            self._proven_s += max(0.0, at_s - since_s)
        self._last_s = at_s
        self.closed = closed
        self.proven = self.when_closed if closed else self.when_open
        self._share = float(self.proven)

    def poll(self, now_s: float) -> Reading:
        share = self._share
        if self._last_s > self._polled_s:  # it has moved since
            if self.proven:
                self._proven_s += now_s - self._last_s
            elapsed_s = now_s - self._polled_s
            if elapsed_s > 0.0 and self._started:
                share = self._proven_s / elapsed_s
            self._proven_s = 0.0
        self._started = True
        self._polled_s = now_s
        return tuple.__new__(Reading, (share, now_s, _OK))


class QuickMeter:
    """What a meter's driver would say of a sound turbine: none of its pulses is noise."""

    def __init__(self, meter: PulseMeter, level: bool) -> None:
        self.level = level  # of the wire; before the turbine's first edge it is the pull's
        self._least_s, self._per_litre, self._least_l_min = (
            meter.least_width_s,
            meter.pulses_per_litre,
            meter.least_l_min,
        )
        self._too_many = 1.2 * meter.most_l_min * meter.pulses_per_litre / 60.0 * WINDOW_S + 1
        self._recent: deque[float] = deque()
        self._three: deque[float] = deque(maxlen=3)
        self._risen_s: float | None = None  # a pulse that has not yet held for long enough

    def turned(self, edges: Iterable[tuple[float, bool]]) -> None:
        for at_s, level in edges:
            if level is self.level:
                continue
            self.level = level
            if level:
                self._risen_s = at_s
            elif self._risen_s is not None:
                if at_s - self._risen_s >= self._least_s:
                    self._count(self._risen_s)
                self._risen_s = None

    def _count(self, at_s: float) -> None:
        self._recent.append(at_s)
        self._three.append(at_s)

    def poll(self, now_s: float) -> Reading:
        if self._risen_s is not None and now_s - self._risen_s >= self._least_s:
            self._count(self._risen_s)
            self._risen_s = None
        recent, from_s = self._recent, now_s - WINDOW_S
        while recent and recent[0] <= from_s:
            recent.popleft()
        count = len(recent)
        if count > self._too_many:
            return Reading(None, now_s, Code.NOISE)
        if len(self._three) < 3:
            return Reading(0.0, now_s)
        flow_l_min = 60.0 * min(count / WINDOW_S, 3.0 / max(now_s - self._three[0], 1e-6)) / self._per_litre
        if flow_l_min < self._least_l_min:
            flow_l_min = 0.0
        return tuple.__new__(Reading, (flow_l_min, now_s, _OK))


class QuickThermometer:
    """What the nine bytes of a sound sensor would say."""

    def __init__(self, sensor: Sensor, clock: Callable[[], float]) -> None:
        self._sensor, self._clock = sensor, clock

    def read_once(self) -> Reading:
        return Reading(round(max(-55.0, min(125.0, self._sensor.shown)) * 16.0) / 16.0, self._clock())


class QuickConverter:
    """What a sound converter and its driver would say, in their order and at their times."""

    def __init__(
        self, chip: Ads1115, channels: list[Ads1115Channel], board: Ads1115Chip, sample_of: SampleOf,
        clock: VirtualClock,
    ) -> None:  # fmt: skip
        self._clock, self._known = clock, chip.known
        self._waits_s = _waits_s(chip.data_rate, board.clock_error)
        self._reads = [(_volts(c.positive, c.negative, c.full_scale_v, sample_of), c.scale) for c in channels]
        self._known_v = None
        if chip.known is not None:
            self._known_v = _volts(chip.known.positive, None, chip.known.full_scale_v, sample_of)

    def read_once(self) -> tuple[Reading, ...]:
        clock, waits_s = self._clock, self._waits_s
        if self._known is not None and self._known_v is not None:
            for wait_s in waits_s:
                clock.now_s += wait_s
            if not abs(self._known_v() - self._known.volts) <= self._known.tolerance * self._known.volts:
                stamp_s = clock.now_s
                return tuple(Reading(None, stamp_s, Code.REFERENCE_WRONG) for _ in self._reads)
        readings = []
        now_s = clock.now_s
        for volts, scale in self._reads:
            stamp_s = now_s
            for wait_s in waits_s:
                now_s += wait_s
            number, code = scale(volts())
            readings.append(tuple.__new__(Reading, (number, stamp_s, code)))
        clock.now_s = now_s
        return tuple(readings)


def _waits_s(data_rate: int, clock_error: float) -> tuple[float, ...]:
    """How a driver waits for a chip with a clock that is slow by this share: one long wait, then short ones."""
    waits_s = [1.0 / data_rate + 1e-4]
    while sum(waits_s) < (1.0 + clock_error) / data_rate and len(waits_s) < POLLS:
        waits_s.append(max(3e-4, 0.025 / data_rate))
    return tuple(waits_s)


def _volts(positive: int, negative: int | None, full_scale_v: float, sample_of: SampleOf) -> Sample:
    """What a channel's code stands for, in volts."""
    assert negative is None or (positive, negative) in PAIRS
    high, low = sample_of(positive), 0.0 if negative is None else sample_of(negative)
    plus: Sample = (lambda: high) if isinstance(high, float) else high
    still_v, minus = (low, None) if isinstance(low, float) else (0.0, low)

    def volts() -> float:
        difference_v = plus() - (still_v if minus is None else minus())
        code = round(difference_v / full_scale_v * 32768)
        return float(-32768 if code < -32768 else 32767 if code > 32767 else code) * full_scale_v / 32768.0

    return volts
