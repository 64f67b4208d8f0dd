"""What asks for somebody's attention: after ISA-18.2 in spirit, small enough for one person and two alarms a month.

The core raises and clears alarms; here they get a priority, are acknowledged, shelved with an end, kept from
chattering, and counted against what the trade calls acceptable. Nothing of it touches a trip or the horn.

Figures: EEMUA 191 and ISA-18.2 (table of target values for one operator), from memory.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from enum import IntEnum
from typing import NamedTuple

from controller.core.advice import advice

DELAY_S = 2.0  # an alarm that clears sooner is counted, not told
OFF_DELAY_S = 60.0  # one that comes back sooner is the same one still
CHATTER, CHATTER_S = 3, 60.0  # raised so often within so long
STALE_S = 86400.0
SHELVED_AT_MOST_S = 7 * 86400.0
FLOOD, FLOOD_S = 10, 600.0  # more than so many in so long
# What is called acceptable for one operator: alarms a day on average, stale ones at a time, share of time in a flood.
ACCEPTABLE_A_DAY, MANAGEABLE_A_DAY = 150.0, 300.0
ACCEPTABLE_STALE = 5
ACCEPTABLE_FLOOD = 0.01


class Priority(IntEnum):
    LOW = 0
    MEDIUM = 1
    HIGH = 2


class Happened(NamedTuple):
    """An event, or what a person did, as the record has it. `what` in the guard's words, lower case."""

    time_s: float  # Unix time
    what: str
    subject: str
    seen: float | None = None
    limit: float | None = None
    until_s: float | None = None  # of shelving
    who: str = ""


class Alarm(NamedTuple):
    name: str
    priority: Priority
    raised_s: float
    latched: bool  # a trip: it stands until a reset
    active: bool = True
    cleared_s: float = 0.0
    acknowledged: bool = False
    shelved_until_s: float = 0.0
    raises: tuple[float, ...] = ()  # the last few times it was raised

    def told(self, now_s: float) -> bool:
        """Whether it is to be shown as asking for attention."""
        if self.shelved_until_s > now_s:
            return False
        if self.active:
            return now_s - self.raised_s >= DELAY_S or self.priority is Priority.HIGH
        return not self.acknowledged and self.cleared_s - self.raised_s >= DELAY_S

    def chattering(self, now_s: float) -> bool:
        return sum(now_s - at < CHATTER_S for at in self.raises) >= CHATTER

    def stale(self, now_s: float) -> bool:
        return self.active and now_s - self.raised_s >= STALE_S


Alarms = Mapping[str, Alarm]

_RAISES = {"trip": Priority.MEDIUM, "later_cause": Priority.LOW, "alarm": Priority.LOW, "signal_lost": Priority.MEDIUM}
_LATCHED = frozenset({"trip", "later_cause"})
_CLEARS = frozenset({"alarm_cleared", "signal_back"})


def priority(what: str, subject: str) -> Priority:
    """A trip that somebody must see to now is high; one that can wait for the morning is medium; a warning is a step
    below what it warns of."""
    base = _RAISES.get(what, Priority.LOW)
    if what != "signal_lost" and advice(subject).urgency == "now":
        return Priority(min(base + 1, Priority.HIGH))
    return base


def step(alarms: Alarms, event: Happened) -> Alarms:
    """The alarms after one more thing has happened, in the order of time."""
    name, at_s = event.subject, event.time_s
    known = alarms.get(name)
    if event.what in _RAISES:
        return {**alarms, name: _raised(known, event)}
    if event.what == "reset":  # a trip and all its later causes are over together
        over = {n: a._replace(active=False, cleared_s=at_s, acknowledged=True) for n, a in alarms.items() if a.latched}
        return {**alarms, **over}
    if known is None:
        return alarms
    if event.what in _CLEARS and known.active:
        return {**alarms, name: known._replace(active=False, cleared_s=at_s)}
    if event.what == "acknowledged":
        return {**alarms, name: known._replace(acknowledged=True)}
    if event.what == "shelved":
        until_s = min(event.until_s or at_s, at_s + SHELVED_AT_MOST_S)
        return {**alarms, name: known._replace(shelved_until_s=until_s)}
    if event.what == "unshelved":
        return {**alarms, name: known._replace(shelved_until_s=0.0)}
    return alarms


def _raised(known: Alarm | None, event: Happened) -> Alarm:
    at_s, rank = event.time_s, priority(event.what, event.subject)
    latched = event.what in _LATCHED
    if known is None:
        return Alarm(event.subject, rank, at_s, latched, raises=(at_s,))
    raises = (*known.raises[-9:], at_s)
    if known.active or at_s - known.cleared_s < OFF_DELAY_S:
        # the same one still: what was acknowledged stays so, unless it has become worse
        seen = known.acknowledged and rank <= known.priority
        worst = max(rank, known.priority)
        return known._replace(active=True, priority=worst, latched=latched, acknowledged=seen, raises=raises)
    return Alarm(known.name, rank, at_s, latched, shelved_until_s=known.shelved_until_s, raises=raises)


def after(events: Iterable[Happened]) -> Alarms:
    """The alarms after a whole record, oldest first."""
    alarms: Alarms = {}
    for event in events:
        alarms = step(alarms, event)
    return alarms


def listed(alarms: Alarms, now_s: float) -> list[Alarm]:
    """What to show: worst first, then the newest."""
    return sorted((a for a in alarms.values() if a.told(now_s)), key=lambda a: (-a.priority, -a.raised_s))


class Figures(NamedTuple):
    """How the alarms of some days compare with what is called acceptable."""

    a_day: float
    most_in_ten_minutes: int
    share_in_flood: float
    often: tuple[tuple[str, int], ...]  # the most frequent, with how often
    stale: tuple[str, ...]
    chattering: tuple[str, ...]
    wrong: tuple[str, ...]  # what is beyond acceptable, in words


def figures(events: Sequence[Happened], now_s: float, days: float = 30.0) -> Figures:
    begin_s = now_s - days * 86400.0
    raised = [e for e in events if e.what in _RAISES and e.time_s > begin_s]
    windows = Counter(int((e.time_s - begin_s) // FLOOD_S) for e in raised)
    alarms = after(events)
    stale = tuple(a.name for a in alarms.values() if a.stale(now_s))
    times: dict[str, list[float]] = {}
    for e in raised:
        times.setdefault(e.subject, []).append(e.time_s)
    chattering = tuple(
        name
        for name, at in times.items()
        if any(third - first < CHATTER_S for first, third in zip(at, at[CHATTER - 1 :], strict=False))
    )
    a_day = len(raised) / days
    in_flood = sum(count > FLOOD for count in windows.values()) / (days * 86400.0 / FLOOD_S)
    wrong = [f"{name} chatters: look at its delay and deadband" for name in chattering]
    if a_day > ACCEPTABLE_A_DAY:
        beyond = "more than anybody can follow" if a_day > MANAGEABLE_A_DAY else "too many to be read"
        wrong.append(f"{a_day:.0f} alarms a day: {beyond}")
    if len(stale) > ACCEPTABLE_STALE:
        wrong.append(f"{len(stale)} alarms stand for more than a day")
    if in_flood > ACCEPTABLE_FLOOD:
        wrong.append(f"{100 * in_flood:.0f} % of the time more than {FLOOD} alarms in ten minutes")
    often = tuple(Counter(e.subject for e in raised).most_common(10))
    return Figures(a_day, max(windows.values(), default=0), in_flood, often, stale, chattering, tuple(wrong))


class Harmless(NamedTuple):
    """A trip that hurt nobody: it was reset and the rig ran on, with nothing done to it."""

    cause: str
    times: int
    last_s: float
    why: str
    setting: str  # in the rig file, to look at


RAN_ON_S = 600.0
BARELY = 0.05  # of the limit
# Lines of the logbook that say something was put right.
_REPAIRS = frozenset({"topped up", "lye changed", "gasket", "separator", "additive", "cleaned"})
_RUNNING = frozenset({"ramping", "venting", "running"})


def harmless(events: Sequence[Happened], repairs: Sequence[tuple[float, str]], now_s: float) -> list[Harmless]:
    """Trips of this week that hurt nobody, the most frequent first. repairs: logbook lines, Unix time and kind.

    A trip that was caused by nothing gets bridged one day; the setting named is where to look first. It is a
    question, not a recommendation: a limit may well have saved somebody without a trace.
    """
    found: dict[str, list[Happened]] = {}
    week = [e for e in events if e.time_s > now_s - 7 * 86400.0]
    for at, trip in enumerate(week):
        if trip.what == "trip" and _ran_on(week[at + 1 :], trip, now_s, repairs):
            found.setdefault(trip.subject, []).append(trip)
    lists = [_told(cause, trips) for cause, trips in found.items()]
    return sorted(lists, key=lambda h: (-h.times, h.cause))


def _ran_on(later: Sequence[Happened], trip: Happened, now_s: float, repairs: Sequence[tuple[float, str]]) -> bool:
    """Whether it was reset, nothing was put right, and the rig then ran for a while without the same trip."""
    running_s: float | None = None
    for event in [*later, Happened(now_s, "now", "")]:
        if running_s is not None and event.time_s - running_s >= RAN_ON_S:
            return not any(trip.time_s < at_s < running_s and kind in _REPAIRS for at_s, kind in repairs)
        if event.what in {"trip", "later_cause"} and event.subject == trip.subject:
            return False
        if event.what == "state":
            if event.subject.lower() in _RUNNING:
                running_s = event.time_s if running_s is None else running_s
            else:
                running_s = None
    return False


def _told(cause: str, trips: Sequence[Happened]) -> Harmless:
    newest = trips[-1]
    seen, limit = newest.seen, newest.limit
    if seen is None or limit is None:
        why, key = "the signal was not seen, and came back", "grace_s, and the plug and the cable of its sensor"
    elif limit and abs(seen - limit) <= BARELY * abs(limit):
        why, key = f"{seen:g} against a limit of {limit:g}: barely beyond", "the threshold, and delay_s"
    else:
        why, key = f"{seen:g} against a limit of {limit:g}, and not for long", "delay_s"
    return Harmless(cause, len(trips), newest.time_s, why, f'[limits."{cause}"]: {key}')
