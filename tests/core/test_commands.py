"""Who may ask what, when: every verb from every source in every state against a table of its own, and the rules
around starts, stops, holds, leases, presence and bypasses."""

from __future__ import annotations

import copy
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.core.limits import Effect, Limit, TripKind
from controller.core.permissives import permissives
from controller.core.rig import Grade, Rig, Timing
from controller.core.sequence import POWERED_STATES, State
from controller.core.signals import Code
from tests.core.bench import LIMITS, Bench, rig
from tests.core.rigs import attended, full_rig, with_limit

GRANTS = frozenset(
    {(Verb.START, Source.PLAN)} | {(verb, Source.REMOTE) for verb in (Verb.START, Verb.RESET, Verb.SET_CURRENT)}
)
BYPASSABLE = with_limit("coolant flow low", bypassable=True)
RIG = rig(permitted=GRANTS, limits=BYPASSABLE)
FLOW = next(at for at, limit in enumerate(LIMITS) if limit.name == "coolant flow low")


@cache
def _in(state: State) -> Bench:
    bench = Bench(RIG, start_s=1e6)
    bench.numbers["cell temperature"] = 48.0  # warm, so that cooling lasts
    bench.run(1.0)
    match state:
        case State.SERVICE:
            bench.ask(Verb.SERVICE, text="plug pulled")
        case State.OUT_OF_SERVICE:
            bench.ask(Verb.HOLD, who="Jo", text="gasket")
        case State.OFF:
            pass
        case _:
            bench.ask(Verb.START)
            if state in (State.CHECKING, State.RAMPING, State.VENTING):
                bench.until(lambda: bench.at(state))
            else:
                bench.until(lambda: bench.at(State.RUNNING))
    match state:
        case State.STOPPING:
            bench.ask(Verb.STOP, Source.PLAN)
        case State.COOLING:
            bench.ask(Verb.STOP, Source.PLAN)
            stopped(bench)
        case State.TRIPPED:
            bench.numbers["level oxygen side"] = 0.0
            bench.until(lambda: bench.at(State.TRIPPED))
            bench.numbers["level oxygen side"] = 1.0
            bench.run(2.0)
        case State.LOCKED_OUT:
            bench.fixed_current_a = 50.0
            bench.scan()
            bench.fixed_current_a = None
            bench.run(2.0)
    bench.ask(Verb.ENABLE)
    bench.ask(Verb.CONFIRM)
    assert bench.at(state)
    return bench


def stopped(bench: Bench) -> None:
    """Until it cools, and the watchdog relay, which has no edges any more, has dropped."""
    bench.until(lambda: bench.at(State.COOLING))
    bench.run(1.5)


def in_state(state: State) -> Bench:
    return copy.deepcopy(_in(state))


# Sources: b button, l local, p plan, r remote, k the link without a key. States: as in `in_state`; * all.
SOURCES = {"b": Source.BUTTON, "l": Source.LOCAL, "p": Source.PLAN, "r": Source.REMOTE, "k": Source.LINK}
UNPOWERED = "OFF COOLING TRIPPED LOCKED_OUT OUT_OF_SERVICE"
POLICY = {
    "START": ("blpr", "OFF COOLING"),
    "STOP": ("blprk", "*"),
    "RESET": ("blr", "TRIPPED"),
    "RELEASE": ("bl", "LOCKED_OUT"),
    "PRESENT": ("bl", "*"),
    "ENABLE": ("bl", "*"),
    "DISABLE": ("blprk", "*"),
    "CONFIRM": ("bl", "*"),
    "HOLD": ("lr", "OFF COOLING TRIPPED LOCKED_OUT"),
    "LIFT": ("l", "OUT_OF_SERVICE"),
    "BYPASS": ("l", "*"),
    "SET_CURRENT": ("lpr", "*"),
    "RENEW": ("pr", ""),  # a run asked for at the rig has no lease
    "SILENCE": ("blr", "*"),
    "ACCEPT_SETTINGS": ("l", UNPOWERED),
    "SERVICE": ("l", "OFF"),
    "LEAVE_SERVICE": ("l", "SERVICE"),
    "DRIVE": ("l", "SERVICE"),
    "TOPPED_UP": ("bl", ""),  # this rig keeps no water account
}
SAID: dict[str, Any] = {"text": "because", "who": "Jo"}
WITH: dict[str, dict[str, Any]] = {
    "START": {"seconds": 600.0},
    "SET_CURRENT": {"number": 12.0},
    "BYPASS": {"subject": "coolant flow low"},
    "DRIVE": {"subject": "horn", "number": 1.0},
}


def test_the_policy_names_every_verb() -> None:
    assert set(POLICY) == {v.name for v in Verb}


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("verb", Verb)
def test_each_verb_is_taken_from_whom_and_when_the_policy_says(verb: Verb, state: State) -> None:
    sources, states = POLICY[verb.name]
    for letter, source in SOURCES.items():
        bench = in_state(state)
        answer = bench.ask(verb, source, ticket=7, **(SAID | WITH.get(verb.name, {})))
        taken = letter in sources and (states == "*" or state.name in states.split())
        assert (answer.what is Happened.ACCEPTED) == taken, (source, answer)
        assert (answer.subject, answer.source, answer.ticket) == (verb.name, source.name, 7)
        assert taken or answer.detail


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("verb", Verb)
def test_a_retained_message_is_refused_whatever_it_asks_and_said(verb: Verb, state: State) -> None:
    bench = in_state(state)
    answer = bench.ask(verb, Source.LOCAL, retained=True, **(SAID | WITH.get(verb.name, {})))
    assert answer.what is Happened.REFUSED
    assert "retain" in answer.detail


@pytest.mark.parametrize("state", sorted(set(State) - {State.OFF, State.COOLING} - POWERED_STATES - {State.CHECKING}))
def test_no_single_command_but_a_start_leads_to_power(state: State) -> None:
    for verb in Verb:
        bench = in_state(state)
        closings = len(bench.parts.closings)
        bench.ask(verb, Source.LOCAL, **(SAID | WITH.get(verb.name, {})))
        bench.run(15.0)
        assert len(bench.parts.closings) == closings
        assert not bench.outputs.main_hold or bench.at(State.CHECKING)


def test_without_the_grant_of_the_rig_file_remote_neither_starts_nor_resets_nor_sets() -> None:
    for verb, state in ((Verb.START, State.OFF), (Verb.RESET, State.TRIPPED), (Verb.SET_CURRENT, State.RUNNING)):
        bench = in_state(state)
        bench.rig = replace(bench.rig, permitted=frozenset())
        answer = bench.ask(verb, Source.REMOTE, **WITH.get(verb.name, {}))
        assert "grant" in answer.detail


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
        assert "wait" in bench.ask(Verb.START).detail
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


# --- bypass


def test_a_bypass_covers_the_value_for_half_an_hour_and_then_the_limit_trips() -> None:
    bench = in_state(State.RUNNING)
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="meter cleaned")
    given_s = bench.now_s
    bench.numbers["coolant flow"] = 0.0
    bench.until(lambda: bench.at(State.TRIPPED), 2000.0)
    assert bench.now_s - given_s == pytest.approx(1800.0, abs=0.2)
    assert bench.causes == ["coolant flow low"]
    assert bench.said(Happened.BYPASSED) == bench.said(Happened.BYPASS_ENDED) == ["coolant flow low"]


def test_a_bypass_does_not_cover_the_loss_of_the_sensor_nor_another_limit() -> None:
    bench = in_state(State.RUNNING)
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="meter cleaned")
    other = copy.deepcopy(bench)
    bench.codes["coolant flow"] = Code.ABSENT
    bench.until(lambda: bench.at(State.TRIPPED), 2.5)
    other.numbers["cell temperature"] = 80.0
    other.until(lambda: other.at(State.TRIPPED), 4.0)


def test_a_bypass_lets_a_start_at_the_rig_go_without_what_it_covers() -> None:
    bench = in_state(State.OFF)
    bench.numbers["coolant flow"] = 0.0
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="first power, beside it")
    bench.ask(Verb.START)
    bench.until(lambda: bench.at(State.RUNNING))
    bench.numbers["cell temperature"] = 80.0
    bench.until(lambda: bench.at(State.TRIPPED), 4.0)
    assert bench.causes == ["over-temperature"]


def test_bypasses_are_one_at_a_time_with_a_reason_on_what_allows_it_and_not_again_for_eight_hours() -> None:
    limits = tuple(replace(x, bypassable=x.name in ("coolant flow low", "level low oxygen side")) for x in LIMITS)
    bench = Bench(rig(limits=limits))
    bench.run(1.0)
    assert "never bypassed" in bench.ask(Verb.BYPASS, subject="over-temperature", text="x").detail
    assert "no limit" in bench.ask(Verb.BYPASS, subject="nonsense", text="x").detail
    assert "reason" in bench.ask(Verb.BYPASS, subject="coolant flow low", text=" ").detail
    assert bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").what is Happened.ACCEPTED
    until_s = bench.memory.person.bypass_until_s
    assert "one bypass" in bench.ask(Verb.BYPASS, subject="level low oxygen side", text="x").detail
    assert bench.ask(Verb.BYPASS, subject="level low oxygen side", number=0.0).what is Happened.REFUSED
    assert bench.ask(Verb.BYPASS, subject="coolant flow low", number=0.0).what is Happened.ACCEPTED
    assert bench.memory.person.bypass == -1
    assert "not again" in bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").detail
    bench.scan(dt_s=until_s + 8 * 3600.0 - 1.0 - bench.now_s)
    assert "not again" in bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").detail
    bench.run(1.0)
    assert bench.ask(Verb.BYPASS, subject="coolant flow low", text="x").what is Happened.ACCEPTED


def test_a_trip_whose_cause_is_bypassed_is_not_reset_until_the_bypass_ends() -> None:
    bench = in_state(State.RUNNING)
    bench.numbers["coolant flow"] = 0.0
    bench.until(lambda: bench.at(State.TRIPPED), 10.0)
    bench.ask(Verb.BYPASS, subject="coolant flow low", text="x")
    bench.run(2.0)
    assert "bypass" in bench.ask(Verb.RESET).detail
    bench.ask(Verb.BYPASS, subject="coolant flow low", number=0.0)
    assert bench.ask(Verb.RESET).what is Happened.ACCEPTED


# --- hold


asked = st.builds(
    Command,
    verb=st.sampled_from([v for v in Verb if v is not Verb.LIFT]),
    source=st.sampled_from(Source),
    number=st.none() | st.sampled_from([0.0, 1.0, 12.0]),
    subject=st.sampled_from(["horn", "coolant flow low", "main_hold"]),
    text=st.just("because"),
    who=st.sampled_from(["Jo", "Al"]),
    seconds=st.none() | st.just(60.0),
)


@settings(max_examples=40, deadline=None)
@given(
    before=st.lists(asked, max_size=2),
    commands=st.lists(st.lists(asked, max_size=3), max_size=8),
    state=st.sampled_from([State.OFF, State.COOLING, State.TRIPPED, State.LOCKED_OUT]),
)
def test_with_a_hold_no_sequence_of_commands_from_any_source_energises(
    before: list[Command], commands: list[list[Command]], state: State
) -> None:
    bench = in_state(state)
    closings = len(bench.parts.closings)
    bench.scan(*before, Command(Verb.HOLD, Source.LOCAL, who="Jo", text="hands inside"))
    held_by = bench.memory.latch.held_by
    assert held_by
    for scan in commands:
        bench.scan(*scan)
        for _ in range(20):
            bench.scan()
            assert not any(
                (bench.outputs.main_hold, bench.outputs.main_close, bench.outputs.second, bench.outputs.edge)
            )
    assert len(bench.parts.closings) == closings
    assert bench.memory.latch.held_by == held_by


@pytest.mark.parametrize("order", [0, 1])
def test_a_hold_beside_a_start_in_one_scan_wins_in_whichever_order(order: int) -> None:
    hold, start = Command(Verb.HOLD, Source.LOCAL, who="Jo", text="hands inside"), Command(Verb.START, Source.LOCAL)
    bench = in_state(State.OFF)
    bench.scan(*((hold, start) if order else (start, hold)))
    assert bench.at(State.OUT_OF_SERVICE)


def test_a_hold_needs_a_name_and_a_reason_and_is_lifted_by_the_same_name_at_the_rig() -> None:
    bench = in_state(State.OFF)
    assert bench.ask(Verb.HOLD, who=" ", text="x").what is Happened.REFUSED
    assert bench.ask(Verb.HOLD, who="Jo", text="").what is Happened.REFUSED
    bench.ask(Verb.HOLD, who="Jo", text="gasket")
    detail = bench.ask(Verb.START).detail
    assert "Jo" in detail
    assert "gasket" in detail
    for source in (Source.REMOTE, Source.BUTTON, Source.PLAN):
        assert bench.ask(Verb.LIFT, source, who="Jo").what is Happened.REFUSED
    assert "only Jo" in bench.ask(Verb.LIFT, who="Al").detail
    assert bench.ask(Verb.LIFT, who="Jo").what is Happened.ACCEPTED
    bench.start()


def test_a_hold_put_on_a_tripped_rig_outlives_the_reset() -> None:
    bench = in_state(State.TRIPPED)
    bench.numbers["cell temperature"] = 20.0
    bench.ask(Verb.HOLD, who="Jo", text="float replaced")
    bench.run(0.3)
    bench.ask(Verb.RESET)
    bench.run(1.0)
    assert bench.at(State.OUT_OF_SERVICE)


# --- resets


@pytest.mark.parametrize(("kind", "from_afar"), [(TripKind.RESETTABLE, True), (TripKind.LOCAL, False)])
def test_only_the_resettable_kind_is_reset_from_afar(kind: TripKind, from_afar: bool) -> None:
    limits = with_limit("level low oxygen side", kind=kind)
    bench = Bench(rig(limits=limits, permitted=GRANTS))
    bench.start()
    bench.numbers["level oxygen side"] = 0.0
    bench.until(lambda: bench.at(State.TRIPPED), 5.0)
    bench.numbers["level oxygen side"] = 1.0
    bench.run(2.0)
    answer = copy.deepcopy(bench).ask(Verb.RESET, Source.REMOTE)
    assert (answer.what is Happened.ACCEPTED) == from_afar
    assert bench.ask(Verb.RESET, Source.BUTTON).what is Happened.ACCEPTED


def test_a_trip_is_not_reset_before_it_is_on_disk_nor_while_it_stands() -> None:
    bench = in_state(State.RUNNING)
    bench.numbers["cell temperature"] = 75.0
    bench.latch_delay = lambda: False
    bench.until(lambda: bench.at(State.TRIPPED), 5.0)
    bench.numbers["cell temperature"] = 48.0
    bench.run(3.0)
    assert "not on disk" in bench.ask(Verb.RESET).detail
    bench.latch_delay = lambda: True
    bench.numbers["cell temperature"] = 69.0  # within the deadband
    bench.run(1.0)
    bench.numbers["cell temperature"] = 75.0
    bench.run(3.0)
    bench.numbers["cell temperature"] = 69.0
    bench.run(3.0)
    assert "still stands" in bench.ask(Verb.RESET).detail
    bench.numbers["cell temperature"] = 67.9
    bench.run(1.0)
    assert bench.ask(Verb.RESET).what is Happened.ACCEPTED


def test_what_the_controller_still_finds_is_not_reset_either() -> None:
    bench = in_state(State.RUNNING)
    stuck = tuple(True for _ in bench.pins)
    bench.pins = stuck
    bench.scan()
    assert bench.at(State.TRIPPED)
    bench.run(2.0)
    bench.pins = stuck
    assert "still stands" in bench.ask(Verb.RESET).detail
    assert bench.at(State.TRIPPED)


@pytest.mark.parametrize("hours", [3.0, 6.0])
def test_the_third_trip_within_ten_hours_of_running_locks_out(hours: float) -> None:
    """Two trips `hours` apart and a third as much later: within ten hours for 3, not for 6."""
    bench = in_state(State.OFF)
    for trip in range(3):
        bench.run(1.0)
        bench.ask(Verb.START)
        bench.until(lambda: bench.at(State.RUNNING), 60.0)
        if trip:
            # hours of running without scanning them all
            run, seq = bench.memory.run, bench.memory.sequence
            back_s = hours * 3600.0
            bench.memory = bench.memory._replace(
                run=run._replace(began_s=run.began_s - back_s), sequence=seq._replace(closed_s=seq.closed_s - back_s)
            )
        bench.numbers["level oxygen side"] = 0.0
        bench.until(lambda: bench.at(State.TRIPPED, State.LOCKED_OUT), 10.0)
        bench.numbers["level oxygen side"] = 1.0
        bench.run(2.0)
        if trip < 2:
            assert bench.ask(Verb.RESET).what is Happened.ACCEPTED
    assert bench.at(State.LOCKED_OUT) == (hours == 3.0)
    assert ("third trip" in bench.causes) == (hours == 3.0)


def test_trips_without_power_are_not_counted() -> None:
    bench = in_state(State.OFF)
    for _ in range(5):
        bench.numbers["stop chain"] = 0.0
        bench.run(0.5)
        bench.numbers["stop chain"] = 1.0
        bench.run(0.5)
        assert bench.ask(Verb.RESET).what is Happened.ACCEPTED
    assert not bench.memory.latch.trips_in_running


# --- the rest


def test_in_service_one_output_at_a_time_is_driven_and_none_of_the_power_path() -> None:
    bench = in_state(State.SERVICE)
    for name in ("main_hold", "main_close", "second", "edge", "setpoint_a", "nonsense"):
        assert bench.ask(Verb.DRIVE, subject=name, number=1.0).what is Happened.REFUSED
    bench.ask(Verb.DRIVE, subject="collect", number=1.0)
    assert bench.outputs.collect
    bench.ask(Verb.DRIVE, subject="top_up", number=1.0)
    assert (bench.outputs.collect, bench.outputs.top_up) == (False, True)
    bench.ask(Verb.LEAVE_SERVICE)
    assert not bench.outputs.top_up
    bench.ask(Verb.SERVICE, text="plug pulled")
    assert not bench.outputs.top_up  # what was driven last time is not driven this time


def test_service_needs_to_know_how_the_supply_is_isolated() -> None:
    assert "isolated" in in_state(State.OFF).ask(Verb.SERVICE, text=" ").detail


def test_changed_settings_are_accepted_at_the_rig_before_a_start() -> None:
    bench = in_state(State.OFF)
    bench.memory = bench.memory._replace(latch=bench.memory.latch._replace(settings_accepted=False))
    assert "changed" in bench.ask(Verb.START).detail
    bench.ask(Verb.ACCEPT_SETTINGS)
    bench.run(0.2)
    assert bench.ask(Verb.START).what is Happened.ACCEPTED


def test_every_limit_that_would_stop_or_trip_is_a_permissive_before_it_can() -> None:
    """A rig file's own stop, standing while off, refuses the start and latches nothing."""
    own = Limit("tank full", "Tank full", (2,), 0.5, False, Effect.STOP, delay_s=1.0, is_switch=True)
    rig_: Rig = rig(limits=(*LIMITS, own))
    bench = Bench(rig_)
    bench.numbers["level hydrogen side"] = 0.0
    bench.run(10.0)
    assert "Tank full" in bench.ask(Verb.START).detail
    assert not bench.causes
    bench.numbers["level hydrogen side"] = 1.0
    bench.run(1.0)
    bench.start()
