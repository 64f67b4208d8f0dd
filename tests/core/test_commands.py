"""Who may ask what, when: every verb from every source in every state against a table of its own."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.limits import Effect, Limit
from controller.core.rig import Rig
from controller.core.sequence import POWERED_STATES, State
from tests.core.bench import LIMITS, Bench, rig
from tests.core.states import SAID, WITH, in_state

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
