"""The alarms as people are told of them: what the record's alarms are, with the words that belong to each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from controller.core.advice import UNKNOWN, advice
from controller.core.rig import Rig
from controller.core.trips import FINDINGS
from controller.link import messages as m
from controller.record import alarms
from controller.record.alarms import Alarm, Alarms, Priority
from controller.record.history import Act, History, StoredEvent

LOOKED_BACK = 5000  # events, at start: more than a bad month

_PRIORITY: Mapping[Priority, Literal["high", "medium", "low"]] = {
    Priority.HIGH: "high",
    Priority.MEDIUM: "medium",
    Priority.LOW: "low",
}


def happened(found: StoredEvent) -> alarms.Happened:
    return alarms.Happened(found.time_s, found.what, found.subject, found.seen, found.limit)


def did(act: Act) -> alarms.Happened:
    return alarms.Happened(act.time_s, act.what, act.alarm, until_s=act.until_s, who=act.who)


class Attention:
    """Follows the record. For one thread."""

    def __init__(self, rig: Rig) -> None:
        self._titles = {finding: found.title.capitalize() for finding, found in FINDINGS.items()}
        self._titles |= {s.name: s.title for s in rig.signals} | {x.name: x.title for x in rig.limits}
        self._sentences: dict[str, str] = {}
        self._alarms: Alarms = {}

    def catch_up(self, history: History) -> None:
        """At start."""
        events = list(reversed(history.newest_events(LOOKED_BACK)))
        oldest = events[0].number if events else 0
        merged = [(e.number, happened(e), e.sentence) for e in events]
        merged += [(a.number, did(a), "") for a in history.acts() if a.number > oldest]
        for _, what, sentence in sorted(merged, key=lambda one: one[0]):
            self.see(what, sentence)

    def see(self, what: alarms.Happened, sentence: str = "") -> None:
        if sentence and what.what in ("trip", "later_cause", "alarm", "signal_lost"):
            self._sentences[what.subject] = sentence
        self._alarms = alarms.step(self._alarms, what)

    def known(self, name: str) -> bool:
        return name in self._alarms

    def listed(self, now_s: float) -> list[m.AlarmNow]:
        """Worst first, shelved ones last. now_s: Unix time."""
        shelved = [a for a in self._alarms.values() if a.shelved_until_s > now_s]
        return [self._told(a, now_s) for a in (*alarms.listed(self._alarms, now_s), *shelved)]

    def _told(self, alarm: Alarm, now_s: float) -> m.AlarmNow:
        return m.AlarmNow(
            name=alarm.name,
            title=self._titles.get(alarm.name, alarm.name),
            sentence=self._sentences.get(alarm.name, "") + (" Chatters." if alarm.chattering(now_s) else ""),
            priority=_PRIORITY[alarm.priority],
            since_s=alarm.raised_s,
            standing=alarm.active,
            acknowledged=alarm.acknowledged,
            shelved_until_s=alarm.shelved_until_s if alarm.shelved_until_s > now_s else None,
            to_do="" if advice(alarm.name) is UNKNOWN else advice(alarm.name).to_do,
        )
