"""A real Mosquitto of a test's own, on a free loopback port, and a plain client to look at it from outside."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

PATIENCE_S = 90.0  # the machine may be busy; of a broken test alone is it the time that it takes


def until(reached: Callable[[], bool], at_most_s: float = PATIENCE_S, what: str = "") -> None:
    """Wait until it is so; fails the test when it never is. The bound only ends a broken test."""
    end_s = time.monotonic() + at_most_s
    pause = threading.Event()
    while not reached():
        assert time.monotonic() < end_s, f"never came: {what or reached}"
        pause.wait(0.02)


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


class Mosquitto:
    """The broker's process; `stop` and `start` again keep its port."""

    def __init__(self, folder: Path, settings: str = "allow_anonymous true\n", port: int | None = None) -> None:
        self.port = port or free_port()
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.settings = folder / "mosquitto.conf"
        self.settings.write_text(
            f"listener {self.port} 127.0.0.1\nmax_queued_messages 0\npersistence false\nuser root\n{settings}"
        )
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        log = open(self.folder / "mosquitto.log", "ab")  # noqa: SIM115 (the process keeps it)
        self._process = subprocess.Popen([program, "-c", str(self.settings)], stdout=log, stderr=log)
        log.close()
        until(self._answers, what=f"the broker on {self.port}")

    @property
    def runs(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def _answers(self) -> bool:
        with socket.socket() as probe:
            probe.settimeout(0.2)
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def send(self, number: int) -> None:
        """A signal: SIGSTOP makes a half-open connection, SIGCONT ends it."""
        assert self._process is not None
        os.kill(self._process.pid, number)

    def stop(self, number: int = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(10.0)
            self._process = None


@contextmanager
def mosquitto(folder: Path, settings: str = "allow_anonymous true\n") -> Iterator[Mosquitto]:
    broker = Mosquitto(folder, settings)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop(signal.SIGKILL)


class Onlooker:
    """A client that subscribes and keeps everything that came, in order."""

    def __init__(self, port: int, topics: str = "lyewatch/#") -> None:
        self.seen: list[tuple[str, bytes, bool]] = []
        self._topics = topics
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, f"onlooker-{free_port()}", protocol=mqtt.MQTTv5)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._subscribed.wait(PATIENCE_S)

    def _on_connect(self, client: mqtt.Client, *_: Any) -> None:
        client.subscribe(self._topics, qos=1)

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        self.seen.append((message.topic, bytes(message.payload), message.retain))

    def of(self, ending: str) -> list[Any]:
        """Every JSON message whose topic ends so."""
        return [json.loads(payload) for topic, payload, _ in list(self.seen) if topic.endswith(ending) and payload]

    def publish(
        self, topic: str, payload: str | bytes, retain: bool = False, response: str = "", correlation: bytes = b""
    ) -> None:
        properties = Properties(PacketTypes.PUBLISH)
        if response:
            properties.ResponseTopic = response
        if correlation:
            properties.CorrelationData = correlation
        sent = self._client.publish(topic, payload, qos=1, retain=retain, properties=properties)
        sent.wait_for_publish(PATIENCE_S)

    def throw(self, topic: str, payload: bytes) -> None:
        """Sent and not looked after."""
        self._client.publish(topic, payload)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
