"""Lye: levels, losses, dilution, froth, and electrodes that fall dry."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.plant import BOATHOUSE, OFF, RUN30, cold_start, steady_state
from simulator.plant.sides import level, separator_mm

from .bench import disturbed, run, seen

STEADY = steady_state(BOATHOUSE)
HYDROGEN = BOATHOUSE.hydraulics.hydrogen


def test_both_sides_are_filled_to_the_same_height_well_above_the_separator() -> None:
    look = seen(cold_start(BOATHOUSE), OFF)
    assert look.level_h_mm == pytest.approx(look.level_o_mm)
    assert 150.0 < look.level_h_mm < 230.0  # between the floats
    assert look.mass_fraction == pytest.approx(0.25)
    assert 0.8 < look.gas_h_l < 1.0


@given(st.floats(0.0, 2e-3), st.floats(1e-7, 1e-4))
def test_more_lye_stands_higher(volume_m3: float, more_m3: float) -> None:
    level_mm = level(HYDROGEN, BOATHOUSE.cell)
    assert level_mm(volume_m3 + more_m3) > level_mm(volume_m3)


def test_level_zero_is_the_separator_s_top_edge_and_an_empty_side_stands_at_its_bottom() -> None:
    level_mm = level(HYDROGEN, BOATHOUSE.cell)
    assert separator_mm(BOATHOUSE.cell) == 110.0
    assert level_mm(0.0) == pytest.approx(-110.0)
    assert level_mm(HYDROGEN.stack_m3) == 0.0
    reservoir_m3 = HYDROGEN.stack_m3 + HYDROGEN.riser_m2 * HYDROGEN.reservoir_from_mm * 1e-3
    assert level_mm(reservoir_m3) == pytest.approx(HYDROGEN.reservoir_from_mm)
    assert level_mm(reservoir_m3 + HYDROGEN.reservoir_m2 * 0.1) == pytest.approx(HYDROGEN.reservoir_from_mm + 100.0)


def test_a_leak_reaches_the_floor_litre_for_litre() -> None:
    leak = disturbed(OFF, lye_leak_ml_s=2.0)
    state = run(STEADY, leak, 100.0)
    assert seen(state, leak).floor_l == pytest.approx(0.2, rel=0.01)
    assert seen(state, leak).level_h_mm < seen(STEADY, RUN30).level_h_mm - 15.0


def test_as_the_plates_fall_dry_volts_rise_to_the_supply_s_limit_and_the_current_goes() -> None:
    leak = disturbed(lye_leak_ml_s=10.0)
    looks = [seen(run(STEADY, leak, seconds), leak) for seconds in (100.0, 150.0, 160.0, 400.0)]
    assert [look.stack_voltage_v for look in looks] == sorted(look.stack_voltage_v for look in looks)
    assert looks[0].current_a == pytest.approx(30.0, abs=0.01)
    assert looks[-1].current_a < 0.01
    assert looks[1].level_h_mm < 0.0
    assert looks[1].h2_in_o2_percent > 1.0  # the separator is bare: gas goes over it
    assert looks[-1].floor_l < 2.1  # no more than there was


def test_coolant_in_the_lye_raises_both_levels_thins_it_and_at_last_runs_out_of_the_gas_line() -> None:
    holed = disturbed(coolant_into_lye_l_min=0.2)
    state = run(STEADY, holed, 120.0)
    look, first = seen(state, holed), seen(STEADY, RUN30)
    assert state.water_added_kg == pytest.approx(0.4, rel=1e-6)
    assert look.level_h_mm > first.level_h_mm + 35.0
    assert look.level_o_mm > first.level_o_mm + 35.0
    assert look.mass_fraction == pytest.approx(0.25 * 2.44 / 2.84, rel=0.01)
    later = seen(run(state, holed, 900.0), holed)
    assert later.liquid_in_gas_line == 1.0
    assert later.stack_voltage_v > look.stack_voltage_v


def test_the_top_up_pump_gives_fifty_millilitres_a_minute_and_needs_the_mains() -> None:
    pump = RUN30._replace(top_up_on=True)
    assert run(STEADY, pump, 60.0).water_added_kg == pytest.approx(0.0498, rel=1e-3)
    assert run(STEADY, pump._replace(mains=False), 60.0).water_added_kg == 0.0
    stuck = disturbed(water_into_lye_ml_s=1.0)
    assert run(STEADY, stuck, 60.0).water_added_kg == pytest.approx(0.06)


def test_unequal_seals_or_a_tilted_rig_leave_the_sides_unequal() -> None:
    tilted = disturbed(level_offset_mm=40.0)
    look = seen(run(STEADY, tilted, 3600.0, 1.0), tilted)
    assert look.level_o_mm - look.level_h_mm == pytest.approx(40.0, abs=3.0)


def test_a_blocked_equalising_line_keeps_them_as_they_are() -> None:
    blocked = disturbed(level_offset_mm=40.0, equalising=0.0)
    look = seen(run(STEADY, blocked, 600.0, 1.0), blocked)
    assert look.level_o_mm - look.level_h_mm == pytest.approx(
        seen(STEADY, RUN30).level_o_mm - seen(STEADY, RUN30).level_h_mm, abs=2.0
    )


def test_froth_lifts_the_level_costs_volts_and_collapses_at_a_stop() -> None:
    frothy = disturbed(froth=5.0)
    high = run(STEADY, frothy, 60.0)
    assert seen(high, frothy).level_h_mm > seen(STEADY, RUN30).level_h_mm + 10.0
    assert seen(high, frothy).stack_voltage_v > seen(STEADY, RUN30).stack_voltage_v
    stopped = disturbed(OFF, froth=5.0)
    assert seen(run(high, stopped, 40.0), stopped).level_h_mm < seen(STEADY, RUN30).level_h_mm


def test_enough_froth_carries_lye_into_the_gas_line() -> None:
    """Froth twenty times as lasting as bubbles, on lye that is topped up too high."""
    filled = run(STEADY, disturbed(water_into_lye_ml_s=10.0), 90.0)
    frothy = disturbed(froth=20.0)
    state = run(filled, frothy, 120.0)
    assert state.hydroxide_lost_kg > 1e-4
    assert state.water_lost_kg > 1e-3


def test_a_wrong_fluid_conducts_less_and_the_supply_runs_into_its_limit() -> None:
    wrong = disturbed(conductivity=0.05)
    look = seen(run(STEADY, wrong, 10.0), wrong)
    assert look.current_a < 10.0
    assert look.stack_voltage_v == pytest.approx(7.5, abs=0.01)


def test_lye_mixed_too_thin_costs_volts() -> None:
    thin = cold_start(BOATHOUSE, 20.0, mass_fraction=0.10)
    weak, right = (seen(run(s, RUN30._replace(setpoint_a=15.0), 60.0), RUN30) for s in (thin, cold_start(BOATHOUSE)))
    assert weak.stack_voltage_v > right.stack_voltage_v + 0.1
    assert weak.level_h_mm == pytest.approx(right.level_h_mm, abs=2.0)


def test_a_strength_beyond_what_is_known_is_refused() -> None:
    with pytest.raises(ValueError, match=r"from 0 to 0\.4"):
        cold_start(BOATHOUSE, 20.0, mass_fraction=0.5)
