"""A supply that gives more, less or later than it was told."""

from __future__ import annotations

import pytest

from controller.core.commands import Verb
from controller.core.events import Happened
from controller.core.rig import Supply
from controller.core.sequence import State
from tests.core.bench import Bench, rig
from tests.core.states import closing, ran

# --- the supply


def test_a_supply_that_gives_more_than_it_is_told_trips_after_a_second() -> None:
    bench = ran()
    bench.ask(Verb.SET_CURRENT, number=12.0)
    bench.run(2.0)
    bench.supply_a = 13.1  # 12 A + 5 % + 0.5 A is 13.1 A
    bench.run(5.0)
    assert bench.at(State.RUNNING)
    bench.supply_a = 13.2
    assert bench.until(lambda: bool(bench.causes), 3.0) == pytest.approx(1.1, abs=0.11)
    assert bench.causes == ["supply does not obey"]


def test_a_supply_that_was_only_late_to_obey_does_not_trip() -> None:
    bench = ran()
    bench.supply_a = 30.0
    bench.ask(Verb.SET_CURRENT, number=12.0)
    bench.run(0.7)
    bench.supply_a = None
    bench.run(3.0)
    assert bench.at(State.RUNNING)


def test_a_knob_is_not_asked_to_obey() -> None:
    bench = Bench(rig(supply=Supply(kind="current knob", rated_a=30.0, minimum_a=9.0)))
    bench.supply_a = 25.0
    bench.start()
    bench.run(30.0)
    assert bench.at(State.RUNNING)


@pytest.mark.parametrize("kind", ["settable", "current knob"])
@pytest.mark.parametrize(("gone_s", "trips"), [(0.3, False), (0.8, True), (3.0, True)])
def test_current_that_was_cut_out_and_comes_back_by_itself_trips(kind: str, gone_s: float, trips: bool) -> None:
    bench = Bench(rig(supply=Supply(kind=kind, rated_a=30.0, minimum_a=9.0, start_lag_s=0.5)))
    bench.supply_a = None if kind == "settable" else 20.0
    bench.start()
    bench.supply_a = 0.0
    bench.run(gone_s)
    bench.supply_a = None if kind == "settable" else 20.0
    bench.run(1.0)
    assert (bench.causes == ["supply came back by itself"]) == trips
    assert bench.at(State.RUNNING) != trips


def test_a_supply_that_starts_late_with_a_kick_has_not_come_back() -> None:
    bench = Bench(rig(supply=Supply(kind="current knob", rated_a=30.0, minimum_a=9.0, start_lag_s=5.0)))
    closing(bench)
    bench.supply_a = 20.0
    bench.scan()
    bench.supply_a = 0.0
    bench.run(3.0)
    bench.supply_a = 20.0
    bench.run(60.0)
    assert bench.at(State.RUNNING)


def test_under_the_minimum_current_for_a_minute_is_an_orderly_stop() -> None:
    bench = ran()
    bench.run(25.0)
    bench.supply_a = 8.9
    took_s = bench.until(lambda: bench.at(State.STOPPING), 100.0)
    assert took_s == pytest.approx(60.0, abs=0.3)
    assert bench.said(Happened.STOP_DEMANDED) == ["minimum current"]
    bench.until(lambda: bench.at(State.OFF), 20.0)
    assert not bench.causes
    assert "minimum" in bench.memory.run.ending


def test_flickering_about_the_minimum_counts_by_its_share() -> None:
    for low_s, stops in ((6.0, True), (4.0, False)):
        bench = ran()
        bench.run(25.0)
        for _ in range(60):
            bench.supply_a = 8.0
            bench.run(low_s)
            bench.supply_a = None
            bench.run(10.0 - low_s)
        assert (bench.said(Happened.STOP_DEMANDED) == ["minimum current"]) == stops
