"""Water that a rig adds by itself: when a dose is given, when it ends, and everything that keeps the valve shut."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest

from controller.core.accounts import water_used_g
from controller.core.commands import Command, Verb
from controller.core.events import Happened
from controller.core.limits import Effect, Limit
from controller.core.outputs import Outputs
from controller.core.rig import Roles, TopUp
from controller.core.sequence import State
from controller.core.signals import Code, Reading, Signal
from controller.core.trips import Latch
from tests.core.bench import LIMITS, SIGNALS, Bench, rig

LEVEL = Signal("level", "Lye level", "mm", "level", 0.1, 0.0, 400.0, error=2.0)
NOT_HIGH = Signal("not high", "Lye not too high", "share", "switch", 0.1, 0.0, 1.0)
AT_LEVEL, AT_HIGH = 6, 7
HIGH = Limit("level high", "Lye high", (AT_HIGH,), 0.5, False, Effect.TRIP, delay_s=5.0, is_switch=True)
MM_PER_G = 0.1  # of this vessel
# 100 g in 20 s; an hour between two; three a day
DOSES = TopUp(
    level=AT_LEVEL, from_mm=190.0, to_mm=205.0, shows_mm=6.0, dose_g=100.0, g_per_s=5.0, pause_h=1.0, most_g=300.0,
    clear=(1, 2, len(LIMITS)),
)  # fmt: skip


class Vessel(Bench):
    """A bench whose level follows the valve. `arrives`: how much of what the valve gives comes in."""

    def __init__(self, top_up: TopUp | None = DOSES, used_g: float = 150.0, latch: Latch | None = None) -> None:
        made = rig(
            signals=(*SIGNALS, LEVEL, NOT_HIGH), limits=(*LIMITS, HIGH), usable_water_g=1000.0, vent_charge_c=30.0,
            top_up=top_up,
        )  # fmt: skip
        super().__init__(made, latch=latch or Latch(1, made.rig_hash, False, water_used_g=used_g))
        self.numbers["not high"] = 1.0
        self.level_mm, self.arrives, self.opened_s = 200.0, 1.0, 0.0

    def readings(self) -> tuple[Reading, ...]:
        self.numbers["level"] = self.level_mm
        return super().readings()

    def scan(self, *commands: Command, dt_s: float = 0.1) -> Outputs:
        if self.outputs.top_up:
            self.level_mm += self.arrives * DOSES.g_per_s * dt_s * MM_PER_G
            self.opened_s += dt_s
        return super().scan(*commands, dt_s=dt_s)

    def doses(self) -> float:
        """How many have been given, in whole or part."""
        return self.opened_s * DOSES.g_per_s / DOSES.dose_g


def low(top_up: TopUp | None = DOSES, used_g: float = 150.0) -> Vessel:
    """Running, and the level has sunk to where a dose is wanted."""
    vessel = Vessel(top_up, used_g)
    vessel.start()
    vessel.run(2.0)
    assert not vessel.outputs.top_up
    vessel.level_mm = 189.0
    return vessel


def hour(vessel: Bench) -> None:
    """An hour of running, in which no scan is needed: the guard's clock and the hours it has run move together."""
    latch = vessel.memory.latch
    vessel.memory = vessel.memory._replace(latch=latch._replace(running_h=latch.running_h + 1.0))


def test_a_dose_is_given_when_the_level_is_low_and_credited_once_the_level_has_shown_it() -> None:
    vessel = low()
    before_g = water_used_g(vessel.memory)
    vessel.until(lambda: vessel.outputs.top_up, 1.0)
    vessel.until(lambda: not vessel.outputs.top_up, 30.0)
    assert vessel.opened_s == pytest.approx(20.0, abs=0.3)
    vessel.run(1.0)
    assert "top-up" in vessel.said(Happened.NOTE)
    assert water_used_g(vessel.memory) == pytest.approx(before_g - 100.0, abs=1.0)
    assert not vessel.said(Happened.ALARM)
    vessel.run(300.0)
    assert vessel.doses() == pytest.approx(1.0, abs=0.02)
    assert vessel.state is State.RUNNING


def test_a_level_that_is_high_enough_gets_nothing() -> None:
    vessel = Vessel()
    vessel.start()
    vessel.level_mm = 190.1
    vessel.run(30.0)
    assert vessel.doses() == 0.0


def test_a_dose_ends_at_the_upper_mark() -> None:
    vessel = low()
    vessel.arrives = 3.0
    vessel.until(lambda: vessel.outputs.top_up, 1.0)
    vessel.until(lambda: not vessel.outputs.top_up, 30.0)
    assert vessel.level_mm == pytest.approx(205.0, abs=0.4)
    vessel.run(2.0)
    assert not vessel.said(Happened.ALARM)


def shut_within_a_scan(vessel: Vessel) -> None:
    vessel.scan()
    assert not vessel.outputs.top_up


def _unknown(vessel: Vessel) -> None:
    vessel.codes["level"] = Code.BUS_ERROR


def _forced(vessel: Vessel) -> None:
    vessel.codes["level"] = Code.FORCED


def _high(vessel: Vessel) -> None:
    vessel.numbers["not high"] = 0.0


def _splash_at_high(vessel: Vessel) -> None:
    vessel.numbers["not high"] = 0.9


def _float_low(vessel: Vessel) -> None:
    vessel.numbers["level hydrogen side"] = 0.0


def _float_blind(vessel: Vessel) -> None:
    vessel.codes["level oxygen side"] = Code.ABSENT


def _trip(vessel: Vessel) -> None:
    vessel.numbers["stop chain"] = 0.0


@pytest.mark.parametrize(
    "wrong", [_unknown, _forced, _high, _splash_at_high, _float_low, _float_blind, _trip], ids=lambda f: f.__name__
)
def test_anything_that_is_wrong_shuts_the_valve_in_the_same_scan_and_keeps_it_shut(
    wrong: Callable[[Vessel], None],
) -> None:
    vessel = low()
    vessel.until(lambda: vessel.outputs.top_up, 1.0)
    vessel.run(1.0)
    wrong(vessel)
    shut_within_a_scan(vessel)
    given = vessel.opened_s
    for _ in range(20):
        vessel.scan()
        assert not vessel.outputs.top_up
    assert vessel.opened_s == given


@pytest.mark.parametrize(
    "wrong", [_unknown, _forced, _high, _splash_at_high, _float_low, _float_blind], ids=lambda f: f.__name__
)
def test_nor_does_a_dose_begin_then(wrong: Callable[[Vessel], None]) -> None:
    vessel = low()
    vessel.level_mm = 200.0
    vessel.run(1.0)
    wrong(vessel)
    vessel.level_mm = 189.0
    vessel.run(5.0)
    assert vessel.doses() == 0.0


def test_only_in_running_and_not_while_the_first_gas_goes_to_the_vent() -> None:
    vessel = Vessel()
    vessel.rig = replace(vessel.rig, vent_charge_c=3000.0)
    vessel.level_mm = 180.0
    vessel.run(1.0)
    vessel.ask(Verb.START)
    while vessel.state is not State.RUNNING:
        vessel.scan()
        assert not vessel.outputs.top_up
    vessel.until(lambda: vessel.outputs.top_up, 1.0)
    vessel.ask(Verb.STOP)
    while not vessel.at(State.OFF):
        assert not vessel.outputs.top_up
        vessel.scan()


def test_an_hour_lies_between_two_doses_and_three_are_given_in_a_day() -> None:
    vessel = low(used_g=900.0)
    times_h: list[float] = []
    open_before = False
    for _ in range(40 * 60):  # forty hours, a minute of each scanned
        if vessel.outputs.top_up and not open_before:
            times_h.append(vessel.memory.latch.doses_h[-1])
        open_before = vessel.outputs.top_up
        vessel.level_mm = min(vessel.level_mm, 189.0) if not vessel.outputs.top_up else vessel.level_mm
        if vessel.memory.run.dose_number < 0 and vessel.memory.latch.doses_h:
            hour(vessel)
        vessel.run(1.0)
        if len(times_h) == 7:
            break
    gaps_h = [b - a for a, b in pairwise(times_h)]
    assert min(gaps_h) >= 1.0
    for at, first_h in enumerate(times_h[:-3]):
        assert times_h[at + 3] - first_h >= 24.0


@pytest.mark.parametrize(("used_g", "given"), [(99.0, 0.0), (101.0, 1.0)])
def test_never_more_goes_in_than_the_charge_has_used(used_g: float, given: float) -> None:
    """So a level that sinks because lye runs out is not fed."""
    vessel = low(used_g=used_g - 0.3)  # the start has used a little
    vessel.run(40.0)
    assert vessel.doses() == pytest.approx(given, abs=0.02)


@pytest.mark.parametrize("arrives", [0.0, 0.3])
def test_a_dose_that_does_not_show_is_an_alarm_and_the_last_until_somebody_has_seen_the_level(arrives: float) -> None:
    vessel = low(used_g=500.0)
    vessel.arrives = arrives
    vessel.until(lambda: bool(vessel.said(Happened.ALARM)), 90.0)
    assert vessel.said(Happened.ALARM) == ["top-up not seen"]
    told = next(e for e in vessel.events if e.subject == "top-up not seen")
    assert "can empty" in told.detail
    assert told.limit == 6.0
    assert water_used_g(vessel.memory) > 499.0  # nothing is credited
    for _ in range(5):
        hour(vessel)
        vessel.run(5.0)
    assert vessel.doses() == pytest.approx(1.0, abs=0.02)
    assert vessel.state is State.RUNNING  # the floats and the account still stand behind it
    vessel.ask(Verb.TOPPED_UP, number=0.1)
    assert vessel.said(Happened.ALARM_CLEARED) == ["top-up not seen"]
    vessel.arrives, vessel.level_mm = 1.0, 189.0
    vessel.run(30.0)
    assert vessel.doses() == pytest.approx(2.0, abs=0.05)


def test_a_dose_is_on_disk_before_the_valve_opens_and_a_guard_that_restarts_forgets_neither_dose_nor_alarm() -> None:
    vessel = low(used_g=500.0)
    vessel.latch_delay = lambda: False
    vessel.run(5.0)
    assert vessel.doses() == 0.0
    booked = vessel.memory.latch
    assert len(booked.doses_h) == 1
    vessel.latch_delay = lambda: True
    vessel.run(3.0)
    assert vessel.doses() > 0.0
    again = Vessel(latch=booked._replace(powered=False, dose_unseen=True))
    again.start()
    again.level_mm = 180.0
    again.run(30.0)
    assert again.doses() == 0.0
    again.ask(Verb.TOPPED_UP, number=0.1)
    again.run(30.0)
    assert again.doses() == 0.0  # it is not an hour yet
    hour(again)
    again.run(5.0)
    assert again.doses() > 0.0


def test_the_end_of_a_run_leaves_a_dose_booked_and_unjudged() -> None:
    vessel = low(used_g=500.0)
    vessel.arrives = 0.0
    vessel.until(lambda: vessel.outputs.top_up, 1.0)
    vessel.ask(Verb.STOP)
    vessel.run(100.0)
    assert not vessel.said(Happened.ALARM)
    assert len(vessel.memory.latch.doses_h) == 1
    assert vessel.memory.run.dose_number == -1


def test_a_rig_without_one_never_opens_it() -> None:
    vessel = low(top_up=None)
    vessel.run(30.0)
    assert vessel.doses() == 0.0


def test_a_dose_is_no_leak_into_the_lye() -> None:
    """The level rises by more than 15 mm in one dose, and only afterwards counts again."""
    vessel = Vessel(replace(DOSES, to_mm=230.0))
    vessel.rig = replace(vessel.rig, roles=Roles(current=0, cell_temperature=1, level=AT_LEVEL))
    vessel.start()
    vessel.run(70.0)
    vessel.level_mm, vessel.arrives = 189.0, 2.0
    vessel.run(40.0)
    assert vessel.doses() == pytest.approx(1.0, abs=0.02)
    assert not vessel.causes
    vessel.level_mm += 16.0
    vessel.run(6.0)
    assert vessel.causes == ["level rising"]
