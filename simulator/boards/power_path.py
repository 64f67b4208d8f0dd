"""How power reaches the cell: watchdog relay, stop chain, two contactors, and the contact that seals the first one in.

Wired, not programmed: nothing here knows of the guard. Advanced from event to event, so that a relay falls at its time
and not at the next step's.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import NamedTuple

from simulator.boards.contactor import Contactor
from simulator.boards.watchdog_relay import WatchdogRelay

TRACE_KEPT = 20000


class Change(NamedTuple):
    """A contact, coil or relay that changed. Names: main, second (current paths), watchdog, main_coil, second_coil,
    main_contact, second_contact (auxiliaries), relay (watchdog and stop chain in series)."""

    at_s: float
    name: str
    closed: bool


class PowerPath:
    def __init__(self, main: Contactor, second: Contactor | None, watchdog: WatchdogRelay, seal_in: bool) -> None:
        self.main, self.second, self.watchdog = main, second, watchdog
        self._seal_in = seal_in
        self._pins = {"main_hold": False, "main_close": False, "second": False, "edge": False}
        self.chain_closed = True  # stop button and thermostat, in series with every coil
        self.mains = True  # the coils' own supply
        self.now_s = float("-inf")
        self.trace: deque[Change] = deque(maxlen=TRACE_KEPT)
        self.changed: Callable[[Change], None] = lambda change: None
        self._seen: dict[str, bool] = self._states()

    @property
    def relay(self) -> bool:
        return self.mains and self.chain_closed and self.watchdog.closed

    @property
    def closed(self) -> bool:
        """Whether current can flow."""
        return self.main.path and (self.second is None or self.second.path)

    def drive(self, output: str, on: bool, at_s: float) -> None:
        """A pin of the guard changed. Outputs that break nothing are not known here."""
        if output not in self._pins:
            return
        self.advance(at_s)
        self._pins[output] = on
        if output == "edge":
            self.watchdog.edge(at_s)
        self._settle(at_s)

    def set_chain(self, closed: bool, at_s: float) -> None:
        if closed is not self.chain_closed:
            self.advance(at_s)
            self.chain_closed = closed
            self._settle(at_s)

    def set_mains(self, present: bool, at_s: float) -> None:
        if present is not self.mains:
            self.advance(at_s)
            self.mains = present
            self._settle(at_s)

    def advance(self, now_s: float) -> None:
        """Everything that moves until then, each thing at its own time."""
        while (at_s := self._next_s()) <= now_s:
            self._settle(at_s)
        if now_s > self.now_s:
            self.now_s = now_s

    def _next_s(self) -> float:
        next_s = self.watchdog.next_s
        if self.main.moves:
            next_s = min(next_s, self.main.next_s)
        if self.second is not None and self.second.moves:
            next_s = min(next_s, self.second.next_s)
        return next_s

    def _settle(self, at_s: float) -> None:
        self.now_s = max(self.now_s, at_s)
        self.watchdog.settle(at_s)
        self.main.settle(at_s)
        sealed = self._pins["main_close"] or self.main.pulled_in or not self._seal_in
        self.main.coil(self.relay and self._pins["main_hold"] and sealed, at_s)
        if self.second is not None:
            self.second.settle(at_s)
            self.second.coil(self.relay and self._pins["second"], at_s)
        states = self._states()
        for name, closed in states.items():
            if self._seen[name] is not closed:
                change = Change(at_s, name, closed)
                self.trace.append(change)
                self.changed(change)
        self._seen = states

    def _states(self) -> dict[str, bool]:
        states = {
            "watchdog": self.watchdog.closed,
            "relay": self.relay,
            "main_coil": self.main.coil_on,
            "main": self.main.path,
            "main_contact": self.main.auxiliary,
        }
        if self.second is not None:
            states |= {
                "second_coil": self.second.coil_on,
                "second": self.second.path,
                "second_contact": self.second.auxiliary,
            }
        return states

    def refresh(self, at_s: float) -> None:
        """After a fault was set: whatever it changes at once."""
        self.advance(at_s)
        self._settle(at_s)
