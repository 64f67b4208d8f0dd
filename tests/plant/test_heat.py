"""Temperatures: the reference point, and every way of losing the coolant."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.plant import BOATHOUSE, OFF, RUN30, cold_start, start, steady_state
from simulator.plant.rates import model
from simulator.plant.state import State

from .bench import disturbed, run, seen

STEADY = steady_state(BOATHOUSE)


def test_the_reference_point_is_where_the_bench_was_meant_to_stand() -> None:
    look = seen(STEADY, RUN30)
    assert look.current_a == pytest.approx(30.0, abs=1e-6)
    assert look.stack_voltage_v == pytest.approx(6.6, abs=0.05)
    assert look.cell_temperature_c == pytest.approx(62.0, abs=1.0)
    assert look.coolant_flow_l_min == pytest.approx(2.0, abs=1e-6)
    assert look.pressure_h_mbar < 10.0


def test_it_stays_there_for_an_hour() -> None:
    after = run(STEADY, RUN30, 3600.0)
    first, later = seen(STEADY, RUN30), seen(after, RUN30)
    assert later.cell_temperature_c == pytest.approx(first.cell_temperature_c, abs=0.3)
    assert later.stack_voltage_v == pytest.approx(first.stack_voltage_v, abs=0.01)
    assert later.pressure_h_mbar == pytest.approx(first.pressure_h_mbar, abs=0.1)
    assert later.h2_in_o2_percent == pytest.approx(first.h2_in_o2_percent, abs=0.01)
    assert later.coolant_outlet_c == pytest.approx(first.coolant_outlet_c, abs=0.02)
    # only the water goes, as charge and vapour ask: 30.2 g split in an hour, and a little more
    used_kg = STEADY.water_h_kg + STEADY.water_o_kg - after.water_h_kg - after.water_o_kg
    assert used_kg == pytest.approx(0.0302 + after.vapour_lost_kg, abs=2e-4)
    assert 1.0 < first.level_h_mm - later.level_h_mm < 6.0


def test_the_same_steady_state_is_reached_by_running_from_cold() -> None:
    warmed = cold_start(BOATHOUSE)
    for _ in range(12):  # twelve hours, topped up so that it is the same filling
        warmed = run(warmed, RUN30, 3540.0, 1.0)
        warmed = run(warmed, RUN30._replace(top_up_on=True), 39.0, 1.0)
        warmed = run(warmed, RUN30, 21.0, 1.0)
    warm, steady = seen(warmed, RUN30), seen(STEADY, RUN30)
    assert warm.cell_temperature_c == pytest.approx(steady.cell_temperature_c, abs=1.0)


@given(st.floats(2.0, 35.0), st.floats(0.0, 35.0))
@settings(max_examples=12, deadline=None)
def test_a_steady_state_stands_still_at_any_current_and_in_any_room(amps: float, ambient_c: float) -> None:
    inputs = RUN30._replace(setpoint_a=amps, ambient_c=ambient_c)
    before = steady_state(BOATHOUSE, inputs)
    after = run(before, inputs, 60.0)
    first, later = seen(before, inputs), seen(after, inputs)
    # the water that goes meanwhile, half a gram, is all that may show: a thousandth of what the lye can hold of heat
    assert later.cell_temperature_c == pytest.approx(first.cell_temperature_c, abs=0.005)
    assert later.stack_voltage_v == pytest.approx(first.stack_voltage_v, abs=2e-4)
    assert later.h2_in_o2_percent == pytest.approx(first.h2_in_o2_percent, rel=1e-3)
    assert later.mass_fraction == pytest.approx(BOATHOUSE.hydraulics.mass_fraction, abs=1e-4)
    assert first.mass_fraction == pytest.approx(BOATHOUSE.hydraulics.mass_fraction, abs=1e-12)


def test_a_bench_that_runs_away_is_steady_only_at_the_boiling_point() -> None:
    boiling = RUN30._replace(coolant_open=False, setpoint_a=60.0, setpoint_v=7.4)
    assert 105.0 < seen(steady_state(BOATHOUSE, boiling), boiling).cell_temperature_c < 116.0


def test_a_bench_that_does_not_settle_is_reported_with_its_temperature(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "SETTLED_K_S", -1.0)
    with pytest.raises(ValueError, match=r"nothing lasts under these inputs; the stack is at \d+ C"):
        steady_state(BOATHOUSE, RUN30._replace(setpoint_a=29.0))


def test_without_coolant_it_warms_by_a_quarter_to_a_third_of_a_degree_a_minute_and_passes_80_within_two_hours() -> None:
    lost = disturbed(coolant_supply=0.0)
    ten = seen(run(STEADY, lost, 600.0, 0.5), lost)
    assert 0.2 < (ten.cell_temperature_c - seen(STEADY, RUN30).cell_temperature_c) / 10.0 < 0.35
    assert ten.coolant_flow_l_min == pytest.approx(0.0, abs=1e-6)
    hour = seen(run(STEADY, lost, 3000.0, 0.5), lost)
    assert hour.cell_temperature_c < 80.0
    assert seen(run(STEADY, lost, 7200.0, 0.5), lost).cell_temperature_c > 80.0


def test_uncooled_for_hours_it_boils_and_stays_near_the_boiling_point_of_its_lye() -> None:
    """25 % KOH boils near 110 C (handbooks, from memory); the supply here is strong enough to get there."""
    away = disturbed(RUN30._replace(setpoint_a=60.0), coolant_supply=0.0, supply_forced_v=12.0)
    state = run(STEADY, away, 3600.0, 0.5)
    look = seen(state, away)
    assert 105.0 < look.cell_temperature_c < 116.0
    assert state.hydroxide_lost_kg > 0.001  # it froths lye out
    assert state.vapour_lost_kg > 0.02


@given(st.floats(0.05, 3.0), st.floats(0.05, 1.0))
@settings(max_examples=15, deadline=None)
def test_less_coolant_means_a_warmer_outlet(supply: float, more: float) -> None:
    looks = [seen(run(STEADY, disturbed(coolant_supply=s), 60.0, 0.5), RUN30) for s in (supply, supply + more)]
    assert looks[0].coolant_outlet_c > looks[1].coolant_outlet_c


@pytest.mark.parametrize(
    ("fault", "flow_l_min"),
    [
        ({"coolant_supply": 0.4}, 0.8),  # throttled, or the drain kinked
        ({"coolant_air": 1.0}, 0.0),  # air-locked
        ({"coolant_warmer_k": -15.0}, 0.0),  # frozen: inlet at 0 C
        ({"hose_off": 1.0}, 2.8),  # the meter reads high
        ({"coolant_warmer_k": 13.0}, 2.0),
    ],
)
def test_each_coolant_fault_shows_at_the_meter_as_it_would_and_warms_the_cell(
    fault: dict[str, Any], flow_l_min: float
) -> None:
    inputs = disturbed(**fault)
    look = seen(run(STEADY, inputs, 1200.0, 0.5), inputs)
    assert look.coolant_flow_l_min == pytest.approx(flow_l_min, abs=0.01)
    assert look.cell_temperature_c > seen(STEADY, RUN30).cell_temperature_c


def test_a_hose_that_is_off_puts_what_the_meter_counts_on_the_floor() -> None:
    off = disturbed(hose_off=1.0)
    start = run(STEADY, off, 5.0)
    later = run(start, off, 60.0)
    assert seen(later, off).floor_l - seen(start, off).floor_l == pytest.approx(2.8, rel=1e-3)
    assert seen(later, off).tray_mm == pytest.approx(1000.0 * later.floor_m3 / 0.1)


def test_a_hot_room_warms_the_cell_and_a_cold_one_cools_it() -> None:
    hot, cold = disturbed(ambient_warmer_k=20.0), disturbed(ambient_warmer_k=-25.0)
    here = seen(STEADY, RUN30).cell_temperature_c
    assert seen(run(STEADY, hot, 1800.0, 1.0), hot).cell_temperature_c > here + 0.5
    assert seen(run(STEADY, cold, 1800.0, 1.0), cold).cell_temperature_c < here - 0.5


def test_the_valve_opens_and_shuts_the_flow_within_seconds_and_needs_the_mains() -> None:
    def flow(state: State) -> float:
        return state.coolant_l_min

    assert flow(run(STEADY, OFF, 1.5)) < 0.1
    assert flow(run(cold_start(BOATHOUSE), OFF._replace(coolant_open=True), 2.0)) > 1.9
    assert flow(run(STEADY, disturbed(mains_lost=True), 2.0)) < 0.05


def test_heat_in_steady_state_is_what_the_volts_above_thermoneutral_make() -> None:
    numbers, _ = model(BOATHOUSE).rates(STEADY, RUN30, 0.1)
    rate = dict(zip(State._fields, numbers, strict=False))
    heat_w = rate["electrical_j"] - rate["reaction_j"]
    # E01's formula, Q = I (V - V_tn), with V_tn 1.475 V at 61 C (LeRoy 1980), for three cells
    assert heat_w == pytest.approx(30.0 * (rate["electrical_j"] / 30.0 - 3 * 1.475), abs=0.6)
    gone_w = rate["lost_j"] + rate["coolant_j"] + rate["latent_j"] + rate["carried_j"]
    assert gone_w == pytest.approx(heat_w, abs=3.0)  # the rest is the enthalpy of the water that was there
