"""Hours of random faults and commands, every scan of them decided again: `python -m simulator.rehearsal.soak HOURS`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from random import Random
from typing import NamedTuple

from controller.core.commands import Source
from controller.core.frame import Frame, unpack
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


class Soaked(NamedTuple):
    scans: int
    faults: int
    commands: int
    trips: int
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


def soak(physical: Physical, hours: float, seed: int, told: Callable[[Soaked], None] = lambda _: None) -> Soaked:
    """Random faults that end after a while, random requests of random people, and a replay beside it.

    told: is given what there is after each hour, for a day takes minutes.
    """
    lot = Random(seed)
    through = frozenset(c.name for c in physical.wiring.converter) | {"bus 1"}
    world = World(physical, Level.SIGNALS, seed, allowed_a(physical.rig), through=through, frames=True)
    again = _Again(physical)
    world.mailbox.listener = again.frame
    faults = commands = 0
    states: set[int] = set()

    def so_far() -> Soaked:
        trips = sum(event.what.name == "TRIP" for _, event in world.heard)
        return Soaked(again.scans, faults, commands, trips, len(states), again.difference)

    scan_s = physical.rig.core.scan_s
    kinds = [k for k in LIBRARY.values() if k.fits is Fits.NOTHING or parts_for(physical.wiring, k.fits)]
    try:
        for scan in range(1, round(hours * 3600.0 / scan_s) + 1):
            if lot.random() < scan_s / EVERY_S:
                kind = lot.choice(kinds)
                parts = parts_for(physical.wiring, kind.fits)
                on = lot.choice(parts) if parts else ""
                for_s = lot.uniform(0.2, 60.0)
                if _can(kind.name, on, physical):
                    world.active.begin(Come(kind.name, on=on, other="voltage", for_s=for_s), world.clock.now_s)
                    faults += 1
            if lot.random() < scan_s / ASKED_EVERY_S:
                source = lot.choice([Source.LOCAL, Source.LOCAL, Source.PLAN, Source.REMOTE, Source.LINK])
                world.ask(
                    lot.choice(PEOPLE), source, number=lot.choice([None, 12.0, 20.0]), text="by lot", who="Ada",
                    subject=lot.choice(["", "coolant flow low"]), seconds=lot.choice([None, 600.0]),
                )  # fmt: skip
                commands += 1
            world.scan()
            if world.state is not None:
                states.add(int(world.state))
            if scan % round(3600.0 / scan_s) == 0:
                told(so_far())
    finally:
        world.close()
    return so_far()


def _can(name: str, on: str, physical: Physical) -> bool:
    if name == "sensors-swapped":
        return on not in ("", "voltage")
    return not (name.startswith("second-") and physical.wiring.power.second is None)


def _tell(so_far: Soaked) -> None:
    sys.stderr.write(f"{so_far}\n")


if __name__ == "__main__":
    given_hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    result = soak(find("boathouse"), given_hours, 1, _tell)
    sys.stdout.write(f"{result}\n")
    sys.exit(0 if result.difference is None else 1)
