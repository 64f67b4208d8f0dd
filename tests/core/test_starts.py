"""Starts, what they need and how their runs end: permissives, stops, local enable, leases, somebody beside the rig."""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any

import pytest

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.core.limits import Arming, Effect, Limit
from controller.core.permissives import permissives
from controller.core.rig import Grade, Timing
from controller.core.sequence import POWERED_STATES, State
from tests.core.bench import LIMITS, Bench, rig
from tests.core.rigs import attended, full_rig
from tests.core.states import RIG, in_state, stopped

# --- starts


def test_a_refused_start_says_all_that_is_missing_at_once() -> None:
    bench = Bench(replace(full_rig(), grade=Grade.UNATTENDED))
    bench.numbers.update({"room hydrogen": 0.0, "dry floor": 1.0, "air flow": 1.0, "voltage": -1.0})
    bench.numbers.update({"pressure hydrogen side": 2.0, "pressure oxygen side": None, "cell temperature": 60.0})
    bench.numbers["level hydrogen side"] = 0.0
    bench.well = False
    bench.memory = bench.memory._replace(latch=bench.memory.latch._replace(settings_accepted=False))
    bench.run(0.3)
    detail = bench.ask(Verb.START, Source.PLAN, seconds=600.0).detail
    for part in (
        "Pressure, oxygen side", "Level low, hydrogen side", "let it cool to 50 C", "leads swapped", "not well",
        "changed", "local enable is off",
    ):  # fmt: skip
        assert part in detail, part


def test_the_list_of_permissives_agrees_with_the_answer_to_a_start() -> None:
    for state in State:
        bench = in_state(state)
        for source in (Source.LOCAL, Source.PLAN):
            met = all(p.met for p in permissives(bench.rig, bench.memory, source))
            answer = copy.deepcopy(bench).ask(Verb.START, source, seconds=60.0)
            assert (answer.what is Happened.ACCEPTED) == (met and state in (State.OFF, State.COOLING))


@pytest.mark.parametrize("source", [Source.PLAN, Source.REMOTE])
def test_while_it_freezes_nobody_starts_from_afar_and_somebody_at_the_rig_may(source: Source) -> None:
    """Ice in a vent is seen only by looking."""
    frost = Limit("frost warn", "Coolant near freezing", (1,), 3.0, False, Effect.ALARM, Arming.ALWAYS, deadband=1.0)
    bench = Bench(rig(limits=(*LIMITS, frost), lowest_start_c=0.0))
    bench.run(10.0)
    bench.ask(Verb.ENABLE)
    bench.ask(Verb.CONFIRM)
    for cell_c, starts in ((20.0, True), (3.0, False), (3.9, False), (4.1, True)):
        bench.numbers["cell temperature"] = cell_c
        bench.run(2.0)
        asked = copy.deepcopy(bench).ask(Verb.START, source, seconds=600.0)
        assert (asked.what is Happened.ACCEPTED) == starts, asked.detail
        assert starts or "frost" in asked.detail
        assert copy.deepcopy(bench).ask(Verb.START, seconds=600.0).what is Happened.ACCEPTED


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"number": 31.0}, "not within"), ({"number": 0.0}, "not within"), ({"number": -1.0}, "not within"),
        ({"number": float("nan")}, "not within"), ({"number": 8.9}, "minimum"), ({"seconds": 0.0}, "ahead"),
        ({"seconds": float("inf")}, "ahead"), ({"charge_c": -1.0}, "ahead"), ({"charge_c": float("nan")}, "ahead"),
    ],
)  # fmt: skip
def test_a_start_with_a_number_that_makes_no_sense_is_refused(fields: dict[str, Any], why: str) -> None:
    bench = in_state(State.OFF)
    assert why in bench.ask(Verb.START, **fields).detail
    assert bench.at(State.OFF)


@pytest.mark.parametrize("number", [9.0, 30.0, None])
def test_a_start_at_the_ends_of_what_is_allowed_is_taken(number: float | None) -> None:
    assert in_state(State.OFF).ask(Verb.START, number=number).what is Happened.ACCEPTED


def test_a_start_from_elsewhere_names_its_end_and_one_at_the_rig_need_not() -> None:
    for source in (Source.PLAN, Source.REMOTE):
        assert "end" in in_state(State.OFF).ask(Verb.START, source).detail
        assert in_state(State.OFF).ask(Verb.START, source, charge_c=9.0).what is Happened.ACCEPTED
    assert in_state(State.OFF).ask(Verb.START, Source.BUTTON).what is Happened.ACCEPTED


@pytest.mark.parametrize("ending", [{"seconds": 30.0}, {"charge_c": 600.0}])
def test_a_run_ends_where_it_was_told_to(ending: dict[str, Any]) -> None:
    bench = in_state(State.OFF)
    bench.ask(Verb.START, number=20.0, **ending)
    bench.until(lambda: bool(bench.parts.closings))
    took_s = bench.until(lambda: bench.at(State.STOPPING), 100.0)
    assert took_s == pytest.approx(30.0 if "seconds" in ending else 2.5 + 600.0 / 20.0, abs=0.4)  # half of a 5 s ramp
    bench.run(6.0)
    assert not bench.causes
    assert not bench.flows()


def test_at_least_so_long_off_between_runs_and_so_many_starts_an_hour() -> None:
    timing = Timing(proving_s=15.0, proven_for_s=2.0, ramp_s=5.0, off_at_least_s=60.0, starts_per_hour=4)
    bench = Bench(rig(timing=timing))
    bench.start()
    bench.ask(Verb.STOP)
    off_s = bench.now_s
    bench.run(3.0)
    for _ in range(3):
        left_s = int(bench.ask(Verb.START).detail.rpartition(": ")[2].removesuffix(" s left"))
        assert left_s == pytest.approx(60.0 - (bench.now_s - off_s), abs=1.1)
        bench.run(15.0)
    bench.until(lambda: bench.ask(Verb.START).what is Happened.ACCEPTED, 60.0)
    assert bench.now_s - off_s == pytest.approx(60.0, abs=0.4)
    for _ in range(2):
        bench.ask(Verb.STOP)
        bench.until(lambda: bench.ask(Verb.START).what is Happened.ACCEPTED, 90.0)
    bench.ask(Verb.STOP)
    bench.run(90.0)
    assert "4 starts within the hour" in bench.ask(Verb.START).detail
    first_s = bench.memory.starts_s[0]
    bench.scan(dt_s=first_s + 3600.0 - bench.now_s)
    bench.run(1.0)
    assert bench.ask(Verb.START).what is Happened.ACCEPTED


def test_no_more_starts_are_remembered_than_the_rate_limit_asks_about() -> None:
    timing = Timing(proving_s=15.0, proven_for_s=2.0, off_at_least_s=0.0, starts_per_hour=4)
    bench = Bench(rig(timing=timing))
    bench.memory = bench.memory._replace(starts_s=(-9000.0, -8000.0, -7000.0, 900.0, 910.0, 920.0))
    bench.run(1.0)
    assert bench.ask(Verb.START).what is Happened.ACCEPTED
    assert bench.memory.starts_s == (900.0, 910.0, 920.0, bench.now_s)


def test_three_starts_in_a_row_that_fail_wait_for_a_person() -> None:
    bench = in_state(State.OFF)
    bench.numbers["coolant flow"] = 0.0
    for failed in range(1, 4):
        assert bench.ask(Verb.START, Source.PLAN, seconds=600.0).what is Happened.ACCEPTED
        bench.until(lambda: not bench.at(State.CHECKING), 60.0)
        assert bench.at(State.COOLING)
        assert bench.memory.person.failed_starts == failed
        assert not bench.causes
    assert "3 starts in a row failed" in bench.ask(Verb.START, Source.PLAN, seconds=600.0).detail
    bench.numbers["coolant flow"] = None
    assert copy.deepcopy(bench).ask(Verb.START).what is Happened.ACCEPTED
    bench.ask(Verb.ENABLE)
    assert bench.ask(Verb.START, Source.PLAN, seconds=600.0).what is Happened.ACCEPTED
    bench.until(lambda: bench.at(State.RUNNING), 60.0)
    assert bench.memory.person.failed_starts == 0


# --- stops


@pytest.mark.parametrize("source", Source)
def test_a_stop_beside_a_start_in_one_scan_wins_in_whichever_order(source: Source) -> None:
    start, stop = Command(Verb.START, Source.LOCAL), Command(Verb.STOP, source)
    for commands in ((start, stop), (stop, start), (stop, start, stop)):
        for state in (State.OFF, State.COOLING):
            bench = in_state(state)
            bench.scan(*commands)
            bench.run(20.0)
            assert not bench.outputs.main_hold
            assert not bench.at(*POWERED_STATES, State.CHECKING)


def test_a_stop_button_that_is_held_does_not_keep_the_rig_from_stopping() -> None:
    bench = in_state(State.RUNNING)
    bench.numbers["cell temperature"] = 20.0
    for _ in range(100):
        bench.scan(Command(Verb.STOP, Source.BUTTON))
    assert bench.at(State.OFF)


@pytest.mark.parametrize("source", [Source.BUTTON, Source.LOCAL, Source.REMOTE, Source.LINK])
def test_a_persons_stop_holds_plan_and_remote_off_until_a_person_starts_or_enables(source: Source) -> None:
    bench = in_state(State.RUNNING)
    bench.ask(Verb.STOP, source)
    stopped(bench)
    for asking in (Source.PLAN, Source.REMOTE):
        assert "a person stopped it" in bench.ask(Verb.START, asking, seconds=60.0).detail
    enabled = copy.deepcopy(bench)
    enabled.ask(Verb.ENABLE)
    assert enabled.ask(Verb.START, Source.PLAN, seconds=60.0).what is Happened.ACCEPTED
    assert bench.ask(Verb.START).what is Happened.ACCEPTED
    assert not bench.memory.person.stopped


def test_a_stop_by_the_plan_holds_nobody() -> None:
    bench = in_state(State.RUNNING)
    bench.ask(Verb.STOP, Source.PLAN)
    stopped(bench)
    assert bench.ask(Verb.START, Source.PLAN, seconds=60.0).what is Happened.ACCEPTED


# --- enable, card, lease


@pytest.mark.parametrize("lacking", ["enable", "card", "grade", "bypass", "nothing"])
def test_a_start_by_plan_or_remote_needs_grade_enable_and_card_and_no_bypass(lacking: str) -> None:
    for source in (Source.PLAN, Source.REMOTE):
        grade = Grade.ATTENDED if lacking == "grade" else Grade.UNATTENDED
        bench = Bench(replace(RIG, grade=grade, missing=("a leak sensor",)))
        bench.run(1.0)
        if lacking != "enable":
            bench.ask(Verb.ENABLE)
        if lacking != "card":
            bench.ask(Verb.CONFIRM)
        if lacking == "bypass":
            bench.ask(Verb.BYPASS, subject="coolant flow low", text="pump test")
        answer = bench.ask(Verb.START, source, number=9.5, seconds=60.0)
        assert (answer.what is Happened.ACCEPTED) == (lacking == "nothing")
        word = {"enable": "enable", "card": "card", "grade": "leak sensor", "bypass": "bypassed", "nothing": ""}[
            lacking
        ]
        assert word in answer.detail


@pytest.mark.parametrize(
    ("verb", "lasts_s", "word"), [(Verb.ENABLE, 7200.0, "enable"), (Verb.CONFIRM, 86400.0, "card")]
)
def test_enable_and_card_run_out(verb: Verb, lasts_s: float, word: str) -> None:
    timing = replace(RIG.timing, enable_at_most_s=1e6)
    bench = Bench(replace(RIG, timing=timing))
    bench.run(1.0)
    bench.ask(Verb.ENABLE, number=2.0 if verb is Verb.ENABLE else 100.0)
    bench.ask(Verb.CONFIRM)
    given_s = bench.now_s - (0.1 if verb is Verb.ENABLE else 0.0)
    bench.scan(dt_s=given_s + lasts_s - 1.0 - bench.now_s)
    bench.run(0.5)
    assert copy.deepcopy(bench).ask(Verb.START, Source.PLAN, seconds=60.0).what is Happened.ACCEPTED
    bench.run(1.0)
    assert word in bench.ask(Verb.START, Source.PLAN, seconds=60.0).detail


@pytest.mark.parametrize("hours", [0.0, -1.0, 12.1, float("nan"), float("inf")])
def test_an_enable_is_for_some_hours_and_twelve_at_most(hours: float) -> None:
    bench = in_state(State.OFF)
    bench.ask(Verb.DISABLE, Source.LINK)
    assert bench.ask(Verb.ENABLE, number=hours).what is Happened.REFUSED
    assert "enable" in bench.ask(Verb.START, Source.PLAN, seconds=60.0).detail


@pytest.mark.parametrize(("source", "other"), [(Source.PLAN, Source.REMOTE), (Source.REMOTE, Source.PLAN)])
def test_a_run_by_plan_or_remote_is_a_lease_that_must_be_renewed(source: Source, other: Source) -> None:
    bench = in_state(State.OFF)
    bench.ask(Verb.START, source, seconds=1e6)
    asked_s = bench.now_s
    bench.run(100.0)
    assert bench.at(State.RUNNING)
    assert bench.ask(Verb.RENEW, other).what is Happened.REFUSED
    assert bench.ask(Verb.RENEW, source).what is Happened.ACCEPTED
    renewed_s = bench.now_s
    bench.until(lambda: bench.at(State.STOPPING), 1000.0)
    assert bench.now_s - asked_s > 900.0
    assert bench.now_s - renewed_s == pytest.approx(900.0, abs=0.2)
    assert not bench.causes
    assert "renewed" in bench.memory.run.ending


def test_a_lease_is_not_renewed_once_the_enable_is_off_and_a_run_at_the_rig_has_none() -> None:
    bench = in_state(State.OFF)
    bench.ask(Verb.START, Source.PLAN, seconds=1e6)
    bench.until(lambda: bench.at(State.RUNNING), 60.0)
    bench.ask(Verb.DISABLE)
    assert "enable" in bench.ask(Verb.RENEW, Source.PLAN).detail
    assert "enable" in bench.ask(Verb.SET_CURRENT, Source.PLAN, number=12.0).detail
    bench = in_state(State.RUNNING)
    bench.run(1000.0)
    assert bench.at(State.RUNNING)


def test_setting_the_current_is_held_within_its_bounds_and_followed() -> None:
    bench = in_state(State.RUNNING)
    for number in (8.9, 30.1, float("nan"), None):
        assert bench.ask(Verb.SET_CURRENT, number=number).what is Happened.REFUSED
    bench.ask(Verb.SET_CURRENT, number=12.0)
    assert bench.outputs.setpoint_a == 12.0
    assert bench.at(State.RUNNING)


# --- attended


def test_an_attended_rig_runs_a_third_of_its_current_for_half_an_hour_at_most() -> None:
    bench = Bench(attended())
    bench.start()
    assert bench.outputs.setpoint_a == 10.0
    began_s = bench.memory.run.began_s
    assert "10" in bench.ask(Verb.SET_CURRENT, number=11.0).detail
    while bench.at(State.RUNNING):
        bench.ask(Verb.PRESENT, Source.BUTTON)
        bench.run(10.0)
        assert bench.now_s - began_s < 1900.0
    assert bench.now_s - began_s == pytest.approx(1800.0, abs=11.0)
    assert "30 min" in bench.memory.run.ending
    assert not bench.causes


def test_an_attended_rig_stops_ten_minutes_after_the_last_press_at_the_bench() -> None:
    bench = Bench(attended())
    bench.start()
    bench.run(300.0)
    bench.ask(Verb.PRESENT)
    pressed_s = bench.now_s
    assert bench.ask(Verb.PRESENT, Source.REMOTE).what is Happened.REFUSED
    bench.until(lambda: bench.at(State.STOPPING), 700.0)
    assert bench.now_s - pressed_s == pytest.approx(600.0, abs=0.2)
    assert "nobody has pressed" in bench.memory.run.ending
