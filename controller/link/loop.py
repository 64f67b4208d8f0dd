"""The link's loop: frames and what is stored to the broker, commands the other way.

It has no part in any decision, and waits for nobody but the guard: what may wait for a card or a processor has a
thread of its own, the keeper and the answers.
"""

from __future__ import annotations

import hashlib
import json
import time
from pathlib import Path
from typing import Any, Final

from controller.core.frame import Frame, NotAFrame, unpack
from controller.core.rig import Rig
from controller.link import messages as m
from controller.link.answers import Answers, Question
from controller.link.broker import Arrived, Broker
from controller.link.clock import Clock, machine_boot
from controller.link.described import describe, told, written
from controller.link.gate import OWN_VERBS, WHY, Alarms, Gate, Refused, Told, for_guard
from controller.link.guard_end import GuardEnd
from controller.link.keeper import Keeper, Live
from controller.link.senml import pack
from controller.link.tell import Teller
from controller.record.logbook import Entry, WrongEntry

EACH_S: Final = 1.0
LINK_EACH_S: Final = 10.0
DESCRIBED_EACH_S: Final = 600.0  # retained: again only in case somebody has cleared it
SILENT_S: Final = 5.0  # no frame for so long: the guard is not there
LOOKED_AT_PER_ROUND: Final = 100  # what arrived: reading it is cheap
ASKED_PER_ROUND: Final = 3  # of the guard, stops aside: an answer takes a scan
STOPS_PER_ROUND: Final = 3
# A broker that has forgotten our session has forgotten everybody's: the others are given so long to come back before
# what is stored is sent. One that comes later sees the gap in the numbers, and asks the history for it.
COME_BACK_S: Final = 5.0
AGAIN_S: Final = 10.0  # what the broker refuses is offered again: somebody may mend the access list
LEFT_FOR_LIVE: Final = 6  # of what the session takes, whatever waits
PARTS_PER_ROUND: Final = 4


class Link:
    """One rig's link. `round` is called again and again; everything between is its memory."""

    def __init__(
        self,
        rig: Rig,
        guard: GuardEnd,
        broker: Broker,
        keeper: Keeper,
        answers: Answers,
        clock: Clock,
        keys_in: Path,
        durable: bool,
    ) -> None:
        self._rig, self._guard, self._broker, self._keeper = rig, guard, broker, keeper
        self._answers, self._clock, self._durable = answers, clock, durable
        self._teller = Teller(rig)
        self._gate, self._told = Gate(), Told()
        self._alarms = Alarms(keys_in, self._told)
        self._question_bucket = answers.bucket()
        self._frame: Frame | None = None
        self._heard_s: float | None = None  # monotonic: the guard's last frame, or the first round
        self._told_frame: Frame | None = None
        self._told_at_s = self._link_told_s = -1e9
        self._described, self._described_s = "", -1e9  # id of the description that was told, and when
        self._since_s = 0.0  # of the session, by the guard's clock
        self._denied_s = -1e9  # when the broker last refused what is stored
        self._told_state: object = None
        self._told_troubles: list[str] = []
        self._number = 0
        self._bad_frames = 0

    def _topic(self, *parts: str) -> str:
        return m.topic(self._rig.name, *parts)

    def round(self, now_s: float) -> None:
        """One turn: take what has come, tell what is due. now_s: monotonic."""
        self._stops(now_s)
        if self._take_frames() or self._heard_s is None:
            self._heard_s = now_s
        self._broker.beat(now_s)
        self._session()
        self._arrived(now_s)
        self._forward(now_s)
        troubles = self._troubles(now_s)
        frame = self._frame
        if frame is not None and frame is not self._told_frame:  # an old frame told anew would look live
            what = (frame.memory.sequence.state, frame.memory.latch.number)
            if what != self._told_state or now_s - self._told_at_s >= EACH_S:
                self._told_state, self._told_at_s, self._told_frame = what, now_s, frame
                self._tell(frame, troubles, now_s)
        if troubles != self._told_troubles or now_s - self._link_told_s >= LINK_EACH_S:
            self._told_troubles, self._link_told_s = troubles, now_s
            self._tell_link(troubles, now_s)

    # -- from the guard

    def _take_frames(self) -> bool:
        """Whether there were any."""
        some = bool(self._guard.frames)
        while self._guard.frames:
            try:
                frame = unpack(self._rig, self._guard.frames.popleft())
            except NotAFrame:
                self._bad_frames += 1
                continue
            self._clock.set(frame)
            self._teller.see(frame)
            self._keeper.measured.append(frame)
            self._frame = frame
        return some

    def _stamp(self) -> dict[str, Any]:
        return self._clock.stamp()

    def _troubles(self, now_s: float) -> list[str]:
        health = self._keeper.known.health
        found = [self._broker.trouble(now_s), health.trouble]
        if not self._durable:
            found.append("no folder for the record (--state-dir): it is in memory and ends with this link")
        if self._heard_s is not None and now_s - self._heard_s > SILENT_S:
            found.append("the guard says nothing: does it run?")
        if self._bad_frames and self._frame is None:
            found.append("the guard runs with another rig file: nothing it sends can be read")
        if lost := health.lost_events + self._keeper.known.lost_by_guard:
            found.append(f"{lost} events were given up for want of memory")
        return [text for text in found if text]

    # -- to the broker

    def _session(self) -> None:
        broker = self._broker
        if broker.fresh:
            broker.fresh = False
            if broker.forgotten:
                self._keeper.outbox.begin_again()
            here = m.Presence(rig=self._rig.name, present="here", time_s=time.time())
            broker.publish(self._topic("presence"), here.model_dump_json().encode(), qos=1, retain=True)
            self._told_at_s = self._link_told_s = self._described_s = -1e9
            self._since_s = self._clock.now().mono_s
        if broker.connected:
            self._keeper.live = Live(self._since_s, broker.alive_s)
        else:
            self._keeper.live = None

    def _forward(self, now_s: float) -> None:
        """What is stored, in order; before the rest of the window is left to what is live."""
        broker, outbox = self._broker, self._keeper.outbox
        for mid, good in broker.answered():
            if good:
                outbox.acknowledged(mid, now_s)
            elif outbox.refused(mid):
                self._denied_s = now_s
        for _ in range(min(PARTS_PER_ROUND, len(self._answers.parts))):
            part = self._answers.parts[0]
            if broker.connected and broker.publish(part.topic, part.payload, 1, correlation=part.correlation) is None:
                break  # no room now; without a session nobody waits for it any more
            self._answers.parts.popleft()
        while self._keeper.unstored and broker.room > LEFT_FOR_LIVE:
            item = self._keeper.unstored.popleft()
            broker.publish(item.topic, item.payload, qos=1)
        coming_back = broker.forgotten and now_s - broker.connected_s < COME_BACK_S
        if coming_back or now_s - self._denied_s < AGAIN_S:
            return
        outbox.send(lambda item: broker.publish(item.topic, item.payload, qos=1), broker.room - LEFT_FOR_LIVE)
        if outbox.waits:
            broker.wake_for_room()

    def _tell(self, frame: Frame, troubles: list[str], now_s: float) -> None:
        known = self._keeper.known
        status = self._guard.status()
        self._told.add(str(status.get("challenge", "")), now_s)
        state = self._teller.tell(frame, status, list(known.alarms), known.waiting, troubles)
        if now_s - self._described_s >= DESCRIBED_EACH_S:
            described = describe(state)
            self._described, self._described_s = described.id, now_s
            self._broker.publish(self._topic("description"), described.model_dump_json().encode(), qos=1, retain=True)
        self._broker.publish(self._topic("state"), written(told(state, self._described)), retain=True)
        measured = list(zip(self._rig.signals, frame.memory.values, strict=True))
        records = pack(self._rig.name, frame.wall_s, measured)
        self._broker.publish(self._topic("measurements"), json.dumps(records, separators=(",", ":")).encode())
        for signal, value in measured:
            # plain numbers for simple panels; an empty text where there is nothing to believe
            text = "" if value.number is None else f"{value.number:.6g}"
            self._broker.publish(self._topic("value", signal.name.replace(" ", "-")), text.encode())

    def _tell_link(self, troubles: list[str], now_s: float) -> None:
        known = self._keeper.known
        self._number += 1
        told = m.LinkNow(
            rig=self._rig.name,
            number=self._number,
            **self._stamp(),
            troubles=troubles,
            durable=self._durable,
            commands_heard=self._broker.heard(now_s),
            waiting=known.waiting,
            waiting_blocks=known.health.waiting_blocks,
            waiting_events=known.health.waiting_events,
            lost_blocks=known.health.lost_blocks,
            lost_events=known.health.lost_events + known.lost_by_guard,
            refused=dict(self._gate.refused) | ({"dropped": self._broker.dropped} if self._broker.dropped else {}),
            bad_frames=self._bad_frames,
            record_bytes=known.health.bytes_used,
            card=known.card,
            card_bytes_a_day=known.card_bytes_a_day,
            counters=dict(known.counters),
            memory_bytes=_resident_bytes(),
        )
        self._broker.publish(self._topic("link"), told.model_dump_json().encode(), retain=True)

    # -- from people

    def _stops(self, now_s: float) -> None:
        for _ in range(STOPS_PER_ROUND):
            if not self._broker.stops:
                return
            self._take(self._broker.stops.popleft(), now_s)

    def _arrived(self, now_s: float) -> None:
        asked = 0
        for _ in range(LOOKED_AT_PER_ROUND):
            if not self._broker.arrived or asked >= ASKED_PER_ROUND:
                return
            self._stops(now_s)
            asked += self._take(self._broker.arrived.popleft(), now_s)

    def _take(self, arrived: Arrived, now_s: float) -> bool:
        """Whether the guard was asked."""
        if arrived.topic == self._topic("command"):
            return self._command(arrived, now_s)
        if arrived.topic == self._topic("history", "request"):
            self._question(arrived, now_s)
        elif arrived.topic == self._topic("logbook", "add"):
            self._line(arrived, now_s)
        else:
            self._gate.refuse("unknown topic")
        return False

    def _command(self, arrived: Arrived, now_s: float) -> bool:
        ask = self._gate.command(arrived.payload, arrived.retained, now_s)
        if isinstance(ask, Refused):
            self._refused("command", ask)
            if ask.ask is not None and ask.why != "too many":  # a flood is not answered with a flood
                self._reply(arrived, ask.ask, ask.reply or self._made(ask.ask, False, WHY[ask.why]))
            return False
        if ask.verb in OWN_VERBS:
            accepted, why = self._about_alarm(ask, now_s)
        else:
            accepted, why = self._of_guard(ask, arrived.retained)
        reply = self._made(ask, accepted, why)
        self._gate.answered(ask, reply, now_s)
        self._reply(arrived, ask, reply)
        return ask.verb not in OWN_VERBS

    def _of_guard(self, ask: m.CommandAsk, retained: bool) -> tuple[bool, str]:
        try:
            answer = self._guard.ask(for_guard(ask, retained, self._rig.cells))
        except ValueError as error:
            return False, str(error)
        if answer is None:
            return False, "no guard answers"
        return bool(answer["accepted"]), str(answer["why"])

    def _about_alarm(self, ask: m.CommandAsk, now_s: float) -> tuple[bool, str]:
        known = {alarm.name for alarm in self._keeper.known.alarms}
        deed, why = self._alarms.asked(ask, known.__contains__, now_s, time.time())
        if deed is None:
            self._keeper.refused.append((ask.verb, why))
            self._gate.refused["signed"] += 1
            return False, why
        self._keeper.deeds.append(deed)
        return True, ""

    def _refused(self, what: str, refused: Refused) -> None:
        asked = f" {refused.ask.verb[:20]}" if refused.ask else ""
        self._keeper.refused.append((what + asked, f"refused as {refused.why}"))

    def _made(self, ask: m.CommandAsk, accepted: bool, why: str) -> m.CommandReply:
        self._number += 1
        stamp = self._stamp()
        return m.CommandReply(rig=self._rig.name, number=self._number, **stamp, id=ask.id, accepted=accepted, why=why)

    def _reply(self, arrived: Arrived, ask: m.CommandAsk, reply: m.CommandReply) -> None:
        where = self._where(arrived.response_topic) or self._topic("reply", ask.client)
        self._broker.publish(where, reply.model_dump_json().encode(), qos=1, correlation=arrived.correlation)

    def _where(self, response_topic: str) -> str:
        """Answers stay under this rig's own topics: nobody makes the link speak in another's name."""
        allowed = (self._topic("reply", ""), self._topic("history", "response", ""))
        good = response_topic.startswith(allowed) and not any(c in response_topic for c in "+#\0")
        return response_topic if good and len(response_topic) <= 200 else ""

    def _question(self, arrived: Arrived, now_s: float) -> None:
        where = self._where(arrived.response_topic)
        if arrived.retained or not where:
            self._refused("question", self._gate.refuse("retained" if arrived.retained else "no response topic"))
            return
        question = Question(arrived.payload, where, arrived.correlation[:64])
        if not self._question_bucket.take(now_s):
            self._gate.refuse("too many")
            self._answers.refuse(question, "too many questions at once: ask again in a few seconds")
        elif why := self._answers.ask(question):
            self._gate.refuse(why)
            self._answers.refuse(question, why)

    def _line(self, arrived: Arrived, now_s: float) -> None:
        said = self._gate.line(arrived.payload, arrived.retained, now_s)
        if isinstance(said, Refused):
            self._refused("logbook", said)
            return
        now = self._clock.now()
        # the broker may deliver twice: the same words within a minute are one line
        name = hashlib.sha256(arrived.payload + str(int(now_s // 60.0)).encode()).hexdigest()[:32]
        try:
            entry = Entry(
                name, said.kind, said.who, said.number, said.unit, said.side, said.text, said.time_s,
                machine_boot=machine_boot(), mono_s=now.mono_s, wall_s=now.wall_s, synchronised=now.synchronised,
            )  # fmt: skip
        except WrongEntry as error:
            self._gate.refuse("malformed")
            self._keeper.refused.append(("logbook", str(error)[:200]))
            return
        self._keeper.lines.append(entry)


def _resident_bytes() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096
