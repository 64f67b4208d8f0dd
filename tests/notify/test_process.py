"""With a real broker: a rig trips and people read of it; its machine dies and the word comes from elsewhere."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from controller.link import messages as m
from controller.link.broker import Address
from controller.link.described import Descriptions, describe, told, written
from controller.notify.decide import Rules
from controller.notify.ear import Said
from controller.notify.process import on_this_machine, run, understood
from controller.notify.send import Apprise, Post
from tests.broker import Mosquitto, Onlooker, mosquitto, until
from tests.notify.ends import Web, web
from tests.notify.rig import cause, off

# A rig's machine: it says once that it runs, with the last will of a real link, and then lives until it is killed.
MACHINE = """
import sys, time
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from controller.link import messages as m
from controller.link.described import describe, told, written
from tests.notify.rig import state
client = mqtt.Client(CallbackAPIVersion.VERSION2, "the-rig", protocol=mqtt.MQTTv5)
gone = m.Presence(rig="boathouse", present="gone").model_dump_json()
client.will_set(m.topic("boathouse", "presence"), gone, qos=1, retain=True)
client.reconnect_delay_set(1, 1)
client.connect_async("127.0.0.1", int(sys.argv[1]), 10)
client.loop_start()
while True:
    now = state()
    client.publish(m.topic("boathouse", "description"), describe(now).model_dump_json(), retain=True)
    client.publish(m.topic("boathouse", "state"), written(told(now, describe(now).id)), retain=True)
    time.sleep(0.2)
"""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path) as found:
        yield found


@contextmanager
def notifying(broker: Mosquitto, first: Web, second: Web, rules: Rules | None = None) -> Iterator[None]:
    ended = threading.Event()
    posts = [Post([Apprise(end.line)], first_pause_s=0.1) for end in (first, second)]
    arguments = (rules or Rules(), Address(port=broker.port), "notify-test", *posts, ended.wait)
    thread = threading.Thread(target=run, args=arguments)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join(20.0)


def test_a_trip_reaches_a_phone_through_broker_and_service(broker: Mosquitto) -> None:
    wet = off("tripped", cause("leak", sentence="The floor is wet."))
    with web() as first, web() as second, notifying(broker, first, second):
        rig = Onlooker(broker.port)

        def reached() -> bool:  # a rig says its state again and again, so it does not matter who was there first
            rig.publish(m.topic("boathouse", "state"), written(told(wet, describe(wet).id)), retain=True)
            return bool(first.got)

        until(reached)
        rig.close()
    assert first.titles == ["boathouse: tripped: Leak"]
    assert first.got[0]["message"].split("\n")[0] == "The floor is wet."
    assert second.got == []


def test_pulling_the_plug_of_the_rigs_machine_is_a_message_from_elsewhere(broker: Mosquitto) -> None:
    with web() as first, web() as second, notifying(broker, first, second):
        with subprocess.Popen([sys.executable, "-c", MACHINE, str(broker.port)]) as machine:
            witness = Onlooker(broker.port)
            until(lambda: len(witness.of("state")) > 5)
            machine.send_signal(signal.SIGKILL)
        until(lambda: bool(first.got), 40.0)
        witness.close()
    assert first.titles == ["boathouse: silent"]
    assert "its link died" in first.got[0]["message"]
    assert "When last heard it was running" in first.got[0]["message"]


def test_a_machine_that_freezes_is_missed_and_after_no_answer_so_is_it_by_a_second_person(broker: Mosquitto) -> None:
    rules = Rules(silent_s=2.0, unanswered_s=1.0)
    with web() as first, web() as second, notifying(broker, first, second, rules):
        with subprocess.Popen([sys.executable, "-c", MACHINE, str(broker.port)]) as machine:
            witness = Onlooker(broker.port)
            until(lambda: len(witness.of("state")) > 5)
            machine.send_signal(signal.SIGSTOP)
            until(lambda: bool(second.got), 40.0)
            machine.kill()
        witness.close()
    assert first.titles[0] == "boathouse: silent"
    assert second.titles[0] == "Nobody has answered for 0 min: boathouse: silent"


def test_a_broker_that_dies_is_the_silence_of_all_its_rigs(broker: Mosquitto) -> None:
    with (
        web() as first,
        web() as second,
        notifying(broker, first, second, Rules(silent_s=2.0)),
        subprocess.Popen([sys.executable, "-c", MACHINE, str(broker.port)]) as machine,
    ):
        witness = Onlooker(broker.port)
        until(lambda: len(witness.of("state")) > 5)
        witness.close()
        broker.stop(signal.SIGKILL)
        until(lambda: "boathouse: silent" in first.titles)
        broker.start()
        until(lambda: "boathouse: back" in first.titles, 40.0)
        machine.kill()


def arrived(topic: str, payload: str, retained: bool = False) -> object:
    return understood(Said(topic, payload.encode(), retained), Descriptions())


def test_what_is_not_understood_is_said_not_swallowed() -> None:
    heard = arrived("lyewatch/v1/boathouse/state", '{"rig": "boathouse", "new": 1}')
    assert "state: " in getattr(heard, "garbled", "")
    assert arrived("lyewatch/v1/boathouse/value/current", "28.0") is None
    assert arrived("lyewatch/v2/boathouse/state", "{}") is None
    assert arrived("lyewatch/v1/boathouse/state", "") is None  # a retained message taken away


@pytest.mark.parametrize(
    ("what", "subject", "answered"),
    [("accepted", "SILENCE", True), ("reset", "leak", True), ("accepted", "START", False), ("trip", "leak", False)],
)
def test_silencing_the_horn_and_a_reset_are_answers(what: str, subject: str, answered: bool) -> None:
    event = m.EventNow(
        rig="a", boot="b", number=1, time_s=0.0, clock_synchronised=True,
        what=what, subject=subject, detail="", source="local", sentence="",
    )  # fmt: skip
    heard = arrived("lyewatch/v1/a/events", event.model_dump_json())
    assert getattr(heard, "answered", False) is answered
    assert arrived("lyewatch/v1/a/events", event.model_dump_json(), retained=True) is None


def test_a_broker_here_dies_with_this_machine() -> None:
    assert on_this_machine("127.0.0.1")
    assert on_this_machine("localhost")
    assert not on_this_machine("192.0.2.7")  # documentation address, RFC 5737
    assert not on_this_machine("no such host.invalid")
