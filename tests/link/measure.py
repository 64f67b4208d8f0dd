"""Figures of the link: `python -m tests.link.measure`. Real Mosquitto, the core behind the guard's socket.

Events lost and repeated over an outage, publish rate against a bare paho loop, bytes a day to the record. Each figure
is taken in this run; nothing is a constant. Bytes over the air and memory: `python -m tests.link.air`.
"""

from __future__ import annotations

import json
import signal
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.core.commands import Command, Source, Verb
from controller.link.broker import Address, Broker
from controller.link.process import ROUND_S
from tests.broker import Mosquitto, mosquitto, until
from tests.link.site import Running

MESSAGES = 10_000
STORED = 5000
PAYLOAD = b"x" * 200
ROUNDS = 5
DAY_S = 86400.0


class Figure(NamedTuple):
    name: str
    value: float
    unit: str
    baseline: float | None = None
    ratio: float | None = None


def outage(folder: Path, broker: Mosquitto) -> list[Figure]:
    """A guard's hour without a broker; judged by the guard's own count of events."""
    running = Running(folder, broker, scan_s=0.001, dt_s=1.0)
    running.guard.ask(Command(Verb.PRESENT, Source.LOCAL))
    until(lambda: bool(running.events()))
    broker.stop(signal.SIGKILL)
    begin_s = running.bench.now_s
    while running.bench.now_s < begin_s + 3600.0:
        running.guard.ask(Command(Verb.ENABLE, Source.LOCAL, number=1.0))
        asked_s = running.bench.now_s
        until(lambda asked_s=asked_s: running.bench.now_s > asked_s + 20.0)  # type: ignore[misc]
    running.guard.pace(0.1)
    newest = running.guard.events[-1].number
    broker.start()
    until(lambda: newest in running.events(), 90.0)
    came = [number for number in running.events() if number <= newest]
    running.close()
    return [
        Figure("events of an hour's outage", newest, ""),
        Figure("lost", newest - len(set(came)), ""),
        Figure("repeated", len(came) - len(set(came)), ""),
    ]


def bare_rate(port: int, payloads: Sequence[bytes] = (PAYLOAD,) * MESSAGES, topic: str = "bare/x") -> float:
    """Acknowledged messages a second of paho alone."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, "bare", protocol=mqtt.MQTTv5)
    taken, all_of_it = [0], threading.Event()

    def published(*_: object) -> None:
        taken[0] += 1
        if taken[0] == len(payloads):
            all_of_it.set()

    client.on_publish = published
    client.connect("127.0.0.1", port)
    client.loop_start()
    until(client.is_connected)
    begin_s = time.perf_counter()
    for payload in payloads:
        client.publish(topic, payload, qos=1)
    all_of_it.wait(60.0)
    rate = len(payloads) / (time.perf_counter() - begin_s)
    client.disconnect()
    client.loop_stop()
    return rate


def our_rate(port: int) -> float:
    """The same through the link's session, with its window and its counting."""
    broker = Broker(Address(port=port), "ours", "ours/presence", b"{}", ["ours/command/#"], "ours/command/probe")
    until(lambda: broker.connected)
    begin_s = time.perf_counter()
    taken = sent = 0
    while taken < MESSAGES:
        taken += sum(1 for _ in broker.answered())
        while sent < MESSAGES and broker.publish("ours/x", PAYLOAD, qos=1) is not None:
            sent += 1
        if sent < MESSAGES:
            broker.wake_for_room()
        broker.rest(ROUND_S)
    rate = MESSAGES / (time.perf_counter() - begin_s)
    broker.close("ours/presence", b"{}")
    return rate


class Stopwatch:
    """A subscriber that keeps what comes on one topic, and when the first and the newest came."""

    def __init__(self, port: int, topic: str) -> None:
        self.came: list[bytes] = []
        self.first_s = self.newest_s = 0.0
        subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, f"watch-{topic[-20:]}", protocol=mqtt.MQTTv5)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: subscribed.set()
        self._client.on_connect = lambda client, *_: client.subscribe(topic, 1)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert subscribed.wait(20.0)

    def _on_message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        self.newest_s = time.perf_counter()
        self.first_s = self.first_s or self.newest_s
        self.came.append(bytes(message.payload))

    @property
    def rate(self) -> float:
        return (len(self.came) - 1) / (self.newest_s - self.first_s)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def forwarding(folder: Path, broker: Mosquitto) -> Figure:
    """What an outage has left, all the way from the record to a subscriber; and paho with the same bytes."""
    running = Running(folder, broker, scan_s=0.0005, apart=True)
    running.state()
    running.onlooker.close()
    broker.stop(signal.SIGKILL)
    for _ in range(STORED):
        running.guard.ask(Command(Verb.ENABLE, Source.LOCAL, number=1.0))
    newest = running.guard.events[-1].number
    until(lambda: running.guard.acknowledged >= newest)
    running.guard.pace(0.1)
    broker.start()
    ours = Stopwatch(broker.port, running.topic("events"))
    until(lambda: len(ours.came) >= newest)
    running.end_link()
    running.guard.close()
    ours.close()
    bare = Stopwatch(broker.port, "bare/events")
    process = get_context("spawn").Process(target=bare_rate, args=(broker.port, ours.came, "bare/events"))
    process.start()
    process.join(60.0)
    until(lambda: len(bare.came) == len(ours.came))
    bare.close()
    size = statistics.fmean(map(len, ours.came))
    return Figure(f"forwarded from the record, QoS 1, {size:.0f} B", ours.rate, "1/s", bare.rate, ours.rate / bare.rate)


def stored(folder: Path, broker: Mosquitto) -> Figure:
    """The record of a guard's quiet six hours, scaled to a day; what the file system adds is the historian's figure."""
    running = Running(folder, broker, scan_s=0.0005, dt_s=1.0)
    begin_s = running.bench.now_s
    until(lambda: running.bench.now_s > begin_s + 6 * 3600.0, 180.0)
    span_s = running.bench.now_s - begin_s
    running.end_link()
    size = (folder / "state" / "record.db").stat().st_size
    running.close()
    return Figure("record, six signals", size / span_s * DAY_S / 1e6, "MB a day")


def measure() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with mosquitto(folder / "broker") as broker:
            found = outage(folder / "outage", broker)
            pairs = [(bare_rate(broker.port), our_rate(broker.port)) for _ in range(ROUNDS)]
            bare, ours = (statistics.median(column) for column in zip(*pairs, strict=True))
            found.append(Figure("publish rate, QoS 1, 200 B", ours, "1/s", bare, ours / bare))
            found.append(forwarding(folder / "forwarding", broker))
            found.append(stored(folder / "card", broker))
    return found


def main() -> None:
    for figure in measure():
        sys.stdout.write(json.dumps(figure._asdict()) + "\n")


if __name__ == "__main__":
    main()
