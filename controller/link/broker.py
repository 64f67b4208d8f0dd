"""The link's end of the broker: one MQTT 5 session through paho, whose callbacks only put things into queues.

A message counts as delivered when the broker has acknowledged it with a good reason code. Nothing here waits: what the
broker does not take in time is the caller's to keep.
"""

from __future__ import annotations

import contextlib
import ssl
from collections import deque
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

KEEP_ALIVE_S = 10
SESSION_S = 3600
WILL_DELAY_S = 2
IN_FLIGHT = 20
# A broker that closes so many sessions within so many seconds of opening them has another client of our name.
TAKEN_OVER = 3
TAKEN_OVER_WITHIN_S = 30.0


@dataclass(frozen=True, slots=True)
class Address:
    """Where the broker is, and who we are to it."""

    host: str = "127.0.0.1"
    port: int = 1883
    user: str = ""
    password: str = ""
    authority: Path | None = None  # certificate of who signed the broker's; with it, TLS
    certificate: Path | None = None  # our own, with its key
    key: Path | None = None


class Arrived(NamedTuple):
    topic: str
    payload: bytes
    retained: bool
    response_topic: str
    correlation: bytes


class Broker:
    """One session. `sent` and `acknowledged` count what was handed over and what the broker has taken."""

    def __init__(
        self, address: Address, client_id: str, will_topic: str, will: bytes, subscriptions: list[str]
    ) -> None:
        self.arrived: deque[Arrived] = deque(maxlen=1000)
        self.connected = False
        self.heard = False  # the broker has confirmed the subscriptions
        self.fresh = False  # a new connection: retained state must be told again
        self.refused = ""  # the broker's last word, when it was no
        self.acknowledged: deque[int] = deque()
        self.outstanding = 0
        self._subscriptions = subscriptions
        self._client = client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id, protocol=mqtt.MQTTv5)
        client.suppress_exceptions = True  # one in a callback would end paho's thread and leave it looking alive
        if address.user:
            client.username_pw_set(address.user, address.password)
        if address.authority is not None:
            context = ssl.create_default_context(cafile=str(address.authority))
            context.minimum_version = ssl.TLSVersion.TLSv1_2
            if address.certificate is not None:
                context.load_cert_chain(str(address.certificate), str(address.key) if address.key else None)
            client.tls_set_context(context)
        properties = Properties(PacketTypes.WILLMESSAGE)
        properties.WillDelayInterval = WILL_DELAY_S
        client.will_set(will_topic, will, qos=1, retain=True, properties=properties)
        client.reconnect_delay_set(1, 8)
        client.max_inflight_messages_set(IN_FLIGHT)
        client.max_queued_messages_set(IN_FLIGHT)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        session = Properties(PacketTypes.CONNECT)
        session.SessionExpiryInterval = SESSION_S
        client.connect_async(address.host, address.port, KEEP_ALIVE_S, clean_start=False, properties=session)
        client.loop_start()

    def _on_connect(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self.refused = str(reason)
            return
        self.refused = ""
        self.outstanding = 0
        self.connected = self.fresh = True
        if self._subscriptions:
            client.subscribe([(topic, 1) for topic in self._subscriptions])
        else:
            self.heard = True

    def _on_connect_fail(self, _client: mqtt.Client, _data: Any) -> None:
        self.refused = "no broker answers"

    def _on_disconnect(self, _client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self.connected = self.heard = False
        if reason.is_failure:
            self.refused = str(reason)

    def _on_subscribe(self, _client: mqtt.Client, _data: Any, _mid: int, reasons: list[Any], _properties: Any) -> None:
        failed = [str(r) for r in reasons if r.is_failure]
        self.heard = not failed
        if failed:
            self.refused = f"subscription refused: {failed[0]}"

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        properties = message.properties
        self.arrived.append(
            Arrived(
                message.topic,
                bytes(message.payload),
                message.retain,
                getattr(properties, "ResponseTopic", ""),
                getattr(properties, "CorrelationData", b""),
            )
        )

    def _on_publish(self, _client: mqtt.Client, _data: Any, mid: int, reason: Any, _properties: Any) -> None:
        self.outstanding = max(0, self.outstanding - 1)
        if reason.is_failure:
            self.refused = f"publish refused: {reason}"
        else:
            self.acknowledged.append(mid)

    @property
    def room(self) -> int:
        """How many acknowledged messages the session takes now; more would be dropped, the newest first."""
        return max(0, IN_FLIGHT - self.outstanding) if self.connected else 0

    def publish(
        self, topic: str, payload: bytes, qos: int = 0, retain: bool = False, correlation: bytes = b""
    ) -> int | None:
        """Hand a message over: its number, or None when there is no session or no room for it."""
        if not self.connected or (qos and self.room <= 0):
            return None
        properties = None
        if correlation:
            properties = Properties(PacketTypes.PUBLISH)
            properties.CorrelationData = correlation
        info = self._client.publish(topic, payload, qos=qos, retain=retain, properties=properties)
        if info.rc != mqtt.MQTT_ERR_SUCCESS:
            return None
        if qos:
            self.outstanding += 1
        return info.mid

    def close(self, last_topic: str, last: bytes) -> None:
        """Say goodbye in order: a retained last word instead of the will."""
        if self.connected:
            info = self._client.publish(last_topic, last, qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):
                info.wait_for_publish(1.0)
        self._client.disconnect()
        self._client.loop_stop()
