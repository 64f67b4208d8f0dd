"""Whatever pins do and whenever: what seal-in and the watchdog relay promise holds by wiring alone."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from simulator.boards.power_path import PowerPath

from .test_power_path import HOLD_S, OPENS_S, path

STEPS = st.lists(
    st.tuples(
        st.floats(0.0, 1.5),
        st.sampled_from(["main_hold", "main_close", "second", "edge", "chain", "mains"]),
        st.booleans(),
    ),
    max_size=60,
)


def play(power: PowerPath, steps: list[tuple[float, str, bool]]) -> list[tuple[float, str, bool]]:
    """Plays the steps, and gives them back with their times."""
    at_s, played = 0.0, []
    for wait_s, what, on in steps:
        at_s += wait_s
        if what == "chain":
            power.set_chain(on, at_s)
        elif what == "mains":
            power.set_mains(on, at_s)
        else:
            power.drive(what, on, at_s)
        played.append((at_s, what, on))
    power.advance(at_s + 10.0)
    return played


@given(STEPS)
def test_the_main_never_closes_unless_the_close_pin_is_high(steps: list[tuple[float, str, bool]]) -> None:
    power = path()
    played = play(power, steps)
    for change in power.trace:
        if change.name == "main_coil" and change.closed:
            close = [on for at_s, what, on in played if what == "main_close" and at_s <= change.at_s]
            assert close
            assert close[-1]


@given(STEPS)
def test_nothing_stays_closed_longer_than_the_relay_after_the_last_edge(steps: list[tuple[float, str, bool]]) -> None:
    power = path()
    played = play(power, steps)
    last_edge_s = max((at_s for at_s, what, _ in played if what == "edge"), default=-math.inf)
    assert not power.closed
    for change in power.trace:
        assert change.name in ("second_contact", "main_contact") or change.at_s <= last_edge_s + HOLD_S + OPENS_S + 1e-9


@given(STEPS)
def test_current_never_flows_with_the_chain_open_for_longer_than_an_opening(
    steps: list[tuple[float, str, bool]],
) -> None:
    power = path()
    played = play(power, steps)
    opened = [at_s for at_s, what, on in played if what == "chain" and not on]
    for at_s in opened:
        closed_again = [t for t, what, on in played if what == "chain" and on and t >= at_s]
        if closed_again and closed_again[0] <= at_s + OPENS_S:
            continue
        state = False
        for change in power.trace:
            if change.at_s <= at_s + OPENS_S + 1e-9 and change.name == "main":
                state = change.closed
        assert not state


@given(STEPS, st.floats(0.01, 0.9))
def test_how_often_it_is_asked_changes_nothing(steps: list[tuple[float, str, bool]], every_s: float) -> None:
    """Events have their own times: a bench that looks seldom and one that looks often see the same trace."""
    seldom, often = path(), path()
    play(seldom, steps)
    at_s = 0.0
    for wait_s, what, on in steps:
        while wait_s > every_s:
            at_s, wait_s = at_s + every_s, wait_s - every_s
            often.advance(at_s)
        at_s += wait_s
        play_one(often, at_s, what, on)
    often.advance(at_s + 10.0)
    assert [(change.name, change.closed) for change in often.trace] == [
        (change.name, change.closed) for change in seldom.trace
    ]
    for one, other in zip(often.trace, seldom.trace, strict=True):
        assert math.isclose(one.at_s, other.at_s, abs_tol=1e-9)


def play_one(power: PowerPath, at_s: float, what: str, on: bool) -> None:
    if what == "chain":
        power.set_chain(on, at_s)
    elif what == "mains":
        power.set_mains(on, at_s)
    else:
        power.drive(what, on, at_s)
