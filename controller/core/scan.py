"""The workbench of one scan: what `step` and its stages share and change, thrown away when the scan is over.

Stages are plain functions on it. From outside `step` stays a pure function: the memory it was given is never touched.
"""

from __future__ import annotations

from controller.core.events import Event, Happened
from controller.core.limits import Arming, Effect, LimitState
from controller.core.memory import Inputs, Memory, Person, Run, Sequence
from controller.core.rig import Rig
from controller.core.sequence import POWERED_STATES, On, State
from controller.core.signals import Value
from controller.core.trips import Latch


class Scan:
    __slots__ = (
        "before",
        "cap",
        "dt_s",
        "event_number",
        "events",
        "inputs",
        "latch",
        "limits",
        "now_s",
        "person",
        "pins_obey",
        "proof",
        "rig",
        "run",
        "seq",
        "starts_s",
        "values",
        "wishes",
    )

    def __init__(self, rig: Rig, before: Memory, inputs: Inputs, now_s: float) -> None:
        self.rig = rig
        self.before = before
        self.inputs = inputs
        self.now_s = now_s
        self.dt_s = now_s - before.now_s
        self.values: tuple[Value, ...] = before.values
        self.limits: tuple[LimitState, ...] = before.limits
        self.seq: Sequence = before.sequence
        self.latch: Latch = before.latch
        self.run: Run = before.run
        self.person: Person = before.person
        self.starts_s = before.starts_s
        self.cap = before.cap
        self.event_number = before.events
        self.events: list[Event] = []
        self.wishes: list[On] = []
        self.proof = True  # output proof: pins and contacts agree with what was asked
        self.pins_obey = True

    def say(
        self,
        what: Happened,
        subject: str,
        detail: str = "",
        source: str = "",
        ticket: int = 0,
        seen: float | None = None,
        limit: float | None = None,
    ) -> None:
        self.event_number += 1
        self.events.append(Event(self.event_number, self.now_s, what, subject, detail, source, ticket, seen, limit))

    def number(self, role: int) -> float | None:
        """The believed number of a role's signal; None when not fitted or not good."""
        return self.values[role].number if role >= 0 else None

    def current_a(self) -> float | None:
        return self.number(self.rig.roles.current)

    def current_zero(self) -> bool:
        """Current is proven to be zero; unknown is no."""
        current_a = self.current_a()
        return current_a is not None and abs(current_a) < self.rig.zero_current_a

    def wish(self, on: On) -> None:
        self.wishes.append(on)


def armed(scan: Scan) -> tuple[bool, bool, bool, bool]:
    """Which of `Arming` hold in this scan, in its order."""
    seq, outputs, power = scan.seq, scan.before.outputs, scan.rig.power
    opened = (
        not seq.powered
        and not outputs.main_hold
        and not outputs.main_close
        and scan.now_s - seq.opened_s >= power.opening_s + 0.5
    )
    return True, seq.powered, opened, outputs.collect


assert tuple(Arming) == (Arming.ALWAYS, Arming.POWERED, Arming.OPENED, Arming.COLLECTING)


def settled(scan: Scan, after_s: float) -> bool:
    """Power has been on for `after_s` since the measured closing, and nobody has begun to take it off."""
    seq = scan.seq
    return (
        seq.state in POWERED_STATES and seq.state is not State.STOPPING and 0.0 <= seq.closed_s <= scan.now_s - after_s
    )


def proving_met(scan: Scan) -> bool:
    """Everything that the start itself switches on (flow, air) is seen and clear of its limit."""
    values = scan.values
    for limit in scan.rig.limits:
        if limit.proving and limit.effect is Effect.TRIP:
            good = 0
            for member in limit.members:
                number = values[member].number
                if number is None:
                    continue
                if limit.is_switch:
                    good += number >= 1.0
                else:
                    good += number < limit.threshold if limit.rises else number > limit.threshold
            if good <= len(limit.members) - limit.needed:
                return False
    return True


def calm(scan: Scan) -> bool:
    """Flow is proven and the current in range: a quantity far from its limit cannot reach it soon."""
    current_a = scan.current_a()
    return current_a is not None and abs(current_a) <= 1.05 * scan.rig.supply.rated_a and proving_met(scan)
