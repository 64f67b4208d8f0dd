"""A supply with a knob: what the guard says, when it ends the run, and that it leaves an ordinary run alone."""

from __future__ import annotations

import pytest

from controller.core.by_hand import allowed_a
from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.explain import explain
from controller.core.limits import Effect, Limit
from controller.core.rig import Grade, Rig, Supply
from controller.core.sequence import State
from tests.core.bench import LIMITS, Bench, rig
from tests.core.rigs import with_limit

FOLDS_BACK = Limit("over-temperature derate", "Lye hot", (1,), 62.0, True, Effect.DERATE, derate_to=68.0)


def by_hand(kind: str = "current knob", grade: Grade = Grade.ATTENDED, **changes: object) -> Rig:
    """30 A rated, so 10 A with somebody beside it; the minimum is low enough for both."""
    supply = Supply(kind=kind, rated_a=30.0, minimum_a=5.0, start_lag_s=0.5)
    limits = with_limit("minimum current", threshold=5.0)
    return rig(**({"supply": supply, "grade": grade, "limits": limits} | changes))


def running(bench: Bench, at_a: float = 10.0) -> Bench:
    bench.supply_a = at_a
    bench.start()
    bench.run(2.0)
    return bench


def test_more_than_a_third_of_the_rated_current_is_said_after_ten_seconds_and_ends_the_run_after_a_minute() -> None:
    bench = running(Bench(by_hand()))
    bench.supply_a = 10.6
    began_s = bench.now_s
    bench.until(lambda: "turn down" in bench.said(Happened.ALARM))
    assert bench.now_s - began_s == pytest.approx(10.0, abs=0.2)
    told = next(e for e in bench.events if e.subject == "turn down")
    assert "turn the knob to 10 A or less" in told.detail
    assert told.seen == 10.6
    assert told.limit == pytest.approx(10.0)
    sentence = explain(bench.rig, bench.memory, ()).text
    assert "turn the knob to 10 A or less; in 50 s it stops" in sentence
    bench.until(lambda: not bench.parts.path)
    assert bench.now_s - began_s == pytest.approx(60.0, abs=0.5)
    assert not bench.causes
    assert "nobody turned it down" in bench.memory.run.ending
    assert bench.said(Happened.STOP_DEMANDED) == ["turn down"]
    bench.run(1.0)
    assert "turn down" in bench.said(Happened.ALARM_CLEARED)


def test_a_hand_that_turns_it_down_in_time_ends_the_alarm_and_not_the_run() -> None:
    bench = running(Bench(by_hand()))
    bench.supply_a = 11.0
    bench.run(40.0)
    bench.supply_a = 9.9
    bench.run(45.0)
    assert bench.state is State.RUNNING
    assert bench.said(Happened.ALARM).count("turn down") == bench.said(Happened.ALARM_CLEARED).count("turn down") == 1
    assert "knob" not in explain(bench.rig, bench.memory, ()).text


@pytest.mark.parametrize("at_a", [8.0, 10.0, 10.4])
def test_what_is_allowed_and_as_near_as_a_knob_can_be_set_is_not_spoken_of(at_a: float) -> None:
    bench = running(Bench(by_hand()), at_a)
    bench.run(200.0)
    assert bench.state is State.RUNNING
    assert not bench.said(Happened.ALARM)


def test_what_is_over_for_most_of_the_time_counts_as_over() -> None:
    bench = running(Bench(by_hand()))
    for _ in range(40):
        bench.supply_a = 11.0
        bench.run(4.0)
        bench.supply_a = 10.0
        bench.run(1.0)
    assert not bench.parts.path
    assert "nobody turned it down" in bench.memory.run.ending


def test_as_the_lye_warms_the_words_follow_and_the_run_ends_when_nobody_does() -> None:
    """Half of the way from 62 to 68 C leaves half of the span between 5 and 30 A: 17.5 A."""
    bench = running(Bench(by_hand(grade=Grade.UNATTENDED, limits=(*LIMITS, FOLDS_BACK))), 29.0)
    assert not bench.said(Happened.ALARM)
    bench.numbers["cell temperature"] = 65.0
    bench.run(15.0)
    assert "turn the knob to 18 A or less" in explain(bench.rig, bench.memory, ()).text
    bench.supply_a = 17.5
    bench.run(30.0)
    assert bench.state is State.RUNNING
    bench.supply_a = 29.0
    bench.until(lambda: not bench.parts.path, 61.0)
    assert not bench.causes


def test_a_supply_without_a_knob_is_not_told_to_turn_one() -> None:
    bench = Bench(by_hand("fixed voltage"))
    bench.run(1.0)
    bench.ask(Verb.START)
    assert "At the supply" not in explain(bench.rig, bench.memory, ()).text
    bench = running(Bench(by_hand("fixed voltage")), 10.8)
    bench.run(12.0)
    assert "it has no knob: stop, and let the lye cool" in explain(bench.rig, bench.memory, ()).text


def test_what_somebody_asked_for_is_what_it_is_to_be_turned_to() -> None:
    bench = Bench(by_hand(grade=Grade.UNATTENDED))
    bench.run(1.0)
    bench.ask(Verb.START, Source.LOCAL, number=22.0)
    bench.scan()
    assert "turn the knob to 22 A or less" in explain(bench.rig, bench.memory, ()).text
    assert allowed_a(bench.rig, 22.0, 1.0) == 22.0
    assert allowed_a(bench.rig, 22.0, 0.5) == 17.5


def test_a_supply_that_follows_its_set_point_is_never_spoken_of() -> None:
    bench = Bench()
    bench.start()
    bench.run(100.0)
    assert "turn down" not in bench.said(Happened.ALARM)
    assert bench.memory.run.over_s == 0.0


def test_a_current_that_is_not_known_neither_fills_nor_empties_the_minute() -> None:
    bench = running(Bench(by_hand()))
    bench.supply_a = 11.0
    bench.run(20.0)
    before_s = bench.memory.run.over_s
    bench.numbers["current"] = float("nan")
    bench.run(0.5)
    assert bench.memory.run.over_s == before_s
