"""A counter that counts by itself, in the kernel or in a chip: differences that survive its wrap and its restart.

A difference is taken modulo the counter's width. One that no meter could have made is not flow: either the counter has
started anew (it stands near zero), or it was misread.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.signals import Code, Reading
from controller.hardware.description import CountedMeter
from controller.hardware.ports import Clock, KernelText

WINDOW_S = 1.0


class Counted(NamedTuple):
    pulses: int | None  # since the last look; None when they cannot be told
    code: Code


def counted(last: int, now: int, width_bits: int, most: float) -> Counted:
    """Pulses between two looks at a counter of `width_bits`, of which there cannot be more than `most`.

    >>> counted(65_530, 3, 16, 100.0)
    Counted(pulses=9, code=<Code.OK: 0>)
    >>> counted(812, 0, 16, 100.0)
    Counted(pulses=None, code=<Code.COUNTER_RESTART: 10>)
    """
    pulses = (now - last) % (1 << width_bits)
    if pulses <= most:
        return Counted(pulses, Code.OK)
    return Counted(None, Code.COUNTER_RESTART if now <= most else Code.NOISE)


class CountingMeter:
    """L/min over at least a second, and the pulses counted since the start, which never fall.

    A misread count is forgotten: the next one is compared with the last that was right.
    """

    def __init__(self, meter: CountedMeter, kernel: KernelText, clock: Clock) -> None:
        self._meter, self._kernel, self._clock = meter, kernel, clock
        self._per_litre = meter.pulses_per_litre
        self._looks: list[tuple[float, int]] = []  # stamp, total then: those of the window and the one before
        self._last: tuple[float, int] | None = None  # stamp and count that were right
        self.total = 0

    def read_once(self) -> Reading:
        stamp_s = self._clock()
        try:
            count = int(self._kernel.read(self._meter.path))
        except ValueError:
            return Reading(None, stamp_s, Code.NOISE)
        except OSError:
            return Reading(None, stamp_s, Code.BUS_ERROR)
        code = self._take(stamp_s, count)
        if code is not Code.OK:
            return Reading(None, stamp_s, code)
        return Reading(self._flow_l_min(stamp_s), stamp_s)

    def _take(self, stamp_s: float, count: int) -> Code:
        if self._last is None:
            self._begin(stamp_s, count)
            return Code.NOT_READ_YET
        last_s, last = self._last
        most = self._meter.most_l_min * self._per_litre / 60.0 * 1.2 * (stamp_s - last_s) + 2.0
        pulses, code = counted(last, count, self._meter.width_bits, most)
        if pulses is not None:
            self.total += pulses
            self._last = (stamp_s, count)
            self._looks.append((stamp_s, self.total))
        elif code is Code.COUNTER_RESTART:
            self._begin(stamp_s, count)
        return code

    def _begin(self, stamp_s: float, count: int) -> None:
        self._last = (stamp_s, count)
        self._looks = [(stamp_s, self.total)]

    def _flow_l_min(self, stamp_s: float) -> float:
        while len(self._looks) > 2 and self._looks[1][0] <= stamp_s - WINDOW_S:
            self._looks.pop(0)
        since_s, total = self._looks[0]
        hertz = (self.total - total) / max(stamp_s - since_s, WINDOW_S)
        flow_l_min = 60.0 * hertz / self._per_litre
        return flow_l_min if flow_l_min >= self._meter.least_l_min else 0.0
