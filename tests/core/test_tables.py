"""The two tables, walked whole, against expectations written apart from them."""

from __future__ import annotations

import itertools

import pytest

from controller.core.outputs import PINS, POWER_PINS, TABLE, Air, Horn, Outputs
from controller.core.sequence import NEXT, POWERED_STATES, On, State, after

# What each state answers besides a trip and a lock-out, as somebody would tell it.
TOLD = {
    "OFF": {"START": "CHECKING", "HOLD": "OUT_OF_SERVICE", "SERVICE": "SERVICE"},
    "CHECKING": {"FAILED": "COOLING", "STOP": "COOLING", "RELEASED": "COOLING", "DONE": "RAMPING"},
    "RAMPING": {"STOP": "STOPPING", "DONE": "VENTING"},
    "VENTING": {"STOP": "STOPPING", "DONE": "RUNNING"},
    "RUNNING": {"STOP": "STOPPING", "DONE": "STOPPING"},
    "STOPPING": {"OPENED": "COOLING"},
    "COOLING": {"START": "CHECKING", "HOLD": "OUT_OF_SERVICE", "DONE": "OFF"},
    "TRIPPED": {"RESET": "COOLING"},
    "LOCKED_OUT": {"RELEASE": "CHECKING"},
    "SERVICE": {"LEAVE_SERVICE": "OFF"},
    "OUT_OF_SERVICE": {"LIFT": "OFF"},
}


@pytest.mark.parametrize(("state", "on"), list(itertools.product(State, On)))
def test_every_state_answers_everything_as_told_or_not_at_all(state: State, on: On) -> None:
    told = TOLD[state.name] | {
        "TRIP": "LOCKED_OUT" if state is State.LOCKED_OUT else "TRIPPED",
        "LOCK_OUT": "LOCKED_OUT",
    }
    if on.name in told:
        assert after(state, on) is State[told[on.name]]
    else:
        with pytest.raises(ValueError, match=f"{on.name} is not answered in {state.name}"):
            after(state, on)


def reachable(begin: State, without_states: frozenset[State], without: frozenset[On]) -> set[State]:
    seen, edge = {begin}, [begin]
    while edge:
        for on, following in NEXT[edge.pop()].items():
            if on not in without and following not in without_states and following not in seen:
                seen.add(following)
                edge.append(following)
    return seen


@pytest.mark.parametrize("state", sorted(set(State) - POWERED_STATES - {State.CHECKING}))
def test_there_is_no_way_into_power_but_through_checking(state: State) -> None:
    assert not reachable(state, frozenset({State.CHECKING}), frozenset()) & POWERED_STATES
    assert reachable(state, frozenset(), frozenset()) >= POWERED_STATES  # and that one does lead there


@pytest.mark.parametrize("state", [State.TRIPPED, State.LOCKED_OUT])
def test_there_is_no_way_out_of_a_trip_but_a_reset(state: State) -> None:
    stuck = reachable(state, frozenset(), frozenset({On.RESET, On.RELEASE}))
    assert stuck <= {State.TRIPPED, State.LOCKED_OUT}


def test_a_lock_out_is_left_through_the_self_test_only() -> None:
    assert {NEXT[State.LOCKED_OUT][on] for on in NEXT[State.LOCKED_OUT]} == {State.LOCKED_OUT, State.CHECKING}
    assert On.RESET not in NEXT[State.LOCKED_OUT]


def test_the_safer_wish_has_the_lower_number() -> None:
    """Of what is wished in one scan the lowest is taken."""
    order = [On.LOCK_OUT, On.TRIP, On.FAILED, On.STOP, On.HOLD, On.SERVICE, On.START]
    assert order == sorted(order)
    assert max(On.LOCK_OUT, On.TRIP) < min(set(On) - {On.LOCK_OUT, On.TRIP})


# The sheet: power and edges may be on; coolant; air; collect; top-up; horn; lamp.
SHEET = """
OFF             -     -     shut        until-vented  -       -      -        until-vented
CHECKING        power edges on          on            -       -      warning  -
RAMPING         power edges on          on            -       -      -        on
VENTING         power edges on          on            -       -      -        on
RUNNING         power edges on          on            collect top-up -        on
STOPPING        power edges on          on            -       -      -        on
COOLING         -     -     until-cold  on            -       -      -        until-vented
TRIPPED         -     -     as-cooling  on            -       -      silence  until-vented
LOCKED_OUT      -     -     as-cooling  on            -       -      silence  until-vented
SERVICE         -     -     shut        on            -       -      -        on
OUT_OF_SERVICE  -     -     shut        until-vented  -       -      -        until-vented
"""
COOLANT = {"shut": Air.OFF, "on": Air.ON, "until-cold": Air.UNTIL_COLD, "as-cooling": Air.AS_COOLING}
AIR = {"on": Air.ON, "until-vented": Air.UNTIL_VENTED}
LAMP = {"-": Air.OFF, **AIR}
HORN = {"-": Horn.OFF, "warning": Horn.WARNING, "silence": Horn.UNTIL_SILENCED}
ROWS = [line.split() for line in SHEET.strip().splitlines()]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_outputs_of_each_state_are_those_of_the_sheet(row: list[str]) -> None:
    name, power, edges, coolant, air, collect, top_up, horn, lamp = row
    assert TABLE[State[name]] == (
        power == "power", edges == "edges", COOLANT[coolant], AIR[air], collect == "collect", top_up == "top-up",
        HORN[horn], LAMP[lamp],
    )  # fmt: skip


def test_the_sheet_has_every_state_once() -> None:
    assert [row[0] for row in ROWS] == [s.name for s in State]
    assert set(TABLE) == set(State)


def test_power_is_allowed_where_the_sequence_is_powered_or_proves_the_contactors_and_nowhere_else() -> None:
    assert {s for s, row in TABLE.items() if row.power} == POWERED_STATES | {State.CHECKING}
    assert all(row.power == row.edges for row in TABLE.values())


def test_every_pin_is_an_output_and_the_zero_outputs_are_all_off() -> None:
    assert set(PINS) == set(Outputs._fields) - {"edge", "setpoint_a"}
    assert set(POWER_PINS) < set(PINS)
    assert not any(Outputs())
