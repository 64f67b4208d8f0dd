"""The link against a real broker: what is told, what is asked, and that nothing is lost on the way."""

from __future__ import annotations

import json
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.core.commands import Command, Source, Verb
from controller.link import loop
from controller.link import messages as m
from controller.link.described import whole
from tests.broker import Onlooker, mosquitto, until
from tests.link.site import RIG, Running


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    with mosquitto(tmp_path / "broker") as broker:
        found = Running(tmp_path, broker)
        yield found
        found.close()


def test_the_state_is_told_in_the_published_shape(running: Running) -> None:
    until(lambda: bool(running.onlooker.of("/state")))
    state = whole(
        m.StateTold.model_validate(running.onlooker.of("/state")[-1]),
        m.RigDescribed.model_validate(running.onlooker.of("/description")[-1]),
    )
    assert (state.rig, state.state, state.simulated) == (RIG, "off", False)
    assert state.sentence.startswith("Off. Power is off")
    assert {s.name for s in state.signals} == {s.name for s in running.bench.rig.signals}
    assert [x.limit for x in state.margins] == [x.name for x in running.bench.rig.limits]


def test_a_trip_reaches_the_onlooker_with_its_cause_and_what_to_do(running: Running) -> None:
    running.guard.ask(Command(Verb.START, Source.LOCAL))
    until(lambda: any(s["state"] == "running" for s in running.onlooker.of("/state")))
    running.bench.numbers["coolant flow"] = 0.0
    until(lambda: any(s["state"] == "tripped" for s in running.onlooker.of("/state")))
    state = m.StateTold.model_validate(next(s for s in running.onlooker.of("/state") if s["state"] == "tripped"))
    assert state.causes[0].name == "coolant flow low"
    assert "0.00 L/min" in state.causes[0].sentence
    assert state.causes[0].to_do
    assert state.causes[0].not_to_do


def test_measurements_are_senml_in_registered_units_and_plain_numbers_beside(running: Running) -> None:
    running.bench.numbers["cell temperature"] = 61.5
    until(lambda: any(t.endswith("/value/cell-temperature") and p == b"61.5" for t, p, _ in running.onlooker.seen))
    pack = running.onlooker.of("/measurements")[-1]
    assert pack[0]["bn"] == f"urn:dev:lyewatch:{RIG}:"
    by_name = {record["n"]: record for record in pack}
    assert by_name["cell-temperature"]["u"] == "Cel"  # RFC 8428, table of units
    assert by_name["coolant-flow"]["u"] == "m3/s"


def test_what_is_not_seen_is_left_out_and_never_a_zero(running: Running) -> None:
    running.bench.numbers["cell temperature"] = None
    until(lambda: any(t.endswith("/value/cell-temperature") and p == b"" for t, p, _ in running.onlooker.seen))
    until(lambda: "cell-temperature" not in {r["n"] for r in running.onlooker.of("/measurements")[-1]})


def test_every_event_arrives_once_the_broker_is_back_however_it_died(running: Running) -> None:
    for number in (signal.SIGTERM, signal.SIGKILL):
        running.guard.ask(Command(Verb.PRESENT, Source.LOCAL))
        running.broker.stop(number)
        for _ in range(30):
            running.guard.ask(Command(Verb.ENABLE, Source.LOCAL, number=1.0))
        running.broker.start()
    newest = running.guard.events[-1].number
    until(lambda: newest in running.events())
    arrived = running.events()
    assert set(arrived) >= set(range(1, newest + 1))
    until(lambda: running.guard.acknowledged >= newest)


def test_a_live_stop_is_obeyed_and_answered(running: Running) -> None:
    running.guard.ask(Command(Verb.START, Source.LOCAL))
    until(lambda: any(s["state"] == "running" for s in running.onlooker.of("/state")))
    ask = m.CommandAsk(verb="stop", client="phone", id="1")
    running.onlooker.publish(m.topic(RIG, "command"), ask.model_dump_json())
    until(lambda: bool(running.onlooker.of("/reply/phone")))
    assert running.onlooker.of("/reply/phone")[0]["accepted"] is True
    until(lambda: any(s["state"] in ("stopping", "cooling", "off") for s in running.onlooker.of("/state")[-2:]))


def test_an_unsigned_start_is_refused_in_words(running: Running) -> None:
    until(lambda: bool(running.onlooker.of("/state")))
    ask = m.CommandAsk(verb="start", client="phone", id="7", litres=1.0)
    running.onlooker.publish(m.topic(RIG, "command"), ask.model_dump_json())
    until(lambda: bool(running.onlooker.of("/reply/phone")))
    answer = running.onlooker.of("/reply/phone")[0]
    assert (answer["id"], answer["accepted"]) == ("7", False)
    assert "needs the signature" in answer["why"]


def test_a_retained_command_is_refused_even_if_it_is_a_stop(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        first = Onlooker(broker.port)
        ask = m.CommandAsk(verb="stop", client="phone", id="old")
        first.publish(m.topic(RIG, "command"), ask.model_dump_json(), retain=True)
        running = Running(tmp_path, broker)
        until(lambda: bool(first.of("/reply/phone")))
        answer = first.of("/reply/phone")[0]
        assert answer["accepted"] is False
        assert "retain" in answer["why"]
        first.close()
        running.close()


@pytest.mark.parametrize("junk", [b"", b"{", b"\xff\xfe", b'{"verb": 3}', b"x" * 100_000, b"[]", b'{"verb":"stop"}'])
def test_junk_is_dropped_and_the_next_stop_is_heard(running: Running, junk: bytes) -> None:
    until(lambda: bool(running.onlooker.of("/state")))
    running.onlooker.publish(m.topic(RIG, "command"), junk)
    ask = m.CommandAsk(verb="stop", client="phone", id="after")
    running.onlooker.publish(m.topic(RIG, "command"), ask.model_dump_json())
    until(lambda: bool(running.onlooker.of("/reply/phone")))
    assert running.onlooker.of("/reply/phone")[0]["id"] == "after"


def test_who_subscribes_an_hour_after_the_guard_fell_silent_sees_how_old_the_state_is(
    running: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Case A39. The broker keeps the last state and says so; the state says when it was; nobody tells it anew."""
    monkeypatch.setattr(loop, "LINK_EACH_S", 0.2)
    running.guard.put_back(3600.0)
    then_s = running.guard.wall_s
    until(lambda: any(s["time_s"] < then_s + 60.0 for s in running.onlooker.of("/state")))
    running.guard.close()
    until(lambda: any("guard says nothing" in t for x in running.onlooker.of("/link") for t in x["troubles"]))
    late = Onlooker(running.broker.port)
    until(lambda: sum(1 for t, _, retained in late.seen if t.endswith("/link") and not retained) > 5)
    states = [(json.loads(p), retained) for t, p, retained in late.seen if t.endswith("/state")]
    assert [retained for _, retained in states] == [True]
    assert time.time() - states[0][0]["time_s"] > 3500.0
    assert not [t for t, _, _ in late.seen if "/value/" in t or t.endswith("/measurements")], "no number without a time"
    late.close()


def test_who_subscribes_while_the_rig_runs_can_tell_the_kept_state_from_the_live_ones(running: Running) -> None:
    running.state()
    late = Onlooker(running.broker.port)
    until(lambda: len(late.of("/state")) >= 3)
    flags = [retained for t, _, retained in late.seen if t.endswith("/state")]
    assert flags == [True] + [False] * (len(flags) - 1)
    numbers = [s["number"] for s in late.of("/state")]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
    late.close()


def test_an_orderly_end_says_ended_and_a_death_says_gone(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        running = Running(tmp_path, broker)
        until(lambda: any(p["present"] == "here" for p in running.onlooker.of("/presence")))
        running.end_link()
        until(lambda: running.onlooker.of("/presence")[-1]["present"] == "ended")
        running.close()
