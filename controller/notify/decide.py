"""Who is told what, and when: pure. What was heard and the time go in, messages come out.

A trip is always told, and at once. What can wait for the morning waits through the quiet hours. The same thing again
within ten minutes is counted, and told once as a number. Whatever says *now* and finds no answer goes to a second
person.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from controller.link.messages import CauseNow, StateNow
from controller.notify import texts
from controller.notify.texts import Text

SETTLE_S = 3.0  # a trip waits so long for the proof that power is off
LOST_S = 30.0  # a sensor that comes back sooner is not worth a message
REPEAT_S = 600.0
TREND_S = 30.0
UNANSWERED_S = 900.0
DIED_S = 10.0  # a will that comes with a quick restart is not worth a message
RATE, RATE_S = 8, 3600.0  # messages that can wait, of one rig in an hour; more are gathered
POWERED = frozenset({"checking", "ramping", "venting", "running", "stopping"})  # power flows, or is about to


@dataclass(frozen=True, slots=True)
class Rules:
    rigs: tuple[str, ...] = ()  # to be missed even if never heard
    silent_s: float = 180.0
    top_up_hours: float = 3.0
    quiet_from_min: int = 0  # minutes after midnight, local; equal: no quiet hours
    quiet_to_min: int = 0
    unanswered_s: float = UNANSWERED_S


class Time(NamedTuple):
    """Now."""

    mono_s: float
    local_min: int  # minutes after midnight where the people are


class Heard(NamedTuple):
    """Something a rig said."""

    rig: str
    state: StateNow | None = None
    live: bool = True  # False: retained, so it may be old
    presence: Literal["", "here", "gone", "ended"] = ""
    answered: bool = False  # somebody silenced the horn, reset, or acknowledged
    garbled: str = ""


class Send(NamedTuple):
    """A message on its way out."""

    to: Literal["first", "second"]
    text: Text


@dataclass(frozen=True, slots=True)
class Seen:
    """What is known of one rig."""

    heard_s: float  # when it last said something; the beginning of the watch before that
    state: StateNow | None = None
    died: bool = False  # its last will came
    over: bool = False  # it was stopped in order
    silent: bool = False  # told
    garbled: bool = False  # told
    trip: str = ""  # first-out, told or about to be
    trip_s: float = 0.0
    trip_told: bool = True
    lost: Mapping[str, float] = field(default_factory=dict)  # signal -> since
    lost_told: frozenset[str] = frozenset()
    top_up_told: bool = False
    warm: tuple[tuple[float, float], ...] = ()  # (time, lye temperature), a few of the last minute


class Item(NamedTuple):
    """A message before it is known whether it goes out."""

    rig: str
    key: str
    text: Text
    at_once: bool = False  # whatever the hour
    escalates: bool = False


class Sent(NamedTuple):
    at_s: float
    again: int = 0
    newest: Item | None = None


class Waiting(NamedTuple):
    """A message that says now, and was not answered yet."""

    rig: str
    text: Text
    due_s: float


@dataclass(frozen=True, slots=True)
class Memory:
    rigs: Mapping[str, Seen] = field(default_factory=dict)
    sent: Mapping[tuple[str, str], Sent] = field(default_factory=dict)
    rate: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    held: tuple[tuple[str, str, Text, int], ...] = ()  # rig, key, text, times
    unanswered: tuple[Waiting, ...] = ()


def begin(rules: Rules, now: Time) -> Memory:
    return Memory({rig: Seen(now.mono_s) for rig in rules.rigs})


def quiet(rules: Rules, local_min: int) -> bool:
    """Whether the hour is one in which people sleep; the hours may span midnight.

    >>> night = Rules(quiet_from_min=22 * 60, quiet_to_min=7 * 60)
    >>> quiet(night, 23 * 60), quiet(night, 6 * 60), quiet(night, 12 * 60), quiet(Rules(), 3 * 60)
    (True, True, False, False)
    """
    begin_min, end_min = rules.quiet_from_min, rules.quiet_to_min
    if begin_min <= end_min:
        return begin_min <= local_min < end_min
    return local_min >= begin_min or local_min < end_min


def decide(rules: Rules, memory: Memory, heard: Heard | None, now: Time) -> tuple[Memory, list[Send]]:
    """What to send. heard: None when only time has passed; call at least each few seconds."""
    items: list[Item] = []
    rigs = dict(memory.rigs)
    answered: set[str] = set()
    if heard is not None:
        seen = rigs.get(heard.rig, Seen(now.mono_s))
        seen, found = _take(rules, seen, heard, now)
        rigs[heard.rig] = seen
        items += found
        if heard.answered or (heard.state is not None and heard.live and not heard.state.causes):
            answered.add(heard.rig)
    for rig, seen in rigs.items():
        rigs[rig], found = _wait(rules, rig, seen, now)
        items += found
    memory = Memory(rigs, memory.sent, memory.rate, memory.held, memory.unanswered)
    return _offer(rules, memory, items, answered, now)


# -- what a rig says


def _take(rules: Rules, seen: Seen, heard: Heard, now: Time) -> tuple[Seen, list[Item]]:
    rig = heard.rig
    if heard.garbled:
        told = [] if seen.garbled else [Item(rig, "garbled", texts.not_understood(rig, heard.garbled), at_once=True)]
        return replace(seen, garbled=True), told
    if heard.presence:
        return replace(seen, died=heard.presence == "gone", over=heard.presence == "ended"), []
    state = heard.state
    if state is None:
        return seen, []
    if not heard.live:  # what it said to somebody else, some time ago
        return (seen if seen.state else replace(seen, state=state)), []
    items: list[Item] = []
    if seen.silent:
        items.append(Item(rig, "back", texts.back(state, now.mono_s - seen.heard_s), at_once=_at_once(seen.state)))
    new = replace(seen, heard_s=now.mono_s, state=state, died=False, over=False, silent=False, garbled=False)
    new = replace(new, warm=_warm(seen, state, now))
    new, lost = _sensors(rig, _trip(new, state, now), state, now)
    new, run = _run(rules, rig, seen, new, state)
    return new, [*items, *lost, *run]


def _warm(seen: Seen, state: StateNow, now: Time) -> tuple[tuple[float, float], ...]:
    lye = texts.temperature(state)
    if lye is None or lye.value is None:
        return ()
    if seen.warm and now.mono_s - seen.warm[-1][0] < 5.0:
        return seen.warm
    return (*(w for w in seen.warm if now.mono_s - w[0] <= 2.0 * TREND_S), (now.mono_s, lye.value))


def _before_c(seen: Seen, now: Time) -> float | None:
    """The temperature half a minute ago; None where that is not known."""
    older = [value for at_s, value in seen.warm if now.mono_s - at_s >= TREND_S]
    return older[-1] if older else None


def _trip(seen: Seen, state: StateNow, now: Time) -> Seen:
    """A new first-out, or one that has become a lock-out, is to be told."""
    if not state.causes:
        return replace(seen, trip="", trip_told=True)
    key = state.causes[0].name + (" locked out" if _worst(state).kind == "lock-out" else "")
    return seen if key == seen.trip else replace(seen, trip=key, trip_s=now.mono_s, trip_told=False)


def _worst(state: StateNow) -> CauseNow:
    """The cause to tell: the one that locked out, else the first."""
    return next((c for c in state.causes if c.kind == "lock-out"), state.causes[0])


def _sensors(rig: str, seen: Seen, state: StateNow, now: Time) -> tuple[Seen, list[Item]]:
    blind = {s.name: s for s in state.signals if s.value is None and s.status == "failure"}
    lost = {name: seen.lost.get(name, now.mono_s) for name in blind}
    tripped_by = " ".join(c.sentence for c in state.causes)
    told = seen.lost_told
    items: list[Item] = []
    before_c = _before_c(seen, now)
    for name, since_s in lost.items():
        if name not in told and now.mono_s - since_s >= LOST_S:
            told |= {name}
            if blind[name].title.lower() not in tripped_by.lower():  # else the trip has said it
                items.append(Item(rig, f"lost {name}", texts.sensor_lost(state, blind[name], before_c)))
    titles = {s.name: s.title for s in state.signals}
    for name in told - lost.keys():
        told -= {name}
        items.append(Item(rig, f"found {name}", texts.sensor_back(state, titles.get(name, name), before_c)))
    return replace(seen, lost=lost, lost_told=told), items


def _run(rules: Rules, rig: str, before: Seen, seen: Seen, state: StateNow) -> tuple[Seen, list[Item]]:
    """What became of a run, as far as it was watched."""
    last, items = before.state, []
    before_c = seen.warm[0][1] if len(seen.warm) > 1 else None
    if last is not None and not state.causes:
        if last.state in POWERED and state.state in ("cooling", "off"):
            items.append(Item(rig, "finished", texts.finished(state, before_c)))
        if state.gas.fit and not last.gas.fit:
            items.append(Item(rig, "gas fit", texts.gas_fit(state, before_c)))
    hours = state.run.hours_to_top_up
    due = hours is not None and hours <= rules.top_up_hours
    if due and not seen.top_up_told and hours is not None:
        items.append(Item(rig, "top-up", texts.top_up_due(state, hours, before_c)))
    if due or (hours is not None and hours > 2.0 * rules.top_up_hours):
        seen = replace(seen, top_up_told=due)
    return seen, items


# -- what time brings


def _at_once(last: StateNow | None) -> bool:
    """Whether silence is worth waking somebody: power was on, or it was not proven to be off."""
    if last is None:
        return False
    proven_off = last.proven.main_open is True or last.proven.current_zero is True
    return last.state in POWERED or not proven_off


def _wait(rules: Rules, rig: str, seen: Seen, now: Time) -> tuple[Seen, list[Item]]:
    items: list[Item] = []
    state = seen.state
    if not seen.trip_told and state is not None and state.causes:
        proof = state.proven.main_open is True and state.proven.current_zero is True
        if proof or now.mono_s - seen.trip_s >= SETTLE_S:
            seen = replace(seen, trip_told=True)
            cause = _worst(state)
            text = texts.trip(state, cause, _before_c(seen, now))
            items.append(Item(rig, f"trip {seen.trip}", text, at_once=True, escalates=text.urgency == "now"))
    silent_s = now.mono_s - seen.heard_s
    due = silent_s >= rules.silent_s or (seen.died and silent_s >= DIED_S)
    if due and not seen.silent:
        at_once = _at_once(state) and not seen.over
        text = (
            texts.ended(rig, state)
            if seen.over
            else texts.silent(rig, state, silent_s, seen.died, "now" if at_once else "morning")
        )
        items.append(Item(rig, "silent", text, at_once=at_once, escalates=at_once))
        seen = replace(seen, silent=True)
    return seen, items


# -- what goes out


def _offer(rules: Rules, memory: Memory, items: list[Item], answered: set[str], now: Time) -> tuple[Memory, list[Send]]:
    out: list[Send] = []
    rigs, sent, rate, held = dict(memory.rigs), dict(memory.sent), dict(memory.rate), list(memory.held)
    waiting = [w for w in memory.unanswered if w.rig not in answered]
    asleep = quiet(rules, now.local_min)

    def send_now(item: Item) -> None:
        sent[item.rig, item.key] = Sent(now.mono_s)
        rate[item.rig] = (*_recent(rate.get(item.rig, ()), now), now.mono_s)
        out.append(Send("first", item.text))
        if item.escalates:
            waiting.append(Waiting(item.rig, item.text, now.mono_s + rules.unanswered_s))

    for item in items:
        place = (item.rig, item.key)
        last = sent.get(place)
        if last is not None and now.mono_s - last.at_s < REPEAT_S and not item.key.startswith("trip"):
            sent[place] = last._replace(again=last.again + 1, newest=item)
            continue
        if not item.at_once and (asleep or not _room(rate.get(item.rig, ()), now)):
            held = _held(held, item)
            continue
        send_now(item)
    for place, last in list(sent.items()):
        if now.mono_s - last.at_s < REPEAT_S:
            continue
        del sent[place]
        if last.newest is None:
            continue
        seen = rigs[last.newest.rig]
        if last.newest.key == "silent" and seen.silent:
            rigs[last.newest.rig] = replace(seen, silent=False)  # to be told anew, with how long it is by then
        elif last.newest.key == "back" and last.newest.at_once and not seen.silent:
            send_now(last.newest)
        else:
            held = _held(held, last.newest, last.again)
    if held and not asleep:
        free = [h for h in held if _room(rate.get(h[0], ()), now)]
        if free:
            out.append(Send("first", texts.digest([(text, times) for _, _, text, times in free])))
            held = [h for h in held if h not in free]
    out += [
        Send("second", texts.unanswered(w.text, rules.unanswered_s / 60.0)) for w in waiting if now.mono_s >= w.due_s
    ]
    waiting = [w for w in waiting if now.mono_s < w.due_s]
    return Memory(rigs, sent, rate, tuple(held), tuple(waiting)), out


def _recent(times: tuple[float, ...], now: Time) -> tuple[float, ...]:
    return tuple(at_s for at_s in times if now.mono_s - at_s < RATE_S)


def _room(times: tuple[float, ...], now: Time) -> bool:
    return len(_recent(times, now)) < RATE


def _held(held: list[tuple[str, str, Text, int]], item: Item, times: int = 1) -> list[tuple[str, str, Text, int]]:
    """With one more; the same one again is counted, its newest text kept."""
    others = [h for h in held if h[:2] != (item.rig, item.key)]
    before = sum(h[3] for h in held if h[:2] == (item.rig, item.key))
    return [*others, (item.rig, item.key, item.text, before + times)]


__all__ = ["Heard", "Memory", "Rules", "Send", "Time", "begin", "decide", "quiet"]
