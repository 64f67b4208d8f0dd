"""What the supply gives: held current, held volts, a drooping line; and thermal run-away, which nobody scripts."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.plant import BOATHOUSE, RUN30, Parameters, cold_start, steady_state
from simulator.plant.parameters import SupplyKind, SupplyParameters

from .bench import disturbed, run, seen

HELD_VOLTS = RUN30._replace(setpoint_a=60.0, setpoint_v=6.6)


@given(st.floats(0.5, 40.0))
@settings(max_examples=20, deadline=None)
def test_a_regulated_supply_gives_the_current_it_is_set_to(amps: float) -> None:
    state = run(steady_state(BOATHOUSE), RUN30._replace(setpoint_a=amps), 3.0)
    assert state.current_a == pytest.approx(amps, abs=1e-3)


def test_it_never_exceeds_its_voltage_setting() -> None:
    cold = RUN30._replace(setpoint_v=6.0)
    look = seen(run(cold_start(BOATHOUSE), cold, 10.0), cold)
    assert look.stack_voltage_v == pytest.approx(6.0, abs=0.01)
    assert 0.0 < look.current_a < 30.0


def test_it_drives_nothing_below_the_volts_that_the_films_hold() -> None:
    low = RUN30._replace(setpoint_v=4.0)
    assert run(steady_state(BOATHOUSE), low, 2.0).current_a == pytest.approx(0.0, abs=1e-6)


def test_current_starts_after_the_lag_and_rises_without_overshoot() -> None:
    start, lag_s = cold_start(BOATHOUSE), BOATHOUSE.supply.start_lag_s
    assert run(start, RUN30, lag_s - 0.05, 0.05).current_a == 0.0
    seen_a = [run(start, RUN30, lag_s + 0.1 * n, 0.05).current_a for n in range(1, 15)]
    assert seen_a == sorted(seen_a)
    assert seen_a[-1] == pytest.approx(30.0, abs=0.05)


def test_a_dip_of_the_mains_starts_the_lag_anew() -> None:
    dipped = run(steady_state(BOATHOUSE), disturbed(mains_lost=True), 0.2)
    assert dipped.current_a < 1.0
    back = run(dipped, RUN30, 0.2)
    assert back.current_a <= 0.0
    assert run(back, RUN30, 1.5).current_a == pytest.approx(30.0, abs=0.01)


def test_an_open_contactor_stops_the_current_at_once() -> None:
    for opened in (RUN30._replace(main_closed=False), RUN30._replace(second_closed=False)):
        assert run(steady_state(BOATHOUSE), opened, 0.1).current_a == 0.0


def test_a_path_left_past_open_contactors_carries_what_its_ohms_allow() -> None:
    past = disturbed(RUN30._replace(main_closed=False), path_past_contactors_s=0.5)
    look = seen(run(steady_state(BOATHOUSE), past, 2.0), past)
    assert look.current_a == pytest.approx((7.5 - look.stack_voltage_v) * 0.5, rel=0.01)


def test_a_supply_that_ignores_its_setting_gives_what_it_likes() -> None:
    forced = disturbed(RUN30._replace(setpoint_a=10.0), supply_forced_a=45.0, supply_forced_v=12.0)
    assert run(steady_state(BOATHOUSE), forced, 2.0).current_a == pytest.approx(45.0, abs=0.01)


def test_a_cut_out_that_returns_lets_the_current_come_back_by_itself() -> None:
    out = run(steady_state(BOATHOUSE), disturbed(supply_cut_out=True), 5.0)
    assert out.current_a < 0.0
    assert run(out, RUN30, 3.0).current_a == pytest.approx(30.0, abs=0.01)


def test_a_drooping_source_settles_on_its_line() -> None:
    welder = SupplyParameters(kind=SupplyKind.DROOPING, largest_a=200.0, largest_v=40.0)
    p: Parameters = replace(BOATHOUSE, supply=welder)
    knob = RUN30._replace(setpoint_a=40.0, setpoint_v=20.0)
    look = seen(run(cold_start(p), knob, 10.0, parameters=p), knob, p)
    assert look.current_a == pytest.approx(40.0 * (1.0 - look.stack_voltage_v / 20.0), rel=1e-3)
    assert look.current_a > 20.0


def test_at_constant_volts_current_and_temperature_drive_each_other_up_and_at_constant_current_they_do_not() -> None:
    uncooled = HELD_VOLTS._replace(coolant_open=False)
    looks, state = [], cold_start(BOATHOUSE)
    for _ in range(4):
        state = run(state, uncooled, 3600.0, 1.0)
        looks.append(seen(state, uncooled))
    rises_k = [b.cell_temperature_c - a.cell_temperature_c for a, b in pairwise(looks)]
    rises_a = [b.current_a - a.current_a for a, b in pairwise(looks)]
    assert rises_k == sorted(rises_k)  # ever faster, each hour
    assert rises_a == sorted(rises_a)
    assert looks[-1].current_a > 1.25 * 30.0
    assert looks[-1].cell_temperature_c > 90.0

    held = RUN30._replace(coolant_open=False)
    looks, state = [], cold_start(BOATHOUSE)
    for _ in range(4):
        state = run(state, held, 3600.0, 1.0)
        looks.append(seen(state, held))
    rises_k = [b.cell_temperature_c - a.cell_temperature_c for a, b in pairwise(looks)]
    assert rises_k == sorted(rises_k, reverse=True)  # ever slower


def test_with_its_coolant_the_same_bench_at_the_same_volts_settles() -> None:
    settled = seen(steady_state(BOATHOUSE, HELD_VOLTS), HELD_VOLTS)
    assert settled.cell_temperature_c < 75.0


def test_ripple_is_reported_as_a_share_of_the_mean() -> None:
    look = seen(steady_state(BOATHOUSE), RUN30)
    assert look.ripple_a == pytest.approx(0.03 * 30.0, rel=1e-6)
