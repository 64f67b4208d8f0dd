"""A rig of each kind of supply and of cooling ships, and the same faults end well on all of them."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

import pytest

from controller.config.rigs import names
from simulator.rehearsal.rigs import find
from simulator.rehearsal.stock import Fate, Line, cases, line_of, play_case
from simulator.rehearsal.world import Level, Physical, World, allowed_a

TODAY = date(2026, 6, 1)
MAY_BE_LEFT = tuple(name for name in names() if name != "minimal")
FAULTS = (
    "supply-runs-away", "supply-reversed", "supply-cuts-out", "mains-lost", "coolant-lost", "lye-leak",
    "outlet-h-blocked", "outlet-o-blocked", "stop-pressed", "over-current", "supply-constant-voltage",
)  # fmt: skip
WELL = {Fate.SAVED, Fate.STOPPED, Fate.HARMLESS}


@lru_cache(maxsize=8)
def rig(name: str) -> Physical:
    return find(name, TODAY)


def played(name: str, fault: str) -> Line:
    case = next(case for case in cases(rig(name)) if case.name == fault)
    return line_of(case, play_case(case, rig(name)))


def test_every_kind_of_supply_and_of_cooling_ships() -> None:
    files = [rig(name).rig.file for name in names()]
    assert {f.supply.kind for f in files} == {"current knob", "voltage knob", "fixed voltage", "drooping", "settable"}
    assert {f.cooling.kind for f in files} == {"water", "fan", "none"}
    sensors = {s.sensor for f in files for s in f.fitted.values()}
    assert {"ADS1115", "DS18B20", "pulse meter", "switch"} <= sensors


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("name", MAY_BE_LEFT)
def test_the_same_faults_end_well_on_each(name: str, fault: str) -> None:
    line = played(name, fault)
    assert line.fate in WELL, line
    assert line.harm_s is None or line.off_s is None or line.harm_s > line.off_s


def test_a_needless_trip_is_told_with_what_would_tell_the_two_faults_apart() -> None:
    """Without taps a worn stack looks like one with a dry cell; with them the same wear trips nothing."""
    line = played("uncooled", "electrode-worn")
    assert (line.fate, line.by) == (Fate.NEEDLESS, "stack off its curve")
    assert line.remedy.startswith("a tap between the cells")
    assert played("boathouse", "electrode-worn").fate is Fate.HARMLESS


@pytest.mark.parametrize("name", ["voltage-knob", "fixed-voltage"])
def test_a_supply_that_holds_volts_gives_more_as_the_lye_warms(name: str) -> None:
    """Its current is the cell's to choose: cold it is small, warm it is the one that was meant."""
    world = World(rig(name), Level.SIGNALS, seed=1, current_a=allowed_a(rig(name).rig))
    world.run_up()
    warm_a = world.behind.seen.current_a
    assert warm_a == pytest.approx(allowed_a(rig(name).rig), rel=0.03)
    cold = World(rig(name), Level.SIGNALS, seed=1, current_a=allowed_a(rig(name).rig))
    for _ in range(40):
        cold.scan()
    cold.ask("start")
    for _ in range(600):
        cold.scan()
    cold_a = cold.behind.seen.current_a
    cold.close()
    world.close()
    assert 0.3 * warm_a < cold_a < 0.9 * warm_a


@pytest.mark.parametrize("name", names())
def test_a_bench_that_ships_is_wired_as_its_rig_file_expects(name: str) -> None:
    """Half a minute at rest: nothing is refused, nothing trips, every signal is good."""
    world = World(rig(name), Level.DRIVERS, seed=1, current_a=5.0)
    for _ in range(60):
        world.scan()
    assert world.guard is not None
    memory = world.guard.memory
    bad = [
        signal.name for signal, value in zip(world.rig.core.signals, memory.values, strict=True) if value.number is None
    ]
    assert bad == []
    assert memory.latch.causes == ()
    world.close()
