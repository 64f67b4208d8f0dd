"""Hours of random faults and commands, every scan of them decided again: `python -m simulator.rehearsal.soak HOURS`.

The end of each half hour is quiet. Then the rig is mended and somebody who knows it brings it back into running, so
that the last hour of a day goes through as many states as the first one, and not through a lock-out alone.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from random import Random
from typing import NamedTuple

from controller.core.commands import Source
from controller.core.events import Happened
from controller.core.frame import Frame, unpack
from controller.core.sequence import State
from controller.core.step import step
from simulator.faults.active import Come
from simulator.faults.kinds import Fits
from simulator.faults.library import LIBRARY, parts_for
from simulator.rehearsal.replay import Difference, differs
from simulator.rehearsal.rigs import find
from simulator.rehearsal.world import Level, Physical, World, allowed_a

EVERY_S = 40.0  # a fault, on average
ASKED_EVERY_S = 25.0
PEOPLE = (
    "start",
    "start",
    "stop",
    "reset",
    "reset",
    "silence",
    "present",
    "set-current",
    "bypass",
    "release",
    "hold",
    "lift",
)
SPELL_S = 1800.0
QUIET_S = 720.0  # at its end: five minutes off before a start, its self-test, and gas to the vent
OTHER = "voltage"  # what a swapped sensor is swapped with
CARED_EVERY_S = 15.0
CARE = ("lift", "release", "reset", "topped-up", "start")  # asked in turn, at the rig; what does not apply is refused


class Soaked(NamedTuple):
    scans: int
    faults: int
    commands: int
    trips: int
    runs: int  # times that it came into running
    states: int  # different ones that it was in
    difference: Difference | None


class _Again:
    """Decides each frame again from the one before it, as a replay of the whole would."""

    def __init__(self, physical: Physical) -> None:
        self._rig = physical.rig.core
        self._before: Frame | None = None
        self.scans = 0
        self.difference: Difference | None = None

    def frame(self, data: bytes) -> None:
        frame = unpack(self._rig, data)
        before, self._before = self._before, frame
        if before is None or frame.memory.scan != before.memory.scan + 1 or self.difference is not None:
            return
        memory, _, _ = step(self._rig, before.memory, frame.inputs, frame.commands, frame.memory.now_s)
        self.scans += 1
        what = differs(self._rig, frame.memory, memory)
        if what:
            self.difference = Difference(frame.memory.scan, frame.memory.now_s, what)


class _Day:
    """The rig, and by turns what goes wrong with it and who mends it. `seed` draws all of it."""

    def __init__(self, physical: Physical, seed: int) -> None:
        self._lot = Random(seed)
        through = frozenset(c.name for c in physical.wiring.converter) | {"bus 1"}
        self.world = World(physical, Level.SIGNALS, seed, allowed_a(physical.rig), through=through, frames=True)
        self._again = _Again(physical)
        self.world.mailbox.listener = self._again.frame
        self._kinds = [
            (kind, parts)
            for kind in LIBRARY.values()
            if (parts := parts_for(physical.wiring, kind.fits)) or kind.fits is Fits.NOTHING
            if not kind.name.startswith("second-") or physical.wiring.power.second is not None
        ]
        scan_s = physical.rig.core.scan_s
        self._fault_share, self._asked_share = scan_s / EVERY_S, scan_s / ASKED_EVERY_S
        self._spell, self._quiet, self._cared_every = (round(s / scan_s) for s in (SPELL_S, QUIET_S, CARED_EVERY_S))
        self._sound, self._mended = self.world.behind.state, True
        self._faults = self._commands = self._runs = 0
        self._states: set[State] = set()
        self._state: State | None = None

    def scan(self, number: int) -> None:
        into_quiet = number % self._spell - (self._spell - self._quiet)
        if into_quiet < 0:
            self._trouble()
        else:
            self._care(into_quiet)
        self.world.scan()
        before, self._state = self._state, self.world.state
        if self._state is not None:
            self._states.add(self._state)
            self._runs += self._state is State.RUNNING and before is not State.RUNNING

    def _trouble(self) -> None:
        lot, world = self._lot, self.world
        if lot.random() < self._fault_share:
            kind, parts = lot.choice(self._kinds)
            on = lot.choice(parts) if parts else ""
            for_s = lot.uniform(0.2, 60.0)
            if kind.name != "sensors-swapped" or on != OTHER:
                world.active.begin(Come(kind.name, on=on, other=OTHER, for_s=for_s), world.clock.now_s)
                self._faults += 1
        if lot.random() < self._asked_share:
            source = lot.choice([Source.LOCAL, Source.LOCAL, Source.PLAN, Source.REMOTE, Source.LINK])
            world.ask(
                lot.choice(PEOPLE), source, number=lot.choice([None, 12.0, 20.0]), text="by lot", who="Ada",
                subject=lot.choice(["", "coolant flow low"]), seconds=lot.choice([None, 600.0]),
            )  # fmt: skip
            self._commands += 1

    def _care(self, into_quiet: int) -> None:
        world = self.world
        if into_quiet == 0:
            world.active.clear("", now_s=world.clock.now_s)
            self._mended = False
        if not self._mended and not world.powered:
            world.behind.state, self._mended = self._sound, True
        if into_quiet % self._cared_every == 0:
            holder = "" if world.guard is None else world.guard.memory.latch.held_by
            world.ask(CARE[into_quiet // self._cared_every % len(CARE)], text="mended", who=holder or "Ada")
            self._commands += 1

    def so_far(self) -> Soaked:
        trips = sum(event.what is Happened.TRIP for _, event in self.world.heard)
        again = self._again
        return Soaked(
            again.scans, self._faults, self._commands, trips, self._runs, len(self._states), again.difference
        )


def soak(physical: Physical, hours: float, seed: int, told: Callable[[Soaked], None] = lambda _: None) -> Soaked:
    """Random faults that end after a while, random requests of random people, care between them, a replay beside it.

    told: is given what there is after each half hour, for a day takes minutes.
    """
    scan_s = physical.rig.core.scan_s
    day = _Day(physical, seed)
    try:
        for number in range(1, round(hours * 3600.0 / scan_s) + 1):
            day.scan(number)
            if number % round(SPELL_S / scan_s) == 0:
                told(day.so_far())
    finally:
        day.world.close()
    return day.so_far()


def _tell(so_far: Soaked) -> None:
    sys.stderr.write(f"{so_far}\n")


if __name__ == "__main__":
    given_hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    result = soak(find("boathouse"), given_hours, 1, _tell)
    sys.stdout.write(f"{result}\n")
    sys.exit(0 if result.difference is None else 1)
