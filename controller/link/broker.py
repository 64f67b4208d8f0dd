"""The link's end of the broker: one MQTT 5 session through paho, whose callbacks only put things into queues.

A message counts as delivered when the broker has acknowledged it with a good reason code. Nothing here waits: what the
broker does not take in time is the caller's to keep. Whether commands are heard is not believed but tried: a message
to itself, on the topic that commands come by, must come back.

That the broker is there is believed of its answers alone: a connection that is half open takes what is written to it,
for as long as the kernel has room.
"""

from __future__ import annotations

import contextlib
import os
import random
import ssl
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from controller.guard.protocol import looks_like_stop
from controller.link.connecting import in_words, pause_s

KEEP_ALIVE_S = 10
SESSION_S = 3600
WILL_DELAY_S = 2
IN_FLIGHT = 20
HANDED = 3 * IN_FLIGHT  # handed over at most: what waits behind the window keeps paho's thread at work without ours
CONNECT_WITHIN_S = 5.0
PROBE_S = 2.0
DEAF_AFTER_S = 6.0  # nothing of its own heard for so long
SUBSCRIBE_AGAIN_S = 5.0
ARRIVED_KEPT = 500  # a flood beyond is counted and dropped
STOPS_KEPT = 50
# A broker that ends so many sessions within so long has another client of our name.
TAKEN_OVER = 3
TAKEN_OVER_WITHIN_S = 30.0
SOON_S = 10.0  # after connecting
_SESSION_TAKEN_OVER = 0x8E  # MQTT 5.0, table of reason codes


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


class _Socket(ssl.SSLSocket):
    """Remembers the newest, which paho leaves open where the handshake fails."""

    newest: ClassVar[ssl.SSLSocket | None] = None

    def do_handshake(self, block: bool = False) -> None:
        _Socket.newest = self
        super().do_handshake(block)
        _Socket.newest = None


class _Client(mqtt.Client):
    """paho's, which keeps why a connection failed."""

    failed: Callable[[OSError], None] | None = None

    def reconnect(self) -> MQTTErrorCode:
        try:
            return super().reconnect()
        except OSError as error:
            if _Socket.newest is not None:
                _Socket.newest.close()
                _Socket.newest = None
            if self.failed is not None:
                self.failed(error)
            raise


class Broker:
    """One session. Attributes are read by the link's loop; only paho's thread and `publish` change them."""

    def __init__(
        self,
        address: Address,
        client_id: str,
        will_topic: str,
        will: bytes,
        subscriptions: list[str],
        probe_topic: str,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """probe_topic: one that the first of the subscriptions covers. clock: by which `alive_s` is told."""
        self.arrived: deque[Arrived] = deque()
        self.stops: deque[Arrived] = deque()  # what may be a stop overtakes
        self.dropped = 0  # arrived, but too many
        self.connected = False
        self.fresh = False  # a new connection: retained state must be told again
        self.forgotten = False  # the broker has lost our session, and perhaps what it had acknowledged last
        self.refused = ""  # why there is no connection, or the broker's last no
        self.taken_over = False  # sessions end soon, again and again
        self.alive_s = 0.0  # what was handed over before this has reached the broker
        self.heard_s = 0.0  # monotonic: when our own message last came back
        self.connected_s = 0.0
        self._in_flight: dict[int, float] = {}  # since when; the loop's alone
        self._answers: deque[tuple[int, bool]] = deque()  # whether the broker took it
        self._woken = threading.Event()  # there is something to do: room, a stop, a new session
        self._waiting_for_room = False
        self._address, self._clock = address, clock
        self._failures = 0
        self._denied = ""
        self._closed: deque[float] = deque(maxlen=TAKEN_OVER)
        self._subscriptions = subscriptions
        self._subscribed_s = 0.0
        self._not_subscribed = ""
        self._probe_topic, self._probe, self._probed_s = probe_topic, b"", 0.0
        self._probe_made_s = self._returned_s = 0.0  # by `clock`
        self._client = client = _Client(CallbackAPIVersion.VERSION2, client_id, protocol=mqtt.MQTTv5)
        client.failed = self._on_failed
        client.suppress_exceptions = True  # one in a callback would end paho's thread and leave it looking alive
        client.connect_timeout = CONNECT_WITHIN_S
        if address.user:
            client.username_pw_set(address.user, address.password)
        if address.authority is not None:
            context = ssl.create_default_context(cafile=str(address.authority))
            context.minimum_version = ssl.TLSVersion.TLSv1_2
            context.sslsocket_class = _Socket
            if address.certificate is not None:
                context.load_cert_chain(str(address.certificate), str(address.key) if address.key else None)
            client.tls_set_context(context)
        properties = Properties(PacketTypes.WILLMESSAGE)
        properties.WillDelayInterval = WILL_DELAY_S
        client.will_set(will_topic, will, qos=1, retain=True, properties=properties)
        client.max_inflight_messages_set(IN_FLIGHT)
        client.max_queued_messages_set(HANDED)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        self._next_pause()
        session = Properties(PacketTypes.CONNECT)
        session.SessionExpiryInterval = SESSION_S
        client.connect_async(address.host, address.port, KEEP_ALIVE_S, clean_start=False, properties=session)
        client.loop_start()

    # -- paho's thread

    def _next_pause(self) -> None:
        wait_s = pause_s(self._failures, self.taken_over, random.random())
        self._client.reconnect_delay_set(wait_s, wait_s)  # type: ignore[arg-type]  # it takes any number

    def _on_failed(self, error: OSError) -> None:
        self.refused = in_words(error, self._address.host, self._address.port)
        self._failures += 1
        self._next_pause()

    def _on_connect(self, client: mqtt.Client, _data: Any, flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self.refused = f"the broker refuses: {reason}; is the password right, is the name granted?"
            self._failures += 1
            self._next_pause()
            return
        self.refused = self._not_subscribed = ""
        self.alive_s, self.connected_s = self._clock(), time.monotonic()
        self.heard_s = 0.0
        self.forgotten = not flags.session_present
        self.connected = self.fresh = True
        self._subscribe()
        self._woken.set()

    def _subscribe(self) -> None:
        self._subscribed_s = time.monotonic()
        self._client.subscribe([(topic, 1) for topic in self._subscriptions])

    def _on_disconnect(self, _client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        now_s = time.monotonic()
        if not self.connected:  # paho tells some ends twice
            if reason.is_failure and not self.refused:
                self.refused = f"the connection ended: {reason}; does the broker accept this certificate?"
            return
        self.connected = False
        self._failures = self._failures + 1 if now_s - self.connected_s < SOON_S else 0
        if reason.value == _SESSION_TAKEN_OVER or now_s - self.connected_s < SOON_S:
            self._closed.append(now_s)
        full = len(self._closed) == TAKEN_OVER
        self.taken_over = full and now_s - self._closed[0] <= TAKEN_OVER_WITHIN_S
        if reason.is_failure:
            self.refused = self._denied or f"the connection ended: {reason}"
        self._denied = ""
        self._next_pause()

    def _on_subscribe(self, _client: mqtt.Client, _data: Any, _mid: int, reasons: list[Any], _properties: Any) -> None:
        failed = [str(r) for r in reasons if r.is_failure]
        self._not_subscribed = f"the broker refuses the subscription: {failed[0]}" if failed else ""

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        payload = bytes(message.payload)
        if message.topic == self._probe_topic:
            if payload == self._probe:
                self.heard_s, self._returned_s = time.monotonic(), self._probe_made_s
            return
        properties = message.properties
        response, correlation = getattr(properties, "ResponseTopic", ""), getattr(properties, "CorrelationData", b"")
        stop = len(payload) < 10_000 and looks_like_stop(payload.replace(b'"verb"', b'"do"'))
        queue, most = (self.stops, STOPS_KEPT) if stop else (self.arrived, ARRIVED_KEPT)
        if len(queue) >= most:
            self.dropped += 1
            return
        queue.append(Arrived(message.topic, payload[:20_000], message.retain, response, correlation))
        if stop:
            self._woken.set()

    def _on_publish(self, _client: mqtt.Client, _data: Any, mid: int, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._denied = f"the broker refuses what is published: {reason}; is the topic granted?"
        self._answers.append((mid, not reason.is_failure))
        if self._waiting_for_room and len(self._in_flight) - len(self._answers) <= IN_FLIGHT:
            self._waiting_for_room = False
            self._woken.set()

    # -- the link's loop

    def rest(self, at_most_s: float) -> None:
        """Wait until there is something to do, or so long."""
        self._woken.wait(at_most_s)
        self._woken.clear()

    def wake_for_room(self) -> None:
        """More is to be sent than there is room for."""
        self._waiting_for_room = True

    def answered(self) -> Iterator[tuple[int, bool]]:
        """Messages that the broker has answered since this was last asked, and whether it took them."""
        while self._answers:
            mid, good = self._answers.popleft()
            since_s = self._in_flight.pop(mid, None)
            if since_s is not None:  # the others were only written to the socket, which proves nothing
                self.alive_s = max(self.alive_s, since_s)
                yield mid, good

    def beat(self, now_s: float) -> None:
        """Send the message to itself that must come back; subscribe again while it does not. now_s: monotonic."""
        if not self.connected:
            return
        if now_s - self._probed_s >= PROBE_S:
            self._probed_s = now_s
            if now_s - self.heard_s <= DEAF_AFTER_S or not self._probe:
                self._probe, self._probe_made_s = os.urandom(8), self._clock()
            # unacknowledged ones overtake what waits for its turn; of the others a deaf session learns that it lives
            self.publish(self._probe_topic, self._probe, qos=0 if self.heard(now_s) else 1)
        self.alive_s = max(self.alive_s, self._returned_s)
        if not self.heard(now_s) and now_s - self._subscribed_s >= SUBSCRIBE_AGAIN_S:
            self._subscribe()
        if self.taken_over and now_s - self.connected_s > TAKEN_OVER_WITHIN_S:
            self.taken_over = False

    def heard(self, now_s: float) -> bool:
        return self.connected and now_s - self.heard_s < DEAF_AFTER_S

    def trouble(self, now_s: float) -> str:
        """What is wrong between here and the broker, in words; empty while nothing is."""
        if self.taken_over:  # Mosquitto gives no reason for either
            return (
                "the broker ends each session soon after it began: another client uses this rig's name (is a second"
                " link running?), or a topic of this rig is not granted to it"
            )
        if not self.connected:
            return f"no broker: {self.refused or 'not connected yet'}"
        if not self.heard(now_s) and now_s - self.connected_s >= DEAF_AFTER_S:
            return f"commands are not heard: {self._not_subscribed or 'a message to itself does not come back'}"
        return self._denied or self.refused

    @property
    def room(self) -> int:
        """How many acknowledged messages the session takes now; more would be dropped, the newest first."""
        return max(0, HANDED - len(self._in_flight)) if self.connected else 0

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
            self._in_flight[info.mid] = self._clock()
        return info.mid

    def close(self, last_topic: str, last: bytes) -> None:
        """Say goodbye in order: a retained last word instead of the will."""
        if self.connected:
            info = self._client.publish(last_topic, last, qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):
                info.wait_for_publish(1.0)
        self._client.disconnect()
        self._client.loop_stop()
