"""Priority, acknowledging, shelving with an end, chatter, stale ones, counts, and trips that hurt nobody."""

from __future__ import annotations

import pytest

from controller.record.alarms import (
    SHELVED_AT_MOST_S,
    Alarm,
    Happened,
    Priority,
    after,
    figures,
    harmless,
    listed,
    priority,
)

DAY_S = 86400.0
WARN = "coolant flow warn"


def names(events: list[Happened], now_s: float) -> list[str]:
    return [alarm.name for alarm in listed(after(events), now_s)]


@pytest.mark.parametrize(
    ("what", "subject", "rank"),
    [
        ("trip", "leak", Priority.HIGH),  # its advice says now
        ("trip", "over-temperature", Priority.MEDIUM),  # power is off, the morning is soon enough
        ("alarm", "coolant flow warn", Priority.LOW),
        ("alarm", "room hydrogen warn", Priority.MEDIUM),
        ("signal_lost", "lye temperature", Priority.MEDIUM),
        ("trip", "a cause nobody has heard of", Priority.HIGH),
    ],
)
def test_priority_follows_from_what_it_is_and_how_urgent_its_advice_is(what: str, subject: str, rank: Priority) -> None:
    assert priority(what, subject) is rank


def test_the_worst_comes_first_then_the_newest() -> None:
    events = [Happened(0, "alarm", WARN), Happened(1, "trip", "leak"), Happened(2, "alarm", "coolant outlet warn")]
    assert names(events, 100.0) == ["leak", "coolant outlet warn", WARN]


def test_an_alarm_is_told_once_it_has_lasted() -> None:
    events = [Happened(10.0, "alarm", WARN)]
    assert names(events, 11.9) == []
    assert names(events, 12.0) == [WARN]
    assert names([*events, Happened(11.0, "alarm_cleared", WARN)], 20.0) == []
    assert names([Happened(10.0, "trip", "leak")], 10.0) == ["leak"]  # but the worst are told at once


def test_one_that_cleared_unseen_stays_until_it_is_acknowledged() -> None:
    events = [Happened(0, "alarm", WARN), Happened(50, "alarm_cleared", WARN)]
    assert names(events, 100.0) == [WARN]
    assert names([*events, Happened(60, "acknowledged", WARN)], 100.0) == []


def test_a_chattering_alarm_is_one_alarm_and_its_acknowledging_holds() -> None:
    events = [Happened(0, "alarm", WARN), Happened(3, "acknowledged", WARN)]
    for nth in range(1, 5):
        events += [Happened(10.0 * nth, "alarm_cleared", WARN), Happened(10.0 * nth + 1, "alarm", WARN)]
    (alarm,) = listed(after(events), 42.0)
    assert alarm.acknowledged
    assert alarm.raised_s == 0
    assert alarm.chattering(42.0)
    assert not alarm.chattering(120.0)
    assert figures(events, 42.0).chattering == (WARN,)
    assert "chatters: look at its delay and deadband" in figures(events, 42.0).wrong[0]


def test_one_that_comes_back_later_is_new() -> None:
    events = [
        Happened(0, "alarm", WARN), Happened(3, "acknowledged", WARN),
        Happened(10, "alarm_cleared", WARN), Happened(500, "alarm", WARN),
    ]  # fmt: skip
    (alarm,) = listed(after(events), 510.0)
    assert (alarm.acknowledged, alarm.raised_s) == (False, 500)


def test_what_gets_worse_asks_again_though_it_was_acknowledged() -> None:
    events = [
        Happened(0, "alarm", "leak"),
        Happened(5, "acknowledged", "leak"),
        Happened(9, "trip", "leak"),
    ]
    (alarm,) = listed(after(events), 20.0)
    assert (alarm.priority, alarm.acknowledged) == (Priority.HIGH, False)


def test_shelving_ends_by_itself_and_is_never_for_long() -> None:
    events = [Happened(0, "alarm", WARN), Happened(10, "shelved", WARN, until_s=100.0)]
    assert names(events, 99.0) == []
    assert names(events, 100.0) == [WARN]
    assert names([*events, Happened(20, "unshelved", WARN)], 30.0) == [WARN]
    for_ever = [Happened(0, "alarm", WARN), Happened(10, "shelved", WARN, until_s=1e12)]
    assert names(for_ever, 10 + SHELVED_AT_MOST_S) == [WARN]


def test_a_reset_ends_a_trip_and_its_later_causes_but_not_a_warning() -> None:
    events = [
        Happened(0, "alarm", WARN), Happened(1, "trip", "leak"), Happened(2, "later_cause", "coolant flow low"),
        Happened(60, "reset", "leak"),
    ]  # fmt: skip
    assert names(events, 61.0) == [WARN]


def test_a_stale_alarm_is_counted() -> None:
    assert Alarm("x", Priority.LOW, 0.0, latched=False).stale(DAY_S)
    assert not Alarm("x", Priority.LOW, 0.0, latched=False).stale(DAY_S - 1)
    assert figures([Happened(0, "alarm", WARN)], DAY_S).stale == (WARN,)


def test_counts_are_judged_by_what_is_called_acceptable() -> None:
    """About 150 a day acceptable, 300 the most anybody can manage; a flood is more than ten in ten minutes."""
    quiet = [Happened(1000.0 * n, "alarm", f"a{n}") for n in range(60)]
    assert figures(quiet, 30 * DAY_S).wrong == ("60 alarms stand for more than a day",)
    busy = [
        e
        for n in range(200)
        for e in (Happened(432.0 * n, "alarm", f"a{n}"), Happened(432.0 * n + 9, "alarm_cleared", f"a{n}"))
    ]
    found = figures(busy, DAY_S, days=1.0)
    assert found.a_day == 199  # the first lies on the edge of the day
    assert found.wrong == ("199 alarms a day: too many to be read",)
    flood = [Happened(5000.0 + n, "alarm", "same") for n in range(12)]
    found = figures(flood, DAY_S, days=1.0)
    assert found.most_in_ten_minutes == 12
    assert found.often == (("same", 12),)
    assert found.share_in_flood == pytest.approx(600 / DAY_S)


def ran_on(at_s: float) -> list[Happened]:
    return [
        Happened(at_s + 60, "reset", "x"),
        Happened(at_s + 120, "state", "RAMPING"),
        Happened(at_s + 150, "state", "RUNNING"),
        Happened(at_s + 1000, "state", "STOPPING"),
    ]


NOW_S = 100 * DAY_S


def test_a_trip_that_was_reset_and_ran_on_hurt_nobody_and_names_a_setting() -> None:
    barely = Happened(NOW_S - DAY_S, "trip", "coolant flow low", seen=0.79, limit=0.8)
    blind = Happened(NOW_S - 2 * DAY_S, "trip", "level high")
    events = [blind, *ran_on(blind.time_s), barely, *ran_on(barely.time_s)]
    first, second = harmless(events, [], NOW_S)
    assert (first.cause, first.times, first.why) == (
        "coolant flow low",
        1,
        "0.79 against a limit of 0.8: barely beyond",
    )
    assert first.setting == '[limits."coolant flow low"]: the threshold, and delay_s'
    assert second.setting == '[limits."level high"]: grace_s, and the plug and the cable of its sensor'


def test_a_trip_is_not_harmless_when_something_was_put_right_or_it_came_back_or_nothing_ran() -> None:
    trip = Happened(NOW_S - DAY_S, "trip", "coolant flow low", seen=0.1, limit=0.8)
    assert len(harmless([trip, *ran_on(trip.time_s)], [], NOW_S)) == 1
    assert harmless([trip, *ran_on(trip.time_s)], [(trip.time_s + 100, "cleaned")], NOW_S) == []
    again = Happened(trip.time_s + 300, "trip", "coolant flow low", seen=0.1, limit=0.8)
    assert harmless([trip, *ran_on(trip.time_s)[:3], again], [], NOW_S) == []
    assert harmless([trip, *ran_on(trip.time_s)[:1]], [], NOW_S) == []
    old = trip._replace(time_s=NOW_S - 8 * DAY_S)
    assert harmless([old, *ran_on(old.time_s)], [], NOW_S) == []
