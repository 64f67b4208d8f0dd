"""A link that plays a scripted rig over a real broker: state, presence, history, command replies.

It stands in for guard and link where a test is about the page; it can fall silent, die, stand still, and refuse.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import queue
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from controller.link.described import describe, told, written
from controller.link.messages import (
    CommandAsk,
    CommandReply,
    EventNow,
    HistoryAsk,
    HistoryReply,
    LogEntry,
    Presence,
    StateNow,
    TrendLine,
    topic,
)
from tests.page.invented_rig import BOOT
from tests.page.scenes import SCENES

Scene = Callable[..., StateNow]


def _obeys(ask: CommandAsk) -> tuple[bool, str] | None:
    return True, f"{ask.verb}: done"


class PretendLink:
    """Publishes one scene a period. Change `scene` or `changes` and call `say` to publish at once."""

    def __init__(
        self,
        port: int,
        rig: str = "boathouse",
        scene: Scene = SCENES["running"],
        period_s: float = 1.0,
        silent: bool = False,
    ) -> None:
        self.rig, self.scene, self.period_s = rig, scene, period_s
        self.changes: dict[str, Any] = {}
        self.number = 0
        self.described = ""  # id of the description that stands on the broker
        self.boot = BOOT
        self.answer: Callable[[CommandAsk], tuple[bool, str] | None] = _obeys
        self.asked: queue.Queue[CommandAsk] = queue.Queue()
        self.logged: queue.Queue[LogEntry] = queue.Queue()
        self.frozen = silent
        self._ended = threading.Event()
        self._lock = threading.RLock()
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=f"pretend-{rig}-{time.monotonic_ns()}", protocol=mqtt.MQTTv5
        )
        self.client.will_set(topic(rig, "presence"), self._presence("gone"), qos=1, retain=True)
        self.client.on_connect = self._connected
        self.client.on_message = self._message
        self.client.reconnect_delay_set(1, 2)
        keep = Properties(PacketTypes.CONNECT)
        self.client.connect("127.0.0.1", port, keepalive=5, clean_start=True, properties=keep)
        self.client.loop_start()
        self._thread = threading.Thread(target=self._play, daemon=True)
        self._thread.start()

    def as_new(self) -> int:
        """Running, speaking, obeying; the number that it has said so under."""
        with self._lock:
            self.frozen, self.boot, self.answer = False, BOOT, _obeys
            self.asked, self.logged = queue.Queue(), queue.Queue()
            return self.show("running").number

    @property
    def ended(self) -> bool:
        return self._ended.is_set()

    def _presence(self, present: str) -> str:
        return Presence(rig=self.rig, present=present, time_s=time.time()).model_dump_json()

    def _connected(self, client: mqtt.Client, *_rest: object) -> None:
        client.subscribe([(topic(self.rig, part), 1) for part in ("command", "history/request", "logbook/add")])
        client.publish(topic(self.rig, "presence"), self._presence("here"), qos=1, retain=True)

    def _play(self) -> None:
        while not self._ended.wait(self.period_s):
            if not self.frozen:
                self.say()

    def say(self) -> StateNow:
        """Publishes the present scene now."""
        with self._lock:
            self.number += 1
            changes = {
                "rig": self.rig,
                "number": self.number,
                "challenge": f"c-{self.number}",
                "boot": self.boot,
            } | self.changes
            now = self.scene(time.time(), **changes)
            described = describe(now)
            if described.id != self.described:
                self.described = described.id
                where = topic(self.rig, "description")
                self.client.publish(where, described.model_dump_json(), qos=1, retain=True)
            self.client.publish(topic(self.rig, "state"), written(told(now, described.id)), qos=1, retain=True)
            return now

    def show(self, scene: str, **changes: Any) -> StateNow:
        with self._lock:
            self.scene, self.changes = SCENES[scene], changes
            return self.say()

    def event(self, what: str, sentence: str) -> None:
        message = EventNow(
            rig=self.rig,
            boot=self.boot,
            number=self.number,
            time_s=time.time(),
            clock_synchronised=True,
            what=what,
            subject="",
            detail="",
            source="guard",
            sentence=sentence,
        )
        self.client.publish(topic(self.rig, "events"), message.model_dump_json(), qos=1)

    def _message(self, client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        last = message.topic.removeprefix(topic(self.rig) + "/")
        if last == "command":
            ask = CommandAsk.model_validate_json(message.payload)
            self.asked.put(ask)
            said = self.answer(ask)
            if said is not None:
                reply = CommandReply(
                    rig=self.rig,
                    boot=self.boot,
                    number=self.number,
                    time_s=time.time(),
                    clock_synchronised=True,
                    id=ask.id,
                    accepted=said[0],
                    why=said[1],
                )
                client.publish(topic(self.rig, "reply", ask.client), reply.model_dump_json(), qos=1)
        elif last == "logbook/add":
            self.logged.put(LogEntry.model_validate_json(message.payload))
        elif message.properties is not None:
            ask_history = HistoryAsk.model_validate_json(message.payload)
            asked_with: Any = message.properties
            answer = Properties(PacketTypes.PUBLISH)
            answer.CorrelationData = asked_with.CorrelationData
            for reply_history in history(self.rig, ask_history):
                client.publish(asked_with.ResponseTopic, reply_history.model_dump_json(), qos=1, properties=answer)

    def die(self) -> None:
        """Ends as a killed process does: the broker sends the last will."""
        self._ended.set()
        self._thread.join()
        self.client.loop_stop()
        self.client._sock_close()

    def close(self) -> None:
        """Ends in order."""
        if self._ended.is_set():
            return
        self._ended.set()
        self._thread.join()
        if self.client.is_connected():
            sent = self.client.publish(topic(self.rig, "presence"), self._presence("ended"), qos=1, retain=True)
            sent.wait_for_publish(2)
        self.client.disconnect()
        self.client.loop_stop()


_LEVEL = {
    "cell_temperature": (48.0, 9.0, "C"),
    "current": (22.0, 4.0, "A"),
    "voltage": (6.3, 0.2, "V"),
    "coolant_flow": (0.6, 0.05, "L/min"),
    "room_hydrogen": (0.03, 0.02, "%"),
    "coolant_outlet": (30.0, 4.0, "C"),
}


def _wander(name: str, time_s: float) -> float | None:
    """An invented quantity: slow waves, the same for the same time, and a gap of one tenth each two hours."""
    if (time_s / 7200.0) % 1.0 > 0.9:
        return None
    middle, swing, _ = _LEVEL.get(name, (1.0, 0.1, ""))
    phase = int.from_bytes(hashlib.sha256(name.encode()).digest()[:2], "big") / 9000.0
    return round(middle + swing * (math.sin(time_s / 2600.0 + phase) + 0.25 * math.sin(time_s / 310.0)) / 1.25, 3)


def history(rig: str, ask: HistoryAsk) -> list[HistoryReply]:
    """What the historian would answer."""
    now_s = time.time()
    to_s = ask.to_s if ask.to_s is not None else now_s
    from_s = ask.from_s if ask.from_s is not None else to_s - 3600.0
    stamp: dict[str, Any] = {"rig": rig, "boot": BOOT, "number": 1, "time_s": now_s, "clock_synchronised": True}
    times = [from_s + (to_s - from_s) * i / (ask.points - 1) for i in range(ask.points)]
    events = [
        {
            "number": 398,
            "time_s": now_s - 2500.0,
            "what": "state",
            "subject": "running",
            "sentence": "Running: gas is fit to collect",
        },
        {
            "number": 401,
            "time_s": now_s - 1500.0,
            "what": "alarm",
            "subject": "lye warm",
            "sentence": "Lye warm: 60.2 C",
        },
        {
            "number": 404,
            "time_s": now_s - 95.0,
            "what": "trip",
            "subject": "coolant flow low",
            "sentence": "Trip: coolant flow low",
        },
    ]
    match ask.what:
        case "trend":
            lines = [
                TrendLine(
                    signal=s, unit=_LEVEL.get(s, (0, 0, ""))[2], time_s=times, value=[_wander(s, t) for t in times]
                )
                for s in ask.signals
            ]
            return [
                HistoryReply(**stamp, part=1, parts=2, trends=lines[:1], complete=True),
                HistoryReply(**stamp, part=2, parts=2, trends=lines[1:], complete=True),
            ]
        case "events":
            rows: list[dict[str, object]] = [dict(e) for e in events]
        case "logbook":
            rows = [
                {
                    "time_s": now_s - 86400.0,
                    "kind": "topped up",
                    "who": "Ada",
                    "number": 600.0,
                    "unit": "mL",
                    "side": "oxygen",
                    "text": "",
                },
                {
                    "time_s": now_s - 90000.0,
                    "kind": "density read",
                    "who": "Ada",
                    "number": 1.236,
                    "unit": "g/mL",
                    "side": "",
                    "text": "",
                },
            ]
        case "incidents":
            rows = [
                {
                    "name": "2026-trip-7",
                    "time_s": now_s - 95.0,
                    "title": "Coolant flow low",
                    "sentence": "Coolant flow was 0.04 L/min for 10 s.",
                },
                {
                    "name": "2026-trip-6",
                    "time_s": now_s - 6 * 86400.0,
                    "title": "Stop button",
                    "sentence": "Pressed at the rig.",
                },
            ]
        case "incident":
            begin_s = now_s - 155.0
            fine = [begin_s + 0.5 * i for i in range(240)]
            flow: list[float | None] = [0.62 if t < now_s - 105.0 else 0.04 for t in fine]
            amps: list[float | None] = [24.0 if t < now_s - 95.0 else 0.0 for t in fine]
            return [
                HistoryReply(
                    **stamp,
                    part=1,
                    parts=1,
                    rows=[dict(e) for e in events[-1:]],
                    trends=[
                        TrendLine(signal="coolant_flow", unit="L/min", time_s=fine, value=flow),
                        TrendLine(signal="current", unit="A", time_s=fine, value=amps),
                    ],
                )
            ]
    return [HistoryReply(**stamp, part=1, parts=1, rows=rows)]


def main() -> None:
    parser = argparse.ArgumentParser(description="play a scripted rig")
    parser.add_argument("--port", type=int, default=1883)
    parser.add_argument("--rig", default="boathouse")
    parser.add_argument("--scene", choices=sorted(SCENES), default="running")
    parser.add_argument("--simulated", action="store_true")
    asked = parser.parse_args()
    link = PretendLink(asked.port, asked.rig, SCENES[asked.scene])
    if asked.simulated:
        link.changes = {"simulated": True}
    for line in sys.stdin:  # a scene's name on a line changes it
        if line.strip() in SCENES:
            link.show(line.strip())
    link.close()


if __name__ == "__main__":
    main()
