"""The external watchdog relay: retriggered by edges, so that a pin stuck high and a pin stuck low both drop it."""

from __future__ import annotations

import math

# What the relay can do wrong, and what `amount` means.
RELAY_FAULTS = {
    "welded": "never drops",
    "dead": "never pulls in",
    "slow": "drops this many seconds after the last edge",
}


class WatchdogRelay:
    def __init__(self, hold_s: float) -> None:
        self._hold_s = hold_s
        self._until_s = -math.inf
        self._now_s = -math.inf
        self.fault = ""
        self.amount = 0.0

    def edge(self, at_s: float) -> None:
        self._now_s = at_s
        self._until_s = at_s + (self.amount if self.fault == "slow" else self._hold_s)

    def set_fault(self, kind: str, amount: float, at_s: float) -> None:
        self.fault, self.amount = kind, amount

    @property
    def closed(self) -> bool:
        return self.fault != "dead" and (self.fault == "welded" or self._now_s < self._until_s)

    @property
    def next_s(self) -> float:
        """When it drops, if no edge comes."""
        return self._until_s if self._now_s < self._until_s else math.inf

    def settle(self, at_s: float) -> None:
        self._now_s = at_s
