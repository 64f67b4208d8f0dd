"""Gas: amounts, pressures, what goes to the wrong side, what comes back when the cell cools, what reaches the room."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.plant import BOATHOUSE, OFF, RUN30, State, cold_start, steady_state
from simulator.plant.rates import model
from simulator.plant.sides import GRAVITY_PER_MM, outflow

from .bench import disturbed, run, seen

STEADY = steady_state(BOATHOUSE)
SHUT_OFF = disturbed(OFF, outlet_h_open=0.0, outlet_o_open=0.0)


def rise(before: State, after: State) -> float:
    return seen(after, RUN30).pressure_h_mbar - seen(before, RUN30).pressure_h_mbar


def test_a_shut_hydrogen_outlet_rises_by_what_faraday_and_the_gas_law_say() -> None:
    blocked = disturbed(outlet_h_open=0.0, equalising=0.0)  # with the line open, lye gives way by a tenth of the gas
    one, two = run(STEADY, blocked, 1.0), run(STEADY, blocked, 2.0)
    look = seen(one, blocked)
    made_mol = 3 * 30.0 / (2 * 96485.332)  # in one second
    expected = made_mol * 8.31446 * (look.reservoir_h_c + 273.15) / (look.gas_h_l * 1e-3) / 100.0
    assert rise(one, two) == pytest.approx(expected, rel=0.03)
    assert 13.0 < rise(one, two) < 16.0


def test_the_trip_limit_of_30_mbar_is_reached_about_two_seconds_after_the_outlet_shuts() -> None:
    blocked = disturbed(outlet_h_open=0.0)
    assert seen(run(STEADY, blocked, 1.3), blocked).pressure_h_mbar < 30.0
    assert seen(run(STEADY, blocked, 2.3), blocked).pressure_h_mbar > 30.0


def test_surfacing_bubbles_lower_the_level_and_do_not_raise_the_pressure_of_a_shut_vessel() -> None:
    shut = disturbed(outlet_h_open=0.0, outlet_o_open=0.0)
    full = run(STEADY, shut, 1.0)
    settled = run(full, SHUT_OFF, 8.0)
    assert settled.bubbles_h_mol < 0.01 * full.bubbles_h_mol
    assert seen(full, shut).level_h_mm - seen(settled, SHUT_OFF).level_h_mm > 2.0
    # the current stopped within the step: what is left is a little vapour and lye finding its level
    assert abs(seen(settled, SHUT_OFF).pressure_h_mbar - seen(full, shut).pressure_h_mbar) < 1.5


def test_without_current_the_outflow_ends_at_once() -> None:
    stopped = run(STEADY, OFF, 1.0)
    later = run(stopped, OFF, 60.0)
    assert later.h2_vented_mol - stopped.h2_vented_mol < 1e-4  # against 0.028 mol in a minute under load


def test_a_slow_clog_raises_the_pressure_by_the_resistance_it_adds() -> None:
    half = disturbed(outlet_h_open=0.5)
    seal_mbar = 25.0 * 0.0980665
    free = seen(STEADY, RUN30).pressure_h_mbar - seal_mbar
    clogged = seen(run(STEADY, half, 60.0), half).pressure_h_mbar - seal_mbar
    assert clogged == pytest.approx(2.0 * free, rel=0.02)


def test_a_blocked_side_blows_through_the_separator_and_spoils_the_other_gas() -> None:
    blocked = disturbed(outlet_h_open=0.0)
    before, after = seen(run(STEADY, blocked, 3.0), blocked), seen(run(STEADY, blocked, 30.0), blocked)
    assert before.h2_in_o2_percent < 0.5
    assert after.h2_in_o2_percent > 4.0
    assert 60.0 < after.pressure_h_mbar - after.pressure_o_mbar < 110.0  # near the bubble point


def test_pressure_on_one_side_pushes_its_lye_to_the_other_until_gas_goes_over_the_bare_separator() -> None:
    blocked = disturbed(outlet_h_open=0.0)
    minute, long = seen(run(STEADY, blocked, 60.0), blocked), seen(run(STEADY, blocked, 900.0), blocked)
    first = seen(STEADY, RUN30)
    assert first.level_h_mm - minute.level_h_mm > 20.0
    assert minute.level_o_mm - first.level_o_mm > 20.0
    assert long.level_h_mm < 0.0  # below the separator's top edge
    assert long.pressure_h_mbar < minute.pressure_h_mbar


def test_thirty_millibars_hold_up_245_millimetres_of_lye_of_1_25() -> None:
    """Hydrostatics: 3000 Pa / (9.80665 m/s2 x 1250 kg/m3)."""
    assert pytest.approx(3000.0, rel=2e-3) == GRAVITY_PER_MM * 1250.0 * 245.0


def test_after_an_hour_levels_differ_by_what_the_pressures_hold_up() -> None:
    narrow = disturbed(outlet_h_open=0.12)
    state = run(STEADY, narrow, 3600.0, 1.0)
    at = model(BOATHOUSE).contents(state)
    difference_pa = at.gauge_h_pa - at.gauge_o_pa
    assert difference_pa > 1000.0
    assert at.still_o_mm - at.still_h_mm == pytest.approx(difference_pa / (9.80665e-3 * at.density_h), rel=0.03)


def test_hydrogen_is_twice_the_oxygen_by_amount() -> None:
    ran = run(STEADY, RUN30, 600.0)
    assert ran.h2_vented_mol / ran.o2_out_mol == pytest.approx(2.0, rel=0.01)  # crossover takes the rest


def test_gas_goes_to_the_store_only_while_collecting() -> None:
    collecting = RUN30._replace(collecting=True)
    vented, collected = run(STEADY, RUN30, 10.0), run(STEADY, collecting, 10.0)
    assert vented.h2_collected_mol == 0.0
    assert vented.h2_vented_mol > 0.0
    assert collected.h2_vented_mol == 0.0
    assert collected.h2_collected_mol == pytest.approx(vented.h2_vented_mol)


def test_a_full_store_pushes_back_only_while_collecting() -> None:
    full = disturbed(RUN30._replace(collecting=True), store_mbar=20.0)
    assert seen(run(STEADY, full, 20.0), full).pressure_h_mbar == pytest.approx(24.2, abs=0.5)
    vent = full._replace(collecting=False)
    assert seen(run(STEADY, vent, 20.0), vent).pressure_h_mbar < 5.0


@given(st.floats(2.0, 29.0), st.floats(0.5, 10.0))
@settings(max_examples=10, deadline=None)
def test_less_current_means_more_hydrogen_in_the_oxygen(amps: float, more_a: float) -> None:
    low, high = (RUN30._replace(setpoint_a=a) for a in (amps, amps + more_a))
    spoilt, better = (seen(run(STEADY, i, 900.0, 1.0), i).h2_in_o2_percent for i in (low, high))
    assert spoilt > better


def test_hydrogen_in_oxygen_goes_as_one_over_the_current() -> None:
    """0.3 % x 30 A / I: 1 % at about 9 A, 2 % at about 4.5 A."""
    for amps, percent in ((30.0, 0.3), (9.0, 1.0), (4.5, 2.0)):
        inputs = RUN30._replace(setpoint_a=amps)
        assert seen(run(STEADY, inputs, 5400.0, 1.0), inputs).h2_in_o2_percent == pytest.approx(percent, rel=0.1)


def test_a_torn_separator_mixes_both_gases_within_minutes() -> None:
    torn = disturbed(separator_torn=0.3)
    look = seen(run(STEADY, torn, 120.0), torn)
    assert look.h2_in_o2_percent > 4.0
    assert look.o2_in_h2_percent > 4.0


def test_the_first_gas_passes_through_the_explosive_range_and_air_is_gone_after_five_volumes() -> None:
    state = cold_start(BOATHOUSE)
    fractions = []
    for _ in range(12):
        state = run(state, RUN30, 30.0)
        fractions.append(seen(state, RUN30).hydrogen_fraction)
    assert fractions == sorted(fractions)
    assert fractions[0] < 0.75 < fractions[5]
    volumes = 3 * 30.0 * 360.0 / (2 * 96485.332) * 8.31446 * 295.0 / 101325.0 / (seen(state, RUN30).gas_h_l * 1e-3)
    assert fractions[-1] == pytest.approx(1.0 - 2.718281828**-volumes, abs=0.02)  # a stirred vessel


def test_a_cooling_cell_pulls_a_vacuum_up_to_what_its_seal_lifts_and_then_breathes_air() -> None:
    cooled = run(STEADY, OFF, 3 * 3600.0, 1.0)
    look = seen(cooled, OFF)
    assert look.pressure_h_mbar == pytest.approx(-100.0 * 0.0980665, abs=0.5)
    assert cooled.air_h_mol > 1e-3
    assert look.hydrogen_fraction < 0.95


def test_shut_tight_it_pulls_towards_minus_250_millibars() -> None:
    cooled = run(STEADY, SHUT_OFF, 14 * 3600.0, 1.0)
    look = seen(cooled, SHUT_OFF)
    # 62 C to 21 C with its vapour gone: gas law; cf. -250 mbar for a cell that cools from 60 C
    assert -320.0 < look.pressure_h_mbar < -180.0
    assert cooled.air_h_mol == pytest.approx(STEADY.air_h_mol, abs=1e-9)


def test_a_dry_seal_holds_no_pressure_and_lets_air_in() -> None:
    dry = disturbed(seal_h=0.0)
    look = seen(run(STEADY, dry, 20.0), dry)
    assert look.seal_h_mm == 0.0
    assert look.pressure_h_mbar < 2.0
    open_end = disturbed(OFF, seal_h=0.0)
    assert run(STEADY, open_end, 600.0).air_h_mol > 10 * run(STEADY, OFF, 600.0).air_h_mol


def test_seal_water_that_is_drawn_in_raises_the_level_and_thins_the_lye() -> None:
    sucked = disturbed(suck_back_ml_s=2.0)
    after = run(STEADY, sucked, 60.0)
    assert after.water_added_kg == pytest.approx(0.12)
    assert seen(after, sucked).level_h_mm > seen(STEADY, RUN30).level_h_mm + 10.0
    assert seen(after, sucked).mass_fraction < seen(STEADY, RUN30).mass_fraction


def test_a_vessel_shut_on_both_sides_bursts_a_hose_into_the_room() -> None:
    shut = disturbed(outlet_h_open=0.0, outlet_o_open=0.0)
    state = run(STEADY, shut, 90.0)
    assert seen(state, shut).pressure_h_mbar == pytest.approx(400.0, abs=10.0)
    assert state.h2_leaked_mol > 0.0
    assert seen(state, shut).room_h2_percent > 0.01


def test_a_leak_that_is_not_aired_fills_the_hood_by_a_tenth_of_a_percent_a_minute() -> None:
    leaking = disturbed(hydrogen_to_room=1.0, ventilation=0.0)
    state = run(STEADY, leaking, 60.0)
    later = run(state, leaking, 60.0)
    assert seen(later, leaking).room_h2_percent - seen(state, leaking).room_h2_percent == pytest.approx(0.1, abs=0.03)
    assert seen(later, leaking).air_flow_m3_h < 0.1


def test_the_fan_runs_up_and_down_in_seconds_and_needs_the_mains() -> None:
    on = seen(run(cold_start(BOATHOUSE), OFF, 10.0), OFF)
    assert on.air_flow_m3_h == pytest.approx(20.0, rel=0.01)
    assert seen(run(STEADY, OFF._replace(ventilation_on=False), 10.0), OFF).air_flow_m3_h < 0.2
    assert seen(run(STEADY, OFF._replace(mains=False), 10.0), OFF).air_flow_m3_h < 0.2


@given(
    st.floats(-20_000.0, 60_000.0), st.floats(-1e4, 1e5), st.floats(1e5, 1e8), st.floats(0.0, 1e-5), st.floats(0.0, 1.0)
)
def test_what_passes_a_seal_never_overshoots_it(
    gauge_pa: float, made_pa_s: float, pa_mol: float, bore: float, ahead_s: float
) -> None:
    out, back, burst = outflow(gauge_pa, made_pa_s, pa_mol, bore, 245.0, 981.0, 40_000.0, 5e-6, ahead_s)
    assert min(out, back, burst) >= 0.0
    assert out * back == 0.0
    shut_pa = gauge_pa + ahead_s * made_pa_s
    then_pa = shut_pa + ahead_s * pa_mol * (back - out - burst)
    tolerance = 1e-6 * (1.0 + abs(shut_pa))
    if out > 0.0:
        assert then_pa > 245.0 - tolerance
    if back > 0.0:
        assert then_pa < -981.0 + tolerance
