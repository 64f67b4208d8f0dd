"""The interface document says what is published: both come from the same models, and here they are compared."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel

from controller.core.commands import Command, Source, Verb
from controller.core.signals import Signal
from controller.link import messages as m
from controller.link.broker import Address
from controller.link.interface import TOPICS, Topic, document
from controller.link.senml import UNITS
from controller.notify.ear import Ear
from tests.broker import Onlooker, mosquitto, until
from tests.core.bench import rig
from tests.link.site import RIG, Running

DOCUMENT = document(rig())


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    with mosquitto(tmp_path / "broker") as broker:
        found = Running(tmp_path, broker)
        yield found
        found.close()


def told_by(name: str) -> Topic | None:
    """The topic of the document that an address belongs to."""
    levels = name.split("/")
    for topic in TOPICS:
        wanted = topic.of(RIG).split("/")
        if len(wanted) == len(levels) and all(w == x or w.startswith("{") for w, x in zip(wanted, levels, strict=True)):
            return topic
    return None


def test_all_that_is_published_is_in_the_document_and_fits_it(running: Running) -> None:
    running.state()
    running.guard.ask(Command(Verb.ENABLE, Source.LOCAL, number=1.0))
    ask = m.CommandAsk(verb="stop", client="phone", id="1")
    running.onlooker.publish(running.topic("command"), ask.model_dump_json())
    entry = m.LogEntry(kind="cleaned", who="Ada")
    running.onlooker.publish(running.topic("logbook", "add"), entry.model_dump_json())
    where = running.topic("history", "response", "tests")
    running.onlooker.publish(running.topic("history", "request"), '{"what":"logbook"}', response=where)
    endings = ("/reply/phone", "/logbook", "/history/response/tests", "/events", "/link", "/measurements", "/presence")
    for ending in endings:
        until(lambda ending=ending: bool(running.onlooker.of(ending)), what=ending)  # type: ignore[misc]
    for name, payload, _ in list(running.onlooker.seen):
        if name == running.topic("command", "probe"):
            continue
        topic = told_by(name)
        assert topic is not None, name
        if topic.name == "value":
            assert payload == b"" or float(payload) is not None
        else:
            topic.model.model_validate_json(payload)


def test_what_notify_says_of_itself_is_in_the_document_and_outlives_it(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        onlooker = Onlooker(broker.port)
        ear = Ear(Address(port=broker.port), "watch")
        until(lambda: bool(onlooker.of("lyewatch/notify/watch")))
        ear.close()
        until(lambda: onlooker.of("lyewatch/notify/watch")[-1]["present"] == "ended")
        for name, payload, _ in onlooker.seen:
            topic = told_by(name)
            assert topic is not None
            assert topic.name == "notify"
            topic.model.model_validate_json(payload)
        late = Onlooker(broker.port)
        until(lambda: [x["present"] for x in late.of("lyewatch/notify/watch")] == ["ended"])
        assert late.of("lyewatch/notify/watch")[0]["time_s"] > 1.7e9
        for client in (onlooker, late):
            client.close()


def test_every_retained_value_carries_its_time(running: Running) -> None:
    running.state()
    until(lambda: bool(running.onlooker.of("/link")))
    running.end_link()
    late = type(running.onlooker)(running.broker.port)
    until(lambda: {t.rpartition("/")[2] for t, _, _ in late.seen} >= {"state", "link", "presence"})
    for name, payload, retained in late.seen:
        assert retained, name
        assert json.loads(payload)["time_s"] > 1.7e9, name
    late.close()


def test_every_reference_in_the_document_leads_somewhere() -> None:
    def look(found: object) -> None:
        if isinstance(found, dict):
            for key, value in found.items():
                if key == "$ref":
                    at: object = DOCUMENT
                    for part in str(value).removeprefix("#/").split("/"):
                        assert isinstance(at, dict)
                        at = at[part]
                else:
                    look(value)
        elif isinstance(found, list):
            for one in found:
                look(one)

    look(DOCUMENT)
    assert DOCUMENT["asyncapi"] == "3.0.0"
    json.dumps(DOCUMENT, allow_nan=False)


def test_every_channel_has_an_operation_and_an_address_of_this_rig_alone() -> None:
    assert DOCUMENT["channels"].keys() == DOCUMENT["operations"].keys()
    addresses = {name: channel["address"] for name, channel in DOCUMENT["channels"].items()}
    assert addresses.pop("notify") == "lyewatch/notify/{client}"
    assert all(address.startswith("lyewatch/v1/pretend/") for address in addresses.values())
    assert DOCUMENT["operations"]["command"]["reply"]["channel"]["$ref"] == "#/channels/reply"


@pytest.mark.parametrize("model", {t.name: t.model for t in TOPICS}.values())
def test_every_message_says_what_it_is(model: type[BaseModel]) -> None:
    assert DOCUMENT["components"]["messages"][model.__name__]["payload"]["$ref"].endswith(model.__name__)


@pytest.mark.parametrize(
    ("ours", "senml", "one"),
    # IANA, SenML Units registry (RFC 8428): a litre a minute is 1/60000 m3/s, a millibar 100 Pa
    [("C", "Cel", 1.0), ("V", "V", 1.0), ("A", "A", 1.0), ("L/min", "m3/s", 1 / 60000), ("mbar", "Pa", 100.0)],
)
def test_units_are_those_of_the_registry(ours: str, senml: str, one: float) -> None:
    assert UNITS[ours].senml == senml
    assert UNITS[ours].factor == pytest.approx(one)


def test_every_signal_of_the_test_rig_has_a_unit_that_senml_knows() -> None:
    signals: tuple[Signal, ...] = rig().signals
    assert {s.unit for s in signals} <= UNITS.keys()
