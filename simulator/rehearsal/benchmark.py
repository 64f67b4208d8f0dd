"""How fast rehearsals are, as rows (name, value, unit, baseline, ratio): `python -m simulator.rehearsal.benchmark`.

The baseline of a speed is the goal; a ratio of 1 or more reaches it. Beside the whole, what the core and the plant take
of each scan: no rehearsal can be quicker than those two together.
"""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter, process_time

from controller.core.step import step
from controller.guard import loop
from simulator.plant.benchmark import Row
from simulator.rehearsal.campaign import Plan, play_campaign, run_one
from simulator.rehearsal.equality import levels_agree, shortened
from simulator.rehearsal.rigs import find
from simulator.rehearsal.scenario import shipped
from simulator.rehearsal.stock import cases
from simulator.rehearsal.world import Level, Physical, World, allowed_a

ROUNDS = 7
SCANS = {Level.SIGNALS: 3000, Level.DRIVERS: 800}
GOAL_S_PER_S = {Level.SIGNALS: 2000.0, Level.DRIVERS: 100.0}
COMPARED_S = 15.0
RUNS = 40


def rows() -> list[Row]:
    """Measure everything; takes two minutes."""
    found = []
    for name in ("minimal", "boathouse"):
        physical = find(name)
        for level in Level:
            speed, core_us, scan_us = _speed(physical, level)
            goal = GOAL_S_PER_S[level]
            found.append(Row(f"rehearsal_{level.value}_{name}", speed, "simulated s/s of CPU", goal, speed / goal))
            if level is Level.SIGNALS:
                floor_us = core_us + _plant_us(physical)
                found.append(
                    Row(f"rehearsal_core_and_plant_{name}", floor_us, "us a scan", scan_us, floor_us / scan_us)
                )
    found += _equal(find("boathouse"))
    found += _scaling()
    found.append(Row("rehearsal_scenarios_shipped", float(len(shipped())), "files", None, None))
    return found


def _speed(physical: Physical, level: Level) -> tuple[float, float, float]:
    """Simulated seconds a second of CPU, running as if for hours; and us of the core, and of all, in each scan."""
    world = World(physical, level, 1, allowed_a(physical.rig))
    try:
        world.run_up()
        all_us = median(_scans_us(world, SCANS[level]) for _ in range(ROUNDS))
        core_us = _core_us(world, SCANS[level])
    finally:
        world.close()
    return physical.rig.core.scan_s / (all_us * 1e-6), core_us, all_us


def _scans_us(world: World, scans: int) -> float:
    start = process_time()
    for _ in range(scans):
        world.scan()
    return (process_time() - start) / scans * 1e6


def _core_us(world: World, scans: int) -> float:
    """What `step` takes of the guard's scans, the measurement's own time taken off."""
    decide = step
    spent = 0.0

    def timed(*given: object) -> object:
        nonlocal spent
        start = perf_counter()
        answer = decide(*given)  # type: ignore[arg-type]
        spent += perf_counter() - start
        return answer

    setattr(loop, "step", timed)  # noqa: B010 - what the guard's loop calls, for as long as this takes
    try:
        _scans_us(world, scans)
    finally:
        setattr(loop, "step", decide)  # noqa: B010
    return spent / scans * 1e6


def _plant_us(physical: Physical) -> float:
    world = World(physical, Level.SIGNALS, 1, allowed_a(physical.rig))
    try:
        world.run_up()
        behind = world.behind
        state, inputs, times = behind.state, behind._inputs, []
        for _ in range(ROUNDS):
            start = process_time()
            for _ in range(2000):
                state = behind._step(state, inputs, 0.1)
                behind._look(state, inputs)
            times.append((process_time() - start) / 2000 * 1e6)
    finally:
        world.close()
    return median(times)


def _equal(physical: Physical) -> list[Row]:
    """One part for each fault of the library, a few seconds of it, at both levels."""
    one_each = {case.name.split()[0]: case for case in cases(physical)}
    answers = [levels_agree(shortened(case, COMPARED_S), physical) for case in one_each.values()]
    same = sum(not answer.differs for answer in answers)
    return [Row("rehearsal_levels_equal", float(same), "faults", float(len(answers)), same / len(answers))]


def _scaling() -> list[Row]:
    """One campaign on one worker and on two: wall time."""
    plan = Plan("boathouse", RUNS, 1, "latin", ("coolant-lost", "lye-leak", "outlet-h-blocked"), drivers=False)
    run_one(plan, 0)  # what is loaded once is not what is measured
    took_s = []
    for workers in (1, 2):
        plan = plan._replace(seed=1 + workers)  # other draws: nothing is there already
        with TemporaryDirectory() as folder:
            start = perf_counter()
            play_campaign(plan, Path(folder), workers)
            took_s.append(perf_counter() - start)
    return [
        Row("campaign_one_worker", RUNS / took_s[0], "rehearsals/s", None, None),
        Row("campaign_two_workers", RUNS / took_s[1], "rehearsals/s", RUNS / took_s[0], took_s[0] / took_s[1]),
    ]


if __name__ == "__main__":
    for row in rows():
        beside = "" if row.baseline is None else f"  (of {row.baseline:.4g}: {row.ratio:.2f})"
        sys.stdout.write(f"{row.name:<36}{row.value:>10.4g} {row.unit}{beside}\n")
