"""Coil logic, seal-in and the watchdog relay, judged by when contacts move."""

from __future__ import annotations

import pytest

from simulator.boards.contactor import Contactor
from simulator.boards.power_path import PowerPath
from simulator.boards.watchdog_relay import WatchdogRelay

OPENS_S, CLOSES_S, HOLD_S = 0.04, 0.05, 1.0


def path(*, seal_in: bool = True, second: bool = True) -> PowerPath:
    return PowerPath(
        Contactor(OPENS_S, CLOSES_S),
        Contactor(OPENS_S, CLOSES_S) if second else None,
        WatchdogRelay(HOLD_S),
        seal_in,
    )


def beat(power: PowerPath, from_s: float, to_s: float, every_s: float = 0.1) -> None:
    level = False
    for number in range(round((to_s - from_s) / every_s)):
        level = not level
        power.drive("edge", level, from_s + number * every_s)


def closed_by_the_book(power: PowerPath) -> None:
    """Relay up, second closed, main sealed in by a pulse of 0.3 s. Ends at 1.0 s with edges until then."""
    beat(power, 0.0, 1.0)
    power.drive("second", True, 1.0)
    power.drive("main_hold", True, 1.0)
    power.drive("main_close", True, 1.0)
    power.drive("edge", True, 1.25)
    power.drive("main_close", False, 1.3)
    assert power.closed


def opened_at(power: PowerPath, name: str = "main") -> float:
    return next(change.at_s for change in reversed(power.trace) if change.name == name and not change.closed)


def test_the_main_contactor_stays_in_without_the_pulse_that_closed_it() -> None:
    power = path()
    closed_by_the_book(power)
    power.drive("edge", False, 1.5)
    power.advance(2.0)
    assert power.closed


def test_hold_alone_never_closes_it() -> None:
    power = path()
    beat(power, 0.0, 1.0)
    power.drive("main_hold", True, 1.0)
    power.advance(1.5)
    assert not power.main.path


def test_without_seal_in_hold_alone_does_close_it() -> None:
    power = path(seal_in=False)
    beat(power, 0.0, 1.0)
    power.drive("main_hold", True, 1.0)
    power.advance(1.5)
    assert power.main.path


@pytest.mark.parametrize("stuck", [False, True])
def test_a_pin_stuck_at_either_level_drops_the_relay_one_second_after_the_last_edge(stuck: bool) -> None:
    power = path()
    closed_by_the_book(power)
    power.drive("edge", stuck, 1.5)
    for at_s in (1.6, 1.7, 1.8, 1.9):  # no more changes, whatever is written
        power.advance(at_s)
    power.advance(4.0)
    assert opened_at(power, "watchdog") == pytest.approx(1.5 + HOLD_S)
    assert opened_at(power, "main") == pytest.approx(1.5 + HOLD_S + OPENS_S)
    assert opened_at(power, "second") == pytest.approx(1.5 + HOLD_S + OPENS_S)


def test_after_a_drop_new_edges_and_a_held_pin_do_not_close_it_again() -> None:
    """A process that was frozen and goes on: its pins still say hold."""
    power = path()
    closed_by_the_book(power)
    power.advance(4.0)
    beat(power, 4.0, 6.0)
    assert power.watchdog.closed
    assert not power.main.path
    assert power.second is not None
    assert power.second.path  # which is why it alone is no breaking means against a thawed process


def test_it_was_closed_only_once_in_all_that() -> None:
    power = path()
    closed_by_the_book(power)
    power.advance(4.0)
    beat(power, 4.0, 6.0)
    assert sum(change.name == "main" and change.closed for change in power.trace) == 1


@pytest.mark.parametrize("cause", ["chain", "mains", "hold"])
def test_stop_chain_mains_and_hold_each_open_it_in_its_opening_time(cause: str) -> None:
    power = path()
    closed_by_the_book(power)
    if cause == "chain":
        power.set_chain(False, 1.6)
    elif cause == "mains":
        power.set_mains(False, 1.6)
    else:
        power.drive("main_hold", False, 1.6)
    power.advance(1.7)
    assert opened_at(power) == pytest.approx(1.6 + OPENS_S)


def test_a_dip_shorter_than_the_armature_needs_changes_nothing() -> None:
    power = path()
    closed_by_the_book(power)
    power.drive("main_hold", False, 1.6)
    power.drive("main_hold", True, 1.62)
    power.advance(2.0)
    assert power.main.path


def test_a_dip_that_opened_it_is_not_undone_by_hold() -> None:
    power = path()
    closed_by_the_book(power)
    power.drive("main_hold", False, 1.6)
    power.drive("main_hold", True, 1.66)
    power.drive("edge", False, 1.9)
    power.advance(2.2)
    assert not power.main.path


def test_the_auxiliary_bounces_and_the_path_does_not() -> None:
    power = path()
    closed_by_the_book(power)
    assert sum(change.name == "main_contact" for change in power.trace) == 3
    assert sum(change.name == "main" for change in power.trace) == 1


def test_a_welded_main_is_broken_by_the_second() -> None:
    power = path()
    closed_by_the_book(power)
    power.main.set_fault("welded", 0.0, 1.5)
    power.drive("main_hold", False, 1.6)
    power.advance(1.8)
    assert power.closed
    assert power.main.auxiliary
    power.drive("second", False, 1.8)
    power.advance(2.0)
    assert not power.closed


@pytest.mark.parametrize(
    ("kind", "path_closed", "auxiliary"),
    [
        ("welded", True, True),
        ("one_pole_welded", True, False),
        ("auxiliary_closed", False, True),
        ("auxiliary_open", False, False),
        ("", False, False),
    ],
)
def test_each_fault_shows_its_own_pair_of_path_and_auxiliary_when_told_to_open(
    kind: str, path_closed: bool, auxiliary: bool
) -> None:
    """Case A30."""
    power = path()
    closed_by_the_book(power)
    power.main.set_fault(kind, 0.0, 1.5)
    power.drive("main_hold", False, 1.6)
    power.advance(2.0)
    assert (power.main.path, power.main.auxiliary) == (path_closed, auxiliary)


def test_a_contactor_that_will_not_close_stays_open() -> None:
    power = path()
    power.main.set_fault("will_not_close", 0.0, 0.0)
    beat(power, 0.0, 1.0)
    power.drive("main_hold", True, 1.0)
    power.drive("main_close", True, 1.0)
    power.advance(1.9)
    assert not power.main.path


def test_a_slow_one_takes_the_time_it_is_given() -> None:
    power = path()
    closed_by_the_book(power)
    power.main.set_fault("slow", 0.7, 1.5)
    power.drive("main_hold", False, 1.6)
    power.advance(3.0)
    assert opened_at(power) == pytest.approx(2.3)


def test_chatter_keeps_on_while_the_coil_is_on() -> None:
    power = path(seal_in=False)
    beat(power, 0.0, 1.0)
    power.drive("main_hold", True, 1.0)
    power.main.set_fault("chatter", 10.0, 1.0)
    power.advance(1.9)
    changes = sum(change.name == "main" for change in power.trace)
    assert 14 <= changes <= 18  # 10 Hz from 1.05 s to 1.90 s, two changes each
    power.drive("main_hold", False, 1.9)
    power.advance(10.0)
    assert not power.main.path


@pytest.mark.parametrize(("kind", "amount", "falls_s"), [("slow", 2.5, 4.0), ("welded", 0.0, None), ("dead", 0.0, 1.5)])
def test_the_watchdog_relay_fails_as_told(kind: str, amount: float, falls_s: float | None) -> None:
    power = path()
    closed_by_the_book(power)
    power.watchdog.set_fault(kind, amount, 1.5)
    power.drive("edge", False, 1.5)
    power.refresh(1.5)
    power.advance(20.0)
    if falls_s is None:
        assert power.watchdog.closed
    else:
        assert opened_at(power, "watchdog") == pytest.approx(falls_s)
