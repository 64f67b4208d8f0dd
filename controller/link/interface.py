"""The interface as an AsyncAPI 3 document, made from the models that the messages are made with."""

from __future__ import annotations

from importlib.metadata import version
from typing import Any, Final, Literal, NamedTuple

from pydantic import BaseModel, Field, RootModel
from pydantic.json_schema import models_json_schema

from controller.core.rig import Rig
from controller.link import messages as m
from controller.link.senml import UNITS


class SenmlRecord(m.Message):
    """One measurement, RFC 8428. `bn` and `bt` stand in the first of a pack and hold for all."""

    bn: str | None = Field(default=None, description="base name: urn:dev:lyewatch:<rig>:")
    bt: float | None = Field(default=None, description="base time, Unix time")
    n: str = Field(description="the signal, with '-' for each space")
    u: str = Field(description="unit of the SenML registry: " + ", ".join(sorted({u.senml for u in UNITS.values()})))
    v: float


class SenmlPack(RootModel[list[SenmlRecord]]):
    """What is not to be believed is left out."""


class PlainNumber(RootModel[str]):
    """A number as text, in the rig file's unit; empty where there is nothing to believe."""


Direction = Literal["tells", "takes"]


class Topic(NamedTuple):
    name: str
    address: str  # under the rig, or from the root where it is said to be of none
    direction: Direction
    model: type[BaseModel]
    when: str
    qos: int
    retained: bool = False
    reply: str = ""  # name of the topic that answers
    of_rig: bool = True

    def of(self, rig: str) -> str:
        return m.topic(rig, self.address) if self.of_rig else self.address


NOTIFY: Final = "lyewatch/notify/{client}"
TOPICS: Final = (
    Topic("presence", "presence", "tells", m.Presence, "on connecting and ending; the last will too", 1, True),
    Topic("notify", NOTIFY, "tells", m.NotifyPresence, "by each notify, again each 20 s", 1, True, of_rig=False),
    Topic("state", "state", "tells", m.StateTold, "on change and each second", 0, True),
    Topic("description", "description", "tells", m.RigDescribed, "on connecting and each ten minutes", 1, True),
    Topic("link", "link", "tells", m.LinkNow, "on change and each ten seconds", 0, True),
    Topic("measurements", "measurements", "tells", SenmlPack, "each second", 0),
    Topic("value", "value/{signal}", "tells", PlainNumber, "each second", 0),
    Topic("events", "events", "tells", m.EventNow, "every one, in the record's order, again after an outage", 1),
    Topic("past", "past", "tells", m.PastMeasurements, "after an outage: 10 s least, mean, most, in order", 1),
    Topic("logbook", "logbook", "tells", m.LogNow, "every line, in the record's order", 1),
    Topic("reply", "reply/{client}", "tells", m.CommandReply, "to each command", 1),
    Topic("history", "history/response/{client}", "tells", m.HistoryReply, "in parts, with the correlation data", 1),
    Topic("command", "command", "takes", m.CommandAsk, "never retained", 1, reply="reply"),
    Topic("question", "history/request", "takes", m.HistoryAsk, "with response topic", 1, reply="history"),
    Topic("line", "logbook/add", "takes", m.LogEntry, "what a person did at the rig", 1),
)
PARAMETERS: Final = {"signal": "a signal's name, with '-' for each space", "client": "who asked"}


def _channel(rig: str, topic: Topic) -> dict[str, Any]:
    found: dict[str, Any] = {
        "address": topic.of(rig),
        "description": f"{topic.when}" + (", retained" if topic.retained else ""),
        "messages": {topic.model.__name__: {"$ref": f"#/components/messages/{topic.model.__name__}"}},
    }
    parameters = {name: {"description": text} for name, text in PARAMETERS.items() if f"{{{name}}}" in topic.address}
    if parameters:
        found["parameters"] = parameters
    return found


def _operation(topic: Topic) -> dict[str, Any]:
    found: dict[str, Any] = {
        "action": "send" if topic.direction == "tells" else "receive",
        "channel": {"$ref": f"#/channels/{topic.name}"},
        "summary": topic.when,
        "bindings": {"mqtt": {"qos": topic.qos, "retain": topic.retained, "bindingVersion": "0.2.0"}},
    }
    if topic.reply:
        found["reply"] = {"channel": {"$ref": f"#/channels/{topic.reply}"}}
    return found


def document(rig: Rig) -> dict[str, Any]:
    """AsyncAPI 3.0.0, for one rig."""
    models = sorted({topic.model for topic in TOPICS}, key=lambda model: model.__name__)
    _, schemas = models_json_schema([(model, "serialization") for model in models], ref_template=REF)
    messages = {
        model.__name__: {
            "name": model.__name__,
            "summary": (model.__doc__ or "").strip().partition("\n")[0],
            "contentType": "text/plain" if model is PlainNumber else "application/json",
            "payload": {"$ref": REF.format(model=model.__name__)},
        }
        for model in models
    }
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": f"Lyewatch link of {rig.name}",
            "version": version("lyewatch"),
            "description": "Telemetry of one rig over MQTT 5, and commands to it. Times are Unix seconds; "
            "clock_synchronised says whether to believe them. A gap in numbers is a loss, a repeat a repeat.",
        },
        "defaultContentType": "application/json",
        "channels": {topic.name: _channel(rig.name, topic) for topic in TOPICS},
        "operations": {topic.name: _operation(topic) for topic in TOPICS},
        "components": {"messages": messages, "schemas": schemas["$defs"]},
    }


REF: Final = "#/components/schemas/{model}"
