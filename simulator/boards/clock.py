"""Time that only moves when it is told to."""

from __future__ import annotations


class VirtualClock:
    """A clock and a wait for drivers: waiting moves the clock."""

    def __init__(self, now_s: float = 1000.0) -> None:
        self.now_s = now_s

    def __call__(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.now_s += max(seconds, 0.0)
