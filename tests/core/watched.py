"""One limit alone against readings scan by scan: the smallest thing that can trip."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from controller.core.limits import RESTING, Effect, Limit, LimitState, watch
from controller.core.signals import Code, Reading, Signal, unseen, validate

# What a member reads: a number, nothing, or a number with the driver's own word.
Shown = float | None | tuple[float, Code]


class Watched:
    """A limit and the signals of its members, sampled every `period_s` and scanned every 0.1 s."""

    def __init__(self, limit: Limit, signal: Signal, start_s: float = 100.0) -> None:
        self.limit = limit
        self.signal = signal
        self.now_s = self.start_s = start_s
        self.values = tuple(unseen(start_s) for _ in limit.members)
        self.sample: list[Reading] = [Reading(None, start_s, Code.NOT_READ_YET) for _ in limit.members]
        self.next_s = [start_s + 0.1] * len(limit.members)
        self.state: LimitState = RESTING
        self.calm = False

    def scan(self, *shown: Shown, dt_s: float = 0.1) -> LimitState:
        last_s, self.now_s = self.now_s, self.now_s + dt_s
        for at, what in enumerate(shown):
            if self.now_s >= self.next_s[at] - 1e-9:  # otherwise the driver still holds the sample before
                number, code = what if isinstance(what, tuple) else (what, Code.OK)
                self.sample[at] = Reading(number, self.now_s, code)
                self.next_s[at] = self.now_s + self.signal.period_s
        self.values = tuple(
            validate(self.signal, v, r, self.now_s) for v, r in zip(self.values, self.sample, strict=True)
        )
        self.state = watch(self.limit, self.state, self.values, last_s, self.now_s, self.calm)
        return self.state

    def run(self, for_s: float, *shown: Shown) -> LimitState:
        for _ in range(round(for_s / 0.1)):
            self.scan(*shown)
        return self.state

    def due_after(self, at_most_s: float, shown: Callable[[float], Shown]) -> float | None:
        """Seconds until the limit is due, from now; None if it is not within `at_most_s`. shown: by seconds passed."""
        begin_s = self.now_s
        while self.now_s - begin_s < at_most_s:
            if self.scan(shown(self.now_s - begin_s)).due:
                return self.now_s - begin_s
        return None


FAST = Signal("p", "P", "mbar", "pressure", 0.1, -100.0, 100.0, -110.0, 110.0)
SLOW = replace(FAST, name="t", period_s=1.0)
SWITCH = Signal("f", "Float", "share", "switch", 0.1, 0.0, 1.0)


def high(**changes: object) -> Limit:
    limit = Limit("high", "High", (0,), 30.0, True, Effect.TRIP, deadband=2.0, delay_s=1.0, grace_s=2.0)
    return replace(limit, **changes)  # type: ignore[arg-type]


def low(**changes: object) -> Limit:
    return high(threshold=-30.0, rises=False, **changes)


FLOAT = Limit("low", "Low", (0,), 0.5, False, Effect.TRIP, delay_s=3.0, is_switch=True)


def seen_at(number: float, limit: Limit) -> Watched:
    watched = Watched(limit, FAST)
    watched.run(0.5, number)
    return watched
