"""A contactor: a coil, an armature that takes its time, contacts that bounce, weld and lie."""

from __future__ import annotations

import math

# What a contactor can do wrong, and what `amount` means.
CONTACTOR_FAULTS = {
    "welded": "once closed it stays closed, armature and auxiliary with it",
    "one_pole_welded": "once closed the current path stays; armature and auxiliary fall",
    "recloses": "the current path closes now, by itself",
    "will_not_close": "the armature never pulls in",
    "slow": "travel takes this many seconds",
    "chatter": "the armature flutters this many times a second while the coil is on",
    "auxiliary_open": "the auxiliary contact says open",
    "auxiliary_closed": "the auxiliary contact says closed",
}
BOUNCE_S = 0.004


class Contactor:
    def __init__(self, opens_in_s: float, closes_in_s: float) -> None:
        self._opens_in_s, self._closes_in_s = opens_in_s, closes_in_s
        self.coil_on = False
        self.pulled_in = False  # the armature, and with it the contact that seals the coil in
        self.path = False  # the current path
        self._bounced = False  # the auxiliary as its bounce leaves it
        self.moves: list[tuple[float, str]] = []  # what comes: armature in or out, auxiliary open or closed
        self.fault = ""
        self.amount = 0.0

    @property
    def auxiliary(self) -> bool:
        """Whether the auxiliary contact says closed."""
        if self.fault == "auxiliary_open":
            return False
        return self.fault == "auxiliary_closed" or self._bounced

    def coil(self, on: bool, at_s: float) -> None:
        if on is self.coil_on:
            return
        self.coil_on = on
        self.moves.clear()
        if on is not self.pulled_in:
            self._move(at_s)
        self._bounced = self.pulled_in

    def set_fault(self, kind: str, amount: float, at_s: float) -> None:
        """A fault begins, or all end (kind empty): then the armature follows its coil again."""
        self.fault, self.amount = kind, amount
        self.moves.clear()
        if kind == "recloses":
            self.path = True
        follows = self.path is self.coil_on and self.pulled_in is self.coil_on
        if (kind == "chatter" and self.coil_on) or (kind == "" and not follows):
            self._move(at_s)

    @property
    def next_s(self) -> float:
        """When something moves next, if nothing is done to the coil."""
        return self.moves[0][0] if self.moves else math.inf

    def settle(self, at_s: float) -> None:
        """Everything that moves until then."""
        while self.moves and self.moves[0][0] <= at_s:
            now_s, what = self.moves.pop(0)
            if what == "in":
                self._arrives(True, now_s)
            elif what == "out":
                self._arrives(False, now_s)
            else:
                self._bounced = what == "closed"

    def _move(self, at_s: float) -> None:
        travel_s = self._closes_in_s if self.coil_on else self._opens_in_s
        if self.fault == "slow":
            travel_s = self.amount
        self.moves.append((at_s + travel_s, "in" if self.coil_on else "out"))

    def _arrives(self, pulled_in: bool, at_s: float) -> None:
        if pulled_in and self.fault == "will_not_close":
            return
        if not pulled_in and self.fault == "welded" and self.path:
            return
        self.pulled_in = pulled_in
        self.path = pulled_in or (self.fault in ("one_pole_welded", "recloses") and self.path)
        self._bounced = pulled_in
        bounce = ("open", "closed") if pulled_in else ("closed", "open")
        self.moves += [(at_s + BOUNCE_S * (i + 1) / 2, state) for i, state in enumerate(bounce)]
        if self.fault == "chatter" and self.coil_on:
            self.moves.append((at_s + 0.5 / self.amount, "out" if pulled_in else "in"))
            self.moves.sort()
