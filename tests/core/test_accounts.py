"""What is counted instead of measured: water, a level that rises, a lye that must warm, gas after suck-back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.core.accounts import hours_to_top_up, mass_percent, vapour_share, water_used_g
from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.limits import Arming, Effect, Limit
from controller.core.rig import Roles
from controller.core.sequence import State
from controller.core.signals import Code, Signal
from tests.core.bench import LIMITS, SIGNALS, Bench, rig

LEVEL = Signal("level", "Level", "mm", "level", 0.1, 0.0, 400.0)
PRESSURE = Signal("pressure", "Pressure", "mbar", "pressure", 0.1, -50.0, 150.0)
SUCK_BACK = Limit(
    "under-pressure", "Under-pressure", (6,), -5.0, False, Effect.ALARM, Arming.ALWAYS, deadband=2.0, delay_s=2.0
)
G_PER_H = 0.336 * 3 * 30  # three cells at 30 A, before vapour (Faraday; 0.336 g/Ah from published tables)


def running(usable_g: float = 100.0, **changes: Any) -> Bench:
    bench = Bench(rig(usable_water_g=usable_g, vent_charge_c=30.0, **changes))
    bench.start()
    return bench


# ---- water


@pytest.mark.parametrize(
    ("celsius", "kpa"), [(20.0, 2.339), (40.0, 7.384), (60.0, 19.946), (80.0, 47.414), (90.0, 70.182)]
)
def test_vapour_is_that_of_saturated_gas(celsius: float, kpa: float) -> None:
    """Pressures of saturated steam, IAPWS tables; 1.5 mol of gas for each mol of water split, at one atmosphere."""
    assert vapour_share(celsius) == pytest.approx(1.5 * kpa / (101.325 - kpa), rel=0.02)


def test_a_day_at_thirty_amperes_and_sixty_degrees_takes_a_litre() -> None:
    """0.73 L split and 0.26 L of vapour."""
    bench = running(10_000.0)
    bench.numbers["cell temperature"] = 60.0
    bench.run(2.0)
    before_g = water_used_g(bench.memory)
    bench.run(60.0)
    assert (water_used_g(bench.memory) - before_g) * 60.0 * 24.0 == pytest.approx(993.0, rel=0.01)


def test_hours_to_the_next_top_up_are_what_is_left_at_this_rate() -> None:
    bench = running(100.0)
    left_g = 100.0 - water_used_g(bench.memory)
    hours = hours_to_top_up(bench.rig, bench.memory)
    assert hours == pytest.approx(left_g / (G_PER_H * (1.0 + vapour_share(20.0))), rel=0.01)
    bench.ask(Verb.STOP)
    bench.until(lambda: not bench.memory.sequence.powered)
    assert hours_to_top_up(bench.rig, bench.memory) is None
    assert hours_to_top_up(rig(), Bench().memory) is None


def test_at_four_fifths_it_warns_and_at_the_end_it_stops_and_does_not_start_again() -> None:
    bench = running(1.5)
    bench.until(lambda: "water low" in bench.said(Happened.ALARM), 600.0)
    assert water_used_g(bench.memory) == pytest.approx(1.2, abs=0.02)
    assert bench.state is State.RUNNING
    bench.until(lambda: bench.state is not State.RUNNING, 600.0)
    assert bench.at(State.STOPPING)
    assert not bench.causes
    assert "water account" in bench.memory.run.ending
    bench.until(lambda: bench.state in (State.OFF, State.COOLING))
    refused = bench.ask(Verb.START)
    assert refused.what is Happened.REFUSED
    assert "topped-up" in refused.detail


def test_somebody_who_has_looked_begins_the_account_anew() -> None:
    bench = running(1.5)
    bench.until(lambda: bench.state is State.OFF, 900.0)
    assert bench.ask(Verb.TOPPED_UP, Source.LOCAL, number=0.001).what is Happened.ACCEPTED
    assert water_used_g(bench.memory) == pytest.approx(0.5, abs=0.03)
    assert bench.said(Happened.ALARM_CLEARED).count("water low") == 1
    bench.ask(Verb.TOPPED_UP)
    assert water_used_g(bench.memory) == 0.0
    bench.run(3.0)
    assert bench.ask(Verb.START).what is Happened.ACCEPTED


def test_what_was_used_outlives_the_process_with_the_latch() -> None:
    bench = running(100.0)
    bench.run(60.0)
    bench.ask(Verb.STOP)
    bench.until(lambda: not bench.memory.sequence.powered)
    assert bench.memory.run.water_g == 0.0
    used_g = bench.memory.latch.water_used_g
    assert used_g > 0.3
    again = Bench(bench.rig, latch=bench.memory.latch)
    assert water_used_g(again.memory) == used_g


@pytest.mark.parametrize("litres", [0.0, -1.0, float("nan"), float("inf")])
def test_litres_that_cannot_be_are_refused(litres: float) -> None:
    assert running().ask(Verb.TOPPED_UP, number=litres).what is Happened.REFUSED


def test_the_lye_gets_stronger_as_its_water_is_used() -> None:
    """600 g of hydroxide in 2400 g is 25 %; without 400 g of water it is 30 %."""
    filled = rig(usable_water_g=1000.0, lye_g=2400.0, hydroxide_g=600.0)
    memory = Bench(filled).memory
    assert mass_percent(filled, memory) == pytest.approx(25.0)
    used = memory._replace(latch=memory.latch._replace(water_used_g=400.0))
    assert mass_percent(filled, used) == pytest.approx(30.0)
    assert mass_percent(rig(), memory) is None


# ---- level, temperature, flow, suck-back


def leveled(usable_water_g: float = 0.0) -> Bench:
    roles = Roles(current=0, cell_temperature=1, level=6)
    bench = Bench(rig(signals=(*SIGNALS, LEVEL), roles=roles, vent_charge_c=30.0, usable_water_g=usable_water_g))
    bench.numbers["level"] = 200.0
    bench.start()
    bench.run(70.0)
    return bench


def test_a_level_that_rises_without_a_top_up_trips_and_shuts_the_water() -> None:
    bench = leveled()
    bench.numbers["level"] = 214.0
    bench.run(20.0)
    assert bench.state is State.RUNNING
    bench.numbers["level"] = 215.0
    took_s = bench.until(lambda: bench.state is State.TRIPPED)
    assert took_s == pytest.approx(5.0, abs=0.25)
    assert bench.causes == ["level rising"]
    bench.scan()
    assert not bench.outputs.coolant


def test_a_level_that_sinks_first_is_measured_from_its_lowest() -> None:
    bench = leveled()
    bench.numbers["level"] = 150.0
    bench.run(5.0)
    bench.numbers["level"] = 166.0
    bench.until(lambda: bench.causes == ["level rising"], 10.0)


def test_water_that_was_announced_may_raise_the_level_for_ten_minutes_and_nothing_may_after_that() -> None:
    bench = leveled(usable_water_g=1000.0)
    assert bench.ask(Verb.TOPPED_UP, number=0.2).what is Happened.ACCEPTED
    bench.numbers["level"] = 230.0
    bench.run(590.0)
    assert bench.state is State.RUNNING
    bench.run(20.0)  # what was poured in has become the level to measure from
    bench.numbers["level"] = 244.0
    bench.run(20.0)
    assert bench.state is State.RUNNING
    bench.numbers["level"] = 245.0
    assert bench.until(lambda: bench.causes == ["level rising"]) == pytest.approx(5.0, abs=0.25)


def test_a_splash_is_no_rise() -> None:
    bench = leveled()
    for _ in range(10):
        bench.numbers["level"] = 230.0
        bench.run(3.0)
        bench.numbers["level"] = 200.0
        bench.run(1.0)
    assert bench.state is State.RUNNING


@pytest.mark.parametrize(("to_c", "causes"), [(20.5, ["temperature does not follow"]), (23.0, [])])
def test_a_cold_cell_must_have_warmed_once_enough_current_went_through(to_c: float, causes: list[str]) -> None:
    bench = running(0.0, warm_charge_c=1500.0)
    bench.numbers["cell temperature"] = to_c
    bench.run(60.0)
    assert bench.memory.run.charge_c > 1500.0
    assert bench.causes == causes


@pytest.mark.parametrize(("to_c", "causes"), [(20.5, ["temperature does not follow"]), (23.0, [])])
@pytest.mark.parametrize("missed", [1, 3])
def test_a_temperature_missed_just_then_only_delays_the_question(missed: int, to_c: float, causes: list[str]) -> None:
    bench = running(0.0, warm_charge_c=1500.0)
    bench.numbers["cell temperature"] = to_c
    bench.until(lambda: bench.memory.run.charge_c > 1500.0 - 2.9)  # the charge of one scan at 30 A is 3 C
    bench.codes["cell temperature"] = Code.BAD_CHECKSUM
    bench.run(0.1 * missed)
    assert bench.memory.run.charge_c >= 1500.0
    assert bench.causes == []
    bench.codes.clear()
    bench.scan()
    assert bench.causes == causes


def test_a_cell_that_has_warmed_may_cool_again_in_the_same_run() -> None:
    bench = running(0.0, warm_charge_c=1500.0)
    bench.numbers["cell temperature"] = 23.0
    bench.run(60.0)
    bench.numbers["cell temperature"] = 20.5
    bench.run(60.0)
    assert bench.state is State.RUNNING


def test_a_cell_that_begins_warm_need_not_warm() -> None:
    bench = Bench(rig(warm_charge_c=1500.0, vent_charge_c=30.0))
    bench.numbers["cell temperature"] = 45.0
    bench.start()
    bench.run(80.0)
    assert bench.memory.run.charge_c > 1500.0
    assert bench.causes == []


def test_lost_flow_waits_for_less_while_nobody_sees_the_temperature() -> None:
    def trips_after_s(blind: bool) -> float:
        # the temperature has a grace of its own here, long enough not to come first
        limits = tuple(
            replace(x, delay_s=10.0) if x.name == "coolant flow low"
            else replace(x, grace_s=60.0) if x.name == "over-temperature" else x
            for x in LIMITS
        )  # fmt: skip
        signals = tuple(replace(s, window_scans=1200) for s in SIGNALS)
        bench = Bench(rig(limits=limits, signals=signals, vent_charge_c=30.0))
        bench.start()
        if blind:
            bench.codes["cell temperature"] = Code.ABSENT
            bench.run(3.0)
        bench.numbers["coolant flow"] = 0.1
        took_s = bench.until(lambda: bench.state is State.TRIPPED)
        assert bench.causes == ["coolant flow low"]
        return took_s

    assert trips_after_s(blind=False) == pytest.approx(10.0, abs=0.25)
    assert trips_after_s(blind=True) == pytest.approx(2.0, abs=0.25)


def test_gas_is_not_fit_after_air_or_water_was_drawn_in_until_it_has_vented_again() -> None:
    bench = Bench(rig(signals=(*SIGNALS, PRESSURE), limits=(*LIMITS, SUCK_BACK), vent_charge_c=300.0))
    bench.numbers["pressure"] = 2.0
    bench.start()
    bench.run(1.0)
    assert bench.outputs.collect
    bench.numbers["pressure"] = -6.0
    bench.until(lambda: not bench.outputs.collect, 3.0)
    assert bench.memory.run.gas_fit_since_s < 0.0
    bench.numbers["pressure"] = 2.0
    took_s = bench.until(lambda: bench.outputs.collect, 30.0)
    assert took_s == pytest.approx(300.0 / 30.0, abs=0.5)
