"""The workbench of one scan: what `step` and its stages share and change, thrown away when the scan is over.

Stages are plain functions on it. From outside `step` stays a pure function: the memory it was given is never touched.
"""

from __future__ import annotations

from controller.core.events import Event, Happened
from controller.core.limits import Arming, Limit, LimitState, made_by_power
from controller.core.memory import Inputs, Memory, Person, Run, Sequence
from controller.core.outputs import Outputs
from controller.core.rig import Rig
from controller.core.sequence import GOING_ON, On
from controller.core.signals import Value
from controller.core.trips import Cause, Latch


class Scan:
    __slots__ = (
        "before",
        "blank",
        "cap",
        "causes",
        "dt_s",
        "event_number",
        "events",
        "inputs",
        "latch",
        "late",
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
        "votes",
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
        self.blank: list[int] = []  # positions of signals without a number in this scan
        self.votes = before.votes
        self.late = before.late
        self.event_number = before.events
        self.events: list[Event] = []
        self.causes: list[Cause] = []  # of a trip, found in this scan
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

    def current_flows(self) -> bool | None:
        """Whether current flows; None when not known."""
        role = self.rig.roles.current
        return self.rig.flows(self.values[role]) if role >= 0 else None

    def running_h(self) -> float:
        """Hours of running in all, the present run included."""
        closed_s = self.seq.closed_s
        return self.latch.running_h + (max(0.0, self.now_s - closed_s) / 3600.0 if closed_s >= 0.0 else 0.0)

    def wish(self, on: On) -> None:
        self.wishes.append(on)

    def memory(self, outputs: Outputs) -> Memory:
        """What has been found and decided so far, as it will be remembered."""
        inputs = self.inputs
        return Memory(
            self.now_s,
            self.before.scan + 1,
            self.values,
            self.limits,
            self.seq,
            self.latch,
            self.run,
            self.person,
            outputs,
            self.event_number,
            self.starts_s,
            self.cap,
            self.before.began_s,
            (inputs.main_closed, inputs.second_closed, inputs.relay_closed),
            inputs.latch_on_disk,
            inputs.controller_well,
            self.pins_obey,
            self.votes,
            self.late,
        )


def armed(scan: Scan) -> tuple[bool, bool, bool, bool]:
    """Which of `Arming` hold in this scan, in its order."""
    seq, outputs, power = scan.seq, scan.before.outputs, scan.rig.power
    # not `not seq.powered`: that stays set for as long as current flows, so a weld would disarm what looks for it
    opened = not outputs.main_hold and not outputs.main_close and scan.now_s - seq.opened_s >= power.opening_s + 0.5
    return True, seq.powered, opened, outputs.collect


assert tuple(Arming) == (Arming.ALWAYS, Arming.POWERED, Arming.OPENED, Arming.COLLECTING)


def settled(scan: Scan, limit: Limit) -> bool:
    """The window after the measured closing is over, in which this limit says nothing: the inrush, once a closing; and
    for a limit that a rig without power breaks, nobody has begun to take the power off either."""
    seq = scan.seq
    since_s = scan.now_s - seq.closed_s
    if made_by_power(limit):
        under_way = seq.state in GOING_ON
        return under_way and seq.closed_s >= 0.0 and since_s >= limit.settle_s
    return seq.closed_s < 0.0 or since_s >= limit.settle_s


def proving_met(scan: Scan, but: int = -1) -> bool:
    """Everything that the start itself switches on (flow, air) is seen and clear of its limit.

    but: position of a bypassed limit, of which it is enough that it is seen.
    """
    values = scan.values
    for at in scan.rig.proving:
        limit = scan.rig.limits[at]
        if at == but and all(values[m].number is not None for m in limit.members):
            continue
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
