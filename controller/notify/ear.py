"""Hears what rigs say to a broker: one MQTT 5 session that only listens, and leaves word of itself when it dies."""

from __future__ import annotations

import contextlib
import ssl
import sys
import time
from collections import deque
from typing import Any, Literal, NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.link.broker import Address
from controller.link.messages import ROOT, NotifyPresence

KEEP_ALIVE_S = 10
HERE_EACH_S = 20.0  # a page that has not heard it for three of these says that nobody would be told
KEPT = 5000  # messages not yet looked at
HEARS = ("description", "state", "presence", "events")  # retained ones come in this order


class Said(NamedTuple):
    topic: str
    payload: bytes
    retained: bool


class Ear:
    """The session. Other people's messages pile up in `said`; paho's thread does nothing else."""

    def __init__(self, address: Address, client_id: str) -> None:
        self.said: deque[Said] = deque(maxlen=KEPT)
        self._presence = f"lyewatch/notify/{client_id}"
        self._here_s = -1e9
        self._client = client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id, protocol=mqtt.MQTTv5)
        client.suppress_exceptions = True  # one in a callback would end paho's thread and leave it looking alive
        if address.user:
            client.username_pw_set(address.user, address.password)
        if address.authority is not None:
            context = ssl.create_default_context(cafile=str(address.authority))
            context.minimum_version = ssl.TLSVersion.TLSv1_2
            if address.certificate is not None:
                context.load_cert_chain(address.certificate, address.key)
            client.tls_set_context(context)
        client.will_set(self._presence, NotifyPresence(present="gone").model_dump_json(), qos=1, retain=True)
        client.reconnect_delay_set(1, 30)
        client.on_connect = self._connected
        client.on_message = self._heard
        client.connect_async(address.host, address.port, KEEP_ALIVE_S)
        client.loop_start()

    def _connected(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            sys.stderr.write(f"lyewatch notify: the broker refuses: {reason}\n")
            return
        client.subscribe([(f"{ROOT}/+/{what}", 1) for what in HEARS])
        self._say(client, "here")

    def _say(self, client: mqtt.Client, present: Literal["here", "ended"]) -> mqtt.MQTTMessageInfo:
        said = NotifyPresence(present=present, time_s=time.time())
        return client.publish(self._presence, said.model_dump_json(), qos=1, retain=True)

    def beat(self, now_s: float) -> None:
        """Says again that somebody listens, from the very loop that would tell people. now_s: monotonic."""
        if now_s - self._here_s >= HERE_EACH_S and self._client.is_connected():
            self._here_s = now_s
            self._say(self._client, "here")

    def _heard(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        self.said.append(Said(message.topic, bytes(message.payload), message.retain))

    def close(self) -> None:
        """Goodbye in order."""
        if self._client.is_connected():
            last = self._say(self._client, "ended")
            with contextlib.suppress(RuntimeError, ValueError):
                last.wait_for_publish(1.0)
        self._client.disconnect()
        self._client.loop_stop()
