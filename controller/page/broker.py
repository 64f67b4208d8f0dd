"""The page's side of the broker: what every rig says, history by request and response, commands and their answers.

paho's thread only parses and hands over; everything else happens on the event loop.
"""

from __future__ import annotations

import asyncio
import json
import logging
import ssl
import time
import uuid
from collections.abc import Callable
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from pydantic import ValidationError

from controller.link.broker import Address
from controller.link.described import Descriptions
from controller.link.messages import (
    ROOT,
    CommandAsk,
    CommandReply,
    HistoryAsk,
    HistoryReply,
    LogEntry,
    NotifyPresence,
    Presence,
    StateNow,
    topic,
)
from controller.page.rigs import Rigs

log = logging.getLogger("lyewatch.page")

TOLD: Final = frozenset({"description", "state", "presence"})
NOTIFY: Final = "lyewatch/notify"
STATE_BYTES: Final = 262_144
ANSWER_BYTES: Final = 1_048_576
PARTS_AT_MOST: Final = 64
COMMAND_WAIT_S: Final = 6.0
HISTORY_WAIT_S: Final = 10.0
LOG_WAIT_S: Final = 5.0


class NoAnswer(TimeoutError):
    """Nobody answered in time; whether it was done is not known."""


class BrokerLost(ConnectionError):
    """The broker cannot be reached now."""


class Broker:
    """One connection for all phones. Everything but the paho callbacks runs on `loop`."""

    def __init__(self, address: Address, client_id: str, rigs: Rigs, changed: Callable[[str], None]) -> None:
        """changed: called on the loop with a rig's name, or with "" when the broker came or went."""
        self.address, self.client_id, self.rigs, self.changed = address, client_id, rigs, changed
        self._loop: asyncio.AbstractEventLoop | None = None
        self._replies: dict[str, asyncio.Future[CommandReply]] = {}
        self._history: dict[bytes, asyncio.Queue[HistoryReply]] = {}
        self._descriptions = Descriptions()  # of paho's thread alone
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv5)
        if address.user:
            client.username_pw_set(address.user, address.password)
        if address.authority is not None:
            certificate, key = (str(p) if p else None for p in (address.certificate, address.key))
            client.tls_set(str(address.authority), certificate, key, tls_version=ssl.PROTOCOL_TLS_CLIENT)
        client.reconnect_delay_set(1, 15)
        client.max_inflight_messages_set(50)
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.on_connect_fail = self._failed
        client.on_message = self._message
        self._client = client

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._client.connect_async(self.address.host, self.address.port, keepalive=10, clean_start=True)
        self._client.loop_start()

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        self._loop = None

    # --- paho's thread

    def _hand(self, do: Callable[..., None], *arguments: Any) -> None:
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(do, *arguments)

    def _connected(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._hand(self._broker, False, f"the broker refused this page: {reason}")
            return
        topics = [f"{ROOT}/+/{part}" for part in ("description", "state", "presence")]
        topics.append(f"{NOTIFY}/+")
        topics += [f"{ROOT}/+/{part}/{self.client_id}" for part in ("reply", "history/response")]
        client.subscribe([(t, 1) for t in topics])
        self._hand(self._broker, True, "connected")

    def _disconnected(self, _client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self._hand(self._broker, False, f"the connection ended: {reason}")

    def _failed(self, _client: Any, _data: Any) -> None:
        self._hand(self._broker, False, f"nobody answers at {self.address.host} port {self.address.port}")

    def _message(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        levels = message.topic.split("/")
        try:
            if message.topic.startswith(NOTIFY + "/"):
                present = NotifyPresence.model_validate_json(message.payload or b'{"present":"gone"}').present
                self._hand(self._watcher, levels[2], present, message.retain)
                return
            rig, kind = levels[2], levels[3]
            if len(message.payload) > (STATE_BYTES if kind in TOLD else ANSWER_BYTES):
                raise ValueError(f"{len(message.payload)} bytes is too much")
            self._take(rig, kind, message)
        except (ValidationError, ValueError) as error:
            self._hand(self._refuse, message.topic, error)

    def _take(self, rig: str, kind: str, message: mqtt.MQTTMessage) -> None:
        if kind == "state":
            self._hand(self._state, self._descriptions.state(rig, bytes(message.payload)), message.retain)
        elif kind == "description":
            again = self._descriptions.description(rig, bytes(message.payload))
            if again is not None:
                self._hand(self._explained, again)
        elif kind == "presence":
            presence = Presence.model_validate_json(message.payload)
            _same(rig, presence.rig)
            self._hand(self._presence, presence)
        elif message.retain:
            raise ValueError("an answer that is retained is no answer")
        elif kind == "reply":
            self._hand(self._reply, CommandReply.model_validate_json(message.payload))
        else:
            correlation = getattr(message.properties, "CorrelationData", b"")
            self._hand(self._part, correlation, HistoryReply.model_validate_json(message.payload))

    # --- the event loop

    def _broker(self, up: bool, why: str) -> None:
        if (up, why) != (self.rigs.broker_up, self.rigs.broker_why):
            log.info("broker %s: %s", "up" if up else "lost", why)
        self.rigs.broker(up, why, time.monotonic())
        self.changed("")

    def _refuse(self, where: str, error: Exception) -> None:
        self.rigs.refused += 1
        if self.rigs.refused <= 20 or self.rigs.refused % 1000 == 0:  # a flood must not fill the journal
            first = str(error).splitlines()[0][:200]
            log.warning("refused a message on %r (%d so far): %s", where[:120], self.rigs.refused, first)

    def _state(self, state: StateNow, retained: bool) -> None:
        seen = self.rigs.seen.get(state.rig)
        if seen is None or seen.state is None:
            log.info("rig %r is heard", state.rig)
        if self.rigs.take_state(state, retained, time.monotonic()):
            self.changed(state.rig)

    def _explained(self, state: StateNow) -> None:
        if self.rigs.explain_state(state):
            self.changed(state.rig)

    def _presence(self, presence: Presence) -> None:
        if self.rigs.take_presence(presence):
            self.changed(presence.rig)

    def _watcher(self, client: str, present: str, retained: bool) -> None:
        if self.rigs.take_watcher(client, present, retained, time.monotonic()):
            self.changed("")

    def _reply(self, reply: CommandReply) -> None:
        waiting = self._replies.get(reply.id)
        if waiting is not None and not waiting.done():
            waiting.set_result(reply)

    def _part(self, correlation: bytes, reply: HistoryReply) -> None:
        waiting = self._history.get(correlation)
        if waiting is not None and waiting.qsize() < PARTS_AT_MOST:
            waiting.put_nowait(reply)

    def _publish(self, where: str, text: str, properties: Properties | None = None) -> mqtt.MQTTMessageInfo:
        if not self.rigs.broker_up:
            raise BrokerLost(self.rigs.broker_why)
        return self._client.publish(where, text, qos=1, properties=properties)

    async def command(self, rig: str, ask: CommandAsk) -> CommandReply:
        """The guard's own answer. Raises BrokerLost before it was sent, NoAnswer after."""
        waiting: asyncio.Future[CommandReply] = asyncio.get_running_loop().create_future()
        self._replies[ask.id] = waiting
        try:
            self._publish(topic(rig, "command"), ask.model_dump_json())
            return await asyncio.wait_for(waiting, COMMAND_WAIT_S)
        except TimeoutError:
            raise NoAnswer(f"no answer within {COMMAND_WAIT_S:.0f} s") from None
        finally:
            del self._replies[ask.id]

    async def history(self, rig: str, ask: HistoryAsk) -> HistoryReply:
        """All parts of an answer as one. Raises BrokerLost or NoAnswer."""
        correlation = uuid.uuid4().bytes
        properties = Properties(PacketTypes.PUBLISH)
        properties.ResponseTopic = topic(rig, "history", "response", self.client_id)
        properties.CorrelationData = correlation
        parts: asyncio.Queue[HistoryReply] = asyncio.Queue()
        self._history[correlation] = parts
        try:
            self._publish(topic(rig, "history", "request"), ask.model_dump_json(), properties)
            async with asyncio.timeout(HISTORY_WAIT_S):
                return await _gathered(parts)
        except TimeoutError:
            raise NoAnswer(f"no history within {HISTORY_WAIT_S:.0f} s") from None
        finally:
            del self._history[correlation]

    async def log_entry(self, rig: str, entry: LogEntry) -> None:
        """Returns once the broker has taken it. Raises BrokerLost or NoAnswer."""
        sent = self._publish(topic(rig, "logbook", "add"), entry.model_dump_json())
        try:
            async with asyncio.timeout(LOG_WAIT_S):
                while not sent.is_published():
                    await asyncio.sleep(0.02)
        except TimeoutError:
            raise NoAnswer("the broker did not confirm") from None


def _same(in_topic: str, in_message: str) -> None:
    if in_topic != in_message:
        raise ValueError(f"topic says rig {in_topic!r}, message says {in_message[:80]!r}")


async def _gathered(parts: asyncio.Queue[HistoryReply]) -> HistoryReply:
    found: dict[int, HistoryReply] = {}
    while True:
        part = await parts.get()
        found[part.part] = part
        if len(found) >= min(part.parts, PARTS_AT_MOST):
            ordered = [found[n] for n in sorted(found)]
            return part.model_copy(
                update={
                    "part": 1,
                    "parts": 1,
                    "trends": [line for p in ordered for line in p.trends],
                    "rows": [row for p in ordered for row in p.rows],
                    "complete": all(p.complete for p in ordered) and part.parts <= PARTS_AT_MOST,
                }
            )


def compact(document: Any) -> str:
    """Canonical JSON: sorted keys, nothing between."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
