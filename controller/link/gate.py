"""What comes by the command topics, before anybody acts on it: understood, in time, and not too often.

It decides nothing about power: the guard checks signature, challenge and policy again, and has the last word. This
keeps strangers from spending the guard's time, and sees to what is the link's own: the alarms and the logbook.
"""

from __future__ import annotations

import json
from collections import Counter, OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

from pydantic import ValidationError

from controller.chemistry import faraday
from controller.chemistry.constants import ROOM_C
from controller.guard.challenge import GOOD_FOR_S, Keys
from controller.guard.post import Bucket
from controller.link import messages as m
from controller.record.told import Deed

COMMAND_BYTES: Final = 4096  # the guard takes 2 kB of it
CLIENTS_KNOWN: Final = 64
ANSWERS_KEPT: Final = 200
REPEATED_WITHIN_S: Final = 120.0
# Buckets: so many at once, so many a second. A stop has its own, so that no flood can empty it.
EACH_CLIENT, ALL_CLIENTS, STOPS, LINES = (6.0, 1.0), (20.0, 5.0), (20.0, 5.0), (20.0, 0.1)
SHELVED_S: Final = 8 * 3600.0  # unless said otherwise
OWN_VERBS: Final = {"acknowledge": "acknowledged", "shelve": "shelved", "unshelve": "unshelved"}


class Refused(NamedTuple):
    """Why a message is not acted on. `ask` where it could be read, so that its sender can be told."""

    why: str
    ask: m.CommandAsk | None = None
    reply: m.CommandReply | None = None  # the answer given before, told again


@dataclass(slots=True)
class _Answered:
    at_s: float
    reply: m.CommandReply


class Gate:
    """One rig's. For the loop's thread; now_s is monotonic."""

    def __init__(self) -> None:
        self.refused: Counter[str] = Counter()
        self._each: OrderedDict[str, Bucket] = OrderedDict()
        self._all, self._stops, self._lines = Bucket(*ALL_CLIENTS), Bucket(*STOPS), Bucket(*LINES)
        self._answered: OrderedDict[tuple[str, str], _Answered] = OrderedDict()

    def refuse(self, why: str, ask: m.CommandAsk | None = None, reply: m.CommandReply | None = None) -> Refused:
        self.refused[why] += 1
        return Refused(why, ask, reply)

    def command(self, payload: bytes, retained: bool, now_s: float) -> m.CommandAsk | Refused:
        if len(payload) > COMMAND_BYTES:
            return self.refuse("oversized")
        try:
            ask = m.CommandAsk.model_validate_json(payload)
        except ValidationError:
            return self.refuse("malformed")
        if any(c in ask.client for c in "/+#\0") or len(ask.client) > 64 or len(ask.id) > 64:
            return self.refuse("malformed")
        if ask.verb == "stop":  # never refused as repeated: a button may send the same words each time
            return ask if self._stops.take(now_s) else self.refuse("too many", ask)
        if retained:
            return self.refuse("retained", ask)
        before = self._answered.get((ask.client, ask.id))
        if before is not None and now_s - before.at_s < REPEATED_WITHIN_S:
            return self.refuse("repeated", ask, before.reply)
        if not self._bucket(ask.client).take(now_s) or not self._all.take(now_s):
            return self.refuse("too many", ask)
        if not ask.signature:
            if ask.verb not in UNSIGNED:
                return self.refuse("unsigned", ask)
        elif said_in(ask.signed) != ask.verb:
            return self.refuse("malformed", ask)
        return ask

    def line(self, payload: bytes, retained: bool, now_s: float) -> m.LogEntry | Refused:
        if retained:
            return self.refuse("retained")
        if len(payload) > COMMAND_BYTES:
            return self.refuse("oversized")
        if not self._lines.take(now_s):
            return self.refuse("too many")
        try:
            return m.LogEntry.model_validate_json(payload)
        except ValidationError:
            return self.refuse("malformed")

    def answered(self, ask: m.CommandAsk, reply: m.CommandReply, now_s: float) -> None:
        self._answered[ask.client, ask.id] = _Answered(now_s, reply)
        while len(self._answered) > ANSWERS_KEPT:
            self._answered.popitem(last=False)

    def _bucket(self, client: str) -> Bucket:
        found = self._each.pop(client, None) or Bucket(*EACH_CLIENT)
        self._each[client] = found
        while len(self._each) > CLIENTS_KNOWN:
            self._each.popitem(last=False)
        return found


# What the guard takes from the link unsigned: less power, never more.
UNSIGNED: Final = frozenset({"stop", "disable"})
WHY: Final = {
    "retained": "a retained command is never obeyed",
    "repeated": "this was asked before, and answered",
    "too many": "too many at once: wait a few seconds",
    "unsigned": "needs the signature of a key enrolled at the rig (lyewatch enrol)",
    "oversized": f"longer than {COMMAND_BYTES} bytes",
    "malformed": "not understood",
}


def said_in(signed: str) -> str:
    """The verb of a signed text; empty where it has none."""
    try:
        found = json.loads(signed)
    except (ValueError, RecursionError):
        return ""
    verb = found.get("do") if isinstance(found, dict) else None
    return verb if isinstance(verb, str) else ""


def for_guard(ask: m.CommandAsk, retained: bool, cells: int) -> dict[str, object]:
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


class Told:
    """The challenges that were told lately, each good once: what is the link's own to do quotes one as well."""

    def __init__(self) -> None:
        self._told: OrderedDict[str, float] = OrderedDict()

    def add(self, challenge: str, now_s: float) -> None:
        if challenge and challenge not in self._told:
            self._told[challenge] = now_s
            while len(self._told) > 2 * GOOD_FOR_S:
                self._told.popitem(last=False)

    def take(self, challenge: str, now_s: float) -> str:
        """Empty when it was good, which it is no longer."""
        told_s = self._told.get(challenge)
        if told_s is None:
            return "quotes no challenge of this rig"
        if told_s < 0.0:
            return "the challenge was used before"
        self._told[challenge] = -1.0
        return "" if now_s - told_s < GOOD_FOR_S else "the challenge is too old: ask again"


class Alarms:
    """Acknowledging and shelving: no part of any decision, but not for strangers either."""

    def __init__(self, keys_in: Path, told: Told) -> None:
        self._folder, self._told = keys_in, told

    def asked(
        self, ask: m.CommandAsk, known: Callable[[str], bool], now_s: float, wall_s: float
    ) -> tuple[Deed | None, str]:
        """What is to be written down, or why not."""
        try:
            found: Any = json.loads(ask.signed)
            signature = bytes.fromhex(ask.signature)
        except (ValueError, RecursionError):
            return None, "the signed text is not understood"
        if why := Keys(self._folder).verify(ask.key, ask.signed, signature):  # read anew: one revoked is out at once
            return None, why
        if why := self._told.take(str(found.get("challenge", "")), now_s):
            return None, why
        alarm, who = str(found.get("subject", ""))[:120], str(found.get("who", ""))[:64]
        if not known(alarm):
            return None, f"there is no alarm {alarm!r}"
        seconds = found.get("seconds")
        for_s = float(seconds) if isinstance(seconds, int | float) and 0 < seconds < 1e9 else SHELVED_S
        what = OWN_VERBS[ask.verb]
        until_s = wall_s + for_s if what == "shelved" else None
        return Deed(what, alarm, who, until_s, str(found.get("text", ""))[:300]), ""
