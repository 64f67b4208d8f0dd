"""The link's loop: frames and events from the guard to the broker, commands the other way.

It has no part in any decision. Without a broker it keeps emptying the guard's socket; without a guard it says so.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

from pydantic import ValidationError

from controller.chemistry import faraday
from controller.chemistry.constants import ROOM_C
from controller.core.frame import Frame, NotAFrame, unpack
from controller.core.rig import Rig
from controller.link import messages as m
from controller.link.broker import Address, Arrived, Broker
from controller.link.guard_end import GuardEnd, Told
from controller.link.senml import pack
from controller.link.tell import Teller, tell_event

ROUND_S = 0.05
EACH_S = 1.0
COMMAND_BYTES = 2048
COMMANDS_PER_ROUND = 4


class Link:
    """One rig's link. `round` is called again and again; everything between is its memory."""

    def __init__(self, rig: Rig, guard: GuardEnd, broker: Broker) -> None:
        self._rig = rig
        self._guard = guard
        self._broker = broker
        self._teller = Teller(rig)
        self._frame: Frame | None = None
        self._told_at_s = -1e9
        self._told_state: object = None
        self._boot = ""
        self._fetched = 0  # events taken from the guard
        self._waiting: dict[int, int] = {}  # message number -> event number, not yet acknowledged by the broker
        self._sent_events = 0
        self._number = 0
        self.bad_frames = 0
        self.refused_commands = 0

    def _topic(self, *parts: str) -> str:
        return m.topic(self._rig.name, *parts)

    def round(self, now_s: float) -> None:
        """One turn: take what has come, tell what is due. now_s: monotonic."""
        self._take_frames()
        self._commands()
        if self._broker.fresh:
            self._broker.fresh = False
            self._waiting.clear()
            self._fetched = self._sent_events  # what was in flight when the session broke is sent again
            here = m.Presence(rig=self._rig.name, present="here", time_s=time.time())
            self._broker.publish(self._topic("presence"), here.model_dump_json().encode(), qos=1, retain=True)
            self._told_at_s = -1e9
        frame = self._frame
        if frame is None:
            return
        changed = (frame.memory.sequence.state, frame.memory.latch.number) != self._told_state
        if changed or now_s - self._told_at_s >= EACH_S:
            self._told_state = (frame.memory.sequence.state, frame.memory.latch.number)
            self._told_at_s = now_s
            self._tell(frame)
            self._events()

    def _take_frames(self) -> None:
        while self._guard.frames:
            try:
                frame = unpack(self._rig, self._guard.frames.popleft())
            except NotAFrame:
                self.bad_frames += 1
                continue
            if frame.boot != self._boot:
                self._boot = frame.boot
                self._fetched = self._sent_events = 0
                self._waiting.clear()
            self._teller.see(frame)
            self._frame = frame

    def _tell(self, frame: Frame) -> None:
        state = self._teller.tell(frame, self._guard.status(), [])
        self._broker.publish(self._topic("state"), state.model_dump_json().encode(), retain=True)
        measured = list(zip(self._rig.signals, frame.memory.values, strict=True))
        records = pack(self._rig.name, frame.wall_s, measured)
        self._broker.publish(self._topic("measurements"), json.dumps(records, separators=(",", ":")).encode())
        for signal, value in measured:
            # plain numbers for simple panels; an empty text where there is nothing to believe
            text = "" if value.number is None else f"{value.number:.6g}"
            self._broker.publish(self._topic("value", signal.name.replace(" ", "-")), text.encode())

    def _events(self) -> None:
        """Fetch by number, send, and let the guard forget only what the broker has taken."""
        while self._broker.acknowledged:
            number = self._waiting.pop(self._broker.acknowledged.popleft(), 0)
            if number:
                self._sent_events = max(self._sent_events, number)
        if self._waiting:
            oldest = min(self._waiting.values())
            self._sent_events = min(self._sent_events, oldest - 1)
        if self._sent_events:
            self._guard.acknowledge(self._sent_events)
        if self._broker.room <= 0:
            return
        told, _lost = self._guard.events(self._fetched)
        for item in told:
            if not self._send_event(item):
                return

    def _send_event(self, told: Told) -> bool:
        event, time_s, synchronised = told
        message = tell_event(self._rig, self._boot, event, time_s, synchronised)
        mid = self._broker.publish(self._topic("events"), message.model_dump_json().encode(), qos=1)
        if mid is None:
            return False
        self._waiting[mid] = event.number
        self._fetched = event.number
        return True

    def _commands(self) -> None:
        for _ in range(COMMANDS_PER_ROUND):
            if not self._broker.arrived:
                return
            self._command(self._broker.arrived.popleft())

    def _command(self, arrived: Arrived) -> None:
        if len(arrived.payload) > COMMAND_BYTES:
            self.refused_commands += 1
            return
        try:
            ask = m.CommandAsk.model_validate_json(arrived.payload)
        except ValidationError:
            self.refused_commands += 1
            return
        try:
            answer = self._guard.ask(for_guard(ask, arrived.retained, self._rig.cells, arrived.payload))
        except ValueError as error:
            answer = {"accepted": False, "why": str(error)}
        if answer is None:
            answer = {"accepted": False, "why": "no guard answers"}
        self._number += 1
        reply = m.CommandReply(
            rig=self._rig.name,
            boot=self._boot,
            number=self._number,
            time_s=time.time(),
            clock_synchronised=self._frame.inputs.clock_synchronised if self._frame else False,
            id=ask.id,
            accepted=bool(answer["accepted"]),
            why=str(answer["why"]),
        )
        where = arrived.response_topic or self._topic("reply", ask.client)
        self._broker.publish(where, reply.model_dump_json().encode(), qos=1, correlation=arrived.correlation)


def for_guard(ask: m.CommandAsk, retained: bool, cells: int, payload: bytes) -> dict[str, object]:
    """What the guard is asked. A signed one is passed on as its text stands, so that the signature still fits."""
    if ask.signature:
        return {"signed": ask.signed, "key": ask.key, "signature": ask.signature, "retained": retained}
    message: dict[str, object] = {"do": ask.verb, "who": ask.client, "text": ask.text, "retained": retained}
    if ask.number is not None:
        message["number"] = ask.number
    if ask.hours is not None:
        message["seconds"] = ask.hours * 3600.0
    if ask.litres is not None:
        message["charge_c"] = float(faraday.charge_c(faraday.gas_mol(ask.litres, ROOM_C), cells))
    return message


def run(rig: Rig, socket_path: Path, address: Address, ended: Callable[[float], bool]) -> None:
    """Be the link until `ended(seconds)`, which waits so long, says so."""
    gone = m.Presence(rig=rig.name, present="gone")
    presence = m.topic(rig.name, "presence")
    broker = Broker(
        address,
        f"lyewatch-link-{rig.name}",
        presence,
        gone.model_dump_json().encode(),
        [m.topic(rig.name, "command")],
    )
    guard = GuardEnd(socket_path, ended)
    link = Link(rig, guard, broker)
    while not ended(ROUND_S):
        link.round(time.monotonic())
    guard.close()
    last = m.Presence(rig=rig.name, present="ended", time_s=time.time())
    broker.close(presence, last.model_dump_json().encode())
