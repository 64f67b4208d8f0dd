"""What a scan costs: decided alone, packed, through drivers and emulated boards, and with the plant behind them."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from time import process_time

from controller.cli.measures.row import Effort, Row, cpu_us, in_turn, row
from controller.core.frame import Frame, pack, unpack
from controller.core.limits import Effect
from controller.core.rig import Rig
from controller.core.step import step
from simulator.rehearsal.rigs import find
from simulator.rehearsal.world import Level, Physical, World, allowed_a

SCANS = 2000
COMPARED = 16  # limits, of the rig with twelve signals
BARE = "a bare loop of the same comparisons"


def running(physical: Physical, level: Level, frames: bool) -> World:
    """A rig that runs as if for hours, on a clock of its own."""
    world = World(physical, level, 1, allowed_a(physical.rig), frames=frames)
    world.run_up()
    return world


def frames_of(physical: Physical, scans: int) -> list[bytes]:
    """So many scans under power and the one before them."""
    world = running(physical, Level.SIGNALS, frames=True)
    kept: list[bytes] = []
    world.mailbox.listener = kept.append
    try:
        for _ in range(scans + 1):
            world.scan()
    finally:
        world.close()
    return kept


def recorded(physical: Physical, scans: int) -> list[Frame]:
    return [unpack(physical.rig.core, frame) for frame in frames_of(physical, scans)]


def decide(rig: Rig, frames: list[Frame]) -> None:
    """Every scan again, from the memory that the first one left."""
    memory = frames[0].memory
    for frame in frames[1:]:
        memory, _, _ = step(rig, memory, frame.inputs, frame.commands, frame.memory.now_s)
    if memory.latch.tripped or not memory.outputs.main_hold:
        raise RuntimeError("the rig did not keep running: this measures nothing")


def bare_loop(rig: Rig, frames: list[Frame]) -> Callable[[], int]:
    """The least that any program must do: every number against its range, every limit against its number."""
    ranges = [(signal.low, signal.high) for signal in rig.signals]
    limits = [(limit.members[0], limit.threshold, limit.rises) for limit in rig.limits]
    numbers = [[reading.number or 0.0 for reading in frame.inputs.readings] for frame in frames[1:]]

    def compare() -> int:
        beyond = 0
        for read in numbers:
            for number, (low, high) in zip(read, ranges, strict=True):
                if not low <= number <= high:
                    beyond += 1
            for member, threshold, rises in limits:
                if (read[member] >= threshold) if rises else (read[member] <= threshold):
                    beyond += 1
        return beyond

    return compare


def pure(name: str, rig: Rig, frames: list[Frame], effort: Effort) -> Row:
    scans = len(frames) - 1
    scan_us, bare_us = in_turn(
        effort.rounds,
        partial(cpu_us, partial(decide, rig, frames), scans),
        partial(cpu_us, bare_loop(rig, frames), scans),
    )
    return row(name, scan_us, "us", bare_us, BARE)


def twelve_and_sixteen() -> Physical:
    """The voltage-knob rig with its twelve signals and sixteen of its limits: the trips first."""
    physical = find("voltage-knob")
    core = physical.rig.core
    limits = tuple(sorted(core.limits, key=lambda limit: limit.effect is not Effect.TRIP)[:COMPARED])
    return physical._replace(rig=replace(physical.rig, core=replace(core, limits=limits)))


def scans(effort: Effort) -> list[Row]:
    """The core alone, on what a running rig read."""
    rigs = {"scan_12_signals_16_limits": twelve_and_sixteen()} | {
        f"scan_{name}": find(name) for name in ("minimal", "boathouse")
    }
    return [
        pure(name, physical.rig.core, recorded(physical, effort.times(SCANS)), effort)
        for name, physical in rigs.items()
    ]


def frames(effort: Effort) -> list[Row]:
    """One scan's record, beside what the language's own means of keeping objects make of the same."""
    physical = find("boathouse")
    rig, kept = physical.rig.core, recorded(physical, effort.times(SCANS))

    def packed() -> list[bytes]:
        return [pack(rig, f.boot, f.wall_s, f.inputs, f.commands, f.memory) for f in kept]

    def pickled() -> list[bytes]:
        return [pickle.dumps((f.boot, f.wall_s, f.inputs, f.commands, f.memory), -1) for f in kept]

    pack_us, pickle_us = in_turn(effort.rounds, partial(cpu_us, packed, len(kept)), partial(cpu_us, pickled, len(kept)))
    size, other = (sum(map(len, made)) / len(kept) for made in (packed(), pickled()))
    beside = "pickle of the same objects"
    return [row("frame_pack", pack_us, "us", pickle_us, beside), row("frame_size", size, "byte", other, beside)]


def through_drivers(effort: Effort) -> list[Row]:
    """The guard's whole scan through the real drivers on emulated chips, and the bench that answers them."""
    found = []
    for name in ("minimal", "boathouse"):
        physical = find(name)
        count = effort.times(SCANS // 2)
        frames = recorded(physical, count)
        world = running(physical, Level.DRIVERS, frames=True)
        try:
            both_us, guard_us, core_us = in_turn(
                effort.rounds,
                partial(cpu_us, partial(_some, world, count), count),
                partial(_guard_us, world, count),
                partial(cpu_us, partial(decide, physical.rig.core, frames), count),
            )
        finally:
            world.close()
        found.append(row(f"scan_through_drivers_{name}", guard_us, "us", core_us, "the core's part of it"))
        found.append(row(f"scan_with_plant_{name}", both_us, "us", guard_us, "the same without plant and boards"))
    return found


def _some(world: World, count: int) -> None:
    for _ in range(count):
        world.scan()


def _guard_us(world: World, count: int) -> float:
    """What the guard's scan takes of a world's: reading, deciding, driving, packing."""
    guard = world.guard
    assert guard is not None
    whole, spent_s = guard.scan, 0.0

    def timed(planned_s: float) -> None:
        nonlocal spent_s
        start_s = process_time()
        whole(planned_s)
        spent_s += process_time() - start_s

    guard.scan = timed  # type: ignore[method-assign]
    try:
        _some(world, count)
    finally:
        del guard.scan
    return spent_s / count * 1e6
