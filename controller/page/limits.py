"""How often somebody may ask: one bucket for each kind and each asker, of bounded number."""

from __future__ import annotations

from collections import OrderedDict
from typing import Final, NamedTuple

ASKERS_AT_MOST: Final = 4096


class Rate(NamedTuple):
    at_once: float
    each_s: float  # seconds until one more is allowed


RATES: Final = {
    "log-in": Rate(5, 30.0),  # by address
    "log-in name": Rate(20, 30.0),  # by name, whoever tries: slows a guess from many addresses
    "stop": Rate(10, 0.5),  # its own bucket: nothing else can use it up
    "ask": Rate(10, 1.0),
    "read": Rate(60, 0.2),
    "page": Rate(60, 0.5),
}


class Limits:
    def __init__(self) -> None:
        self._buckets: OrderedDict[tuple[str, str], tuple[float, float]] = OrderedDict()

    def wait_s(self, kind: str, asker: str, now_s: float) -> float:
        """0 and one taken, or how long to wait."""
        rate = RATES[kind]
        level, last_s = self._buckets.pop((kind, asker), (rate.at_once, now_s))
        level = min(rate.at_once, level + (now_s - last_s) / rate.each_s)
        allowed = level >= 1.0
        self._buckets[kind, asker] = (level - 1.0 if allowed else level, now_s)
        if len(self._buckets) > ASKERS_AT_MOST:
            self._buckets.popitem(last=False)
        return 0.0 if allowed else (1.0 - level) * rate.each_s
