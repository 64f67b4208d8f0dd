"""A lock-out is left at the rig, with a written reason, through a passed self-test."""

from __future__ import annotations

import pytest

from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.limits import TripKind
from controller.core.sequence import Check, State
from tests.core.bench import Bench
from tests.core.states import BROKEN, at, break_, checking, ended

# --- out of a lock-out


def locked_out() -> Bench:
    bench = checking()
    bench.parts.main_dead = True
    bench.until(lambda: ended(bench))
    assert bench.state is State.LOCKED_OUT
    bench.parts.main_dead = False
    bench.run(2.0)
    return bench


def test_a_lock_out_is_left_only_at_the_rig_with_a_reason_and_through_a_passed_test() -> None:
    bench = locked_out()
    for verb, source, text in (
        (Verb.RESET, Source.LOCAL, "coil replaced"),
        (Verb.RELEASE, Source.LOCAL, "  "),
        (Verb.RELEASE, Source.REMOTE, "coil replaced"),
        (Verb.RELEASE, Source.PLAN, "coil replaced"),
        (Verb.START, Source.LOCAL, ""),
    ):
        assert bench.ask(verb, source, text=text).what is Happened.REFUSED
        assert bench.at(State.LOCKED_OUT)
    assert bench.ask(Verb.RELEASE, text="coil replaced").what is Happened.ACCEPTED
    assert not ended(bench)
    assert bench.memory.latch.kind is TripKind.LOCK_OUT  # until the test has passed
    bench.until(lambda: ended(bench))
    assert bench.causes == []
    assert not bench.memory.latch.locked_out
    assert bench.parts.closings == []
    bench.run(1.0)
    assert bench.said(Happened.STATE)[-2:] == ["COOLING", "OFF"]
    bench.start()


@pytest.mark.parametrize("what", BROKEN)
def test_a_lock_out_stays_when_its_test_fails_again(what: str) -> None:
    bench = locked_out()
    bench.ask(Verb.RELEASE, text="looked at it")
    break_(bench, what)
    bench.until(lambda: ended(bench))
    bench.run(1.0)
    assert bench.state is State.LOCKED_OUT
    assert bench.memory.latch.locked_out
    assert bench.memory.latch.kind is TripKind.LOCK_OUT


@pytest.mark.parametrize("step", list(Check)[:-1])
@pytest.mark.parametrize("by", ["stop", "trip", "pause"])
def test_a_lock_out_stays_when_its_test_is_given_up(step: Check, by: str) -> None:
    bench = locked_out()
    bench.ask(Verb.RELEASE, text="looked at it")
    bench.until(lambda: at(step)(bench))
    if by == "stop":
        bench.ask(Verb.STOP, Source.LINK)
    elif by == "pause":
        bench.scan(dt_s=3.0)
    else:
        bench.numbers["stop chain"] = 0.0
        bench.scan()
    assert bench.state is State.LOCKED_OUT
    assert bench.memory.latch.locked_out
    assert not bench.memory.sequence.to_release
    assert bench.parts.closings == []


def test_a_held_rig_moves_no_contactor_for_a_release() -> None:
    bench = locked_out()
    assert bench.ask(Verb.HOLD, who="Jo", text="hands inside").what is Happened.ACCEPTED
    assert "Jo" in bench.ask(Verb.RELEASE, text="looked at it").detail
    assert bench.state is State.LOCKED_OUT
