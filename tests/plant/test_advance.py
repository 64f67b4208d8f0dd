"""The step: pure, stable, converging on what a general solver finds, and losing nothing."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simulator.plant import BOATHOUSE, MINIMAL, OFF, RUN30, Disturbances, Inputs, advance, cold_start, steady_state
from simulator.plant.ledger import balances

from .bench import derivative, packed, run, seen, unpacked

READY = cold_start(BOATHOUSE)._replace(supply_ready_s=BOATHOUSE.supply.start_lag_s)
CONSTANT_VOLTAGE = RUN30._replace(setpoint_a=60.0, setpoint_v=6.6)
WATCHED = {  # quantity: how far a step of 0.1 s may be from the exact answer after five minutes, in its own unit
    "cell_temperature_c": 5e-4,
    "stack_voltage_v": 1e-4,
    "pressure_h_mbar": 0.02,
    "pressure_o_mbar": 0.02,
    "level_h_mm": 0.02,
    "level_o_mm": 0.02,
    "h2_in_o2_percent": 1e-3,
    "coolant_outlet_c": 1e-3,
}

shares = st.floats(0.0, 1.0)
disturbances = st.builds(
    Disturbances,
    coolant_supply=st.floats(0.0, 3.0),
    coolant_air=shares,
    coolant_warmer_k=st.floats(-20.0, 30.0),
    hose_off=shares,
    coolant_into_lye_l_min=st.sampled_from([0.0, 0.1, 2.0]),
    lye_leak_ml_s=st.sampled_from([0.0, 0.5, 50.0]),
    level_offset_mm=st.floats(-100.0, 100.0),
    equalising=shares,
    froth=st.floats(1.0, 60.0),
    water_into_lye_ml_s=st.sampled_from([0.0, 1.0, 20.0]),
    top_up_supply=shares,
    conductivity=shares,
    outlet_h_open=shares,
    outlet_o_open=shares,
    seal_h=shares,
    seal_o=shares,
    store_mbar=st.floats(0.0, 100.0),
    suck_back_ml_s=st.sampled_from([0.0, 5.0]),
    separator_torn=shares,
    crossover=st.floats(0.0, 1000.0),
    hydrogen_to_room=shares,
    ventilation=shares,
    ambient_warmer_k=st.floats(-30.0, 30.0),
    cathode_activity=shares,
    wear_rate=st.floats(0.0, 1e4),
    joint_extra_ohm=st.sampled_from([(), (0.0, 0.02), (0.1, 0.1, 0.1, 0.1)]),
    odd_cell=st.integers(0, 2),
    cell_dry=shares,
    cell_short=shares,
    supply_forced_a=st.none() | st.floats(0.0, 120.0),
    supply_forced_v=st.none() | st.floats(0.0, 24.0),
    supply_cut_out=st.booleans(),
    supply_reversed=st.booleans(),
    mains_lost=st.booleans(),
    path_past_contactors_s=st.sampled_from([0.0, 0.5]),
)
any_inputs = st.builds(
    Inputs,
    main_closed=st.booleans(),
    second_closed=st.booleans(),
    supply_on=st.booleans(),
    setpoint_a=st.floats(0.0, 80.0),
    setpoint_v=st.floats(0.0, 12.0),
    coolant_open=st.booleans(),
    ventilation_on=st.booleans(),
    collecting=st.booleans(),
    top_up_on=st.booleans(),
    mains=st.booleans(),
    ambient_c=st.floats(-10.0, 45.0),
    coolant_inlet_c=st.floats(1.0, 35.0),
    disturbances=disturbances,
)


def test_the_same_state_and_inputs_give_the_same_next_state_and_are_left_alone() -> None:
    before = READY._replace()
    first, second = advance(BOATHOUSE, READY, RUN30, 0.1), advance(BOATHOUSE, READY, RUN30, 0.1)
    assert first == second
    assert before == READY
    assert first != READY


@pytest.mark.parametrize("dt_s", [0.0, -0.1, 1.01, math.nan])
def test_a_step_that_is_not_above_zero_and_at_most_a_second_is_refused(dt_s: float) -> None:
    with pytest.raises(ValueError, match="dt_s is"):
        advance(BOATHOUSE, READY, RUN30, dt_s)


@pytest.mark.parametrize("inputs", [RUN30, CONSTANT_VOLTAGE], ids=["constant current", "constant voltage"])
def test_the_step_agrees_with_a_general_solver_and_halving_it_halves_the_difference(inputs: Inputs) -> None:
    solved = solve_ivp(
        derivative(inputs), (0.0, 300.0), packed(READY), method="LSODA", rtol=1e-9, atol=1e-12, max_step=5.0
    )
    exact = seen(unpacked(solved.y[:, -1]), inputs)
    at_scan = seen(run(READY, inputs, 300.0, 0.1), inputs)
    halved = seen(run(READY, inputs, 300.0, 0.05), inputs)
    for name, allowed in WATCHED.items():
        error, half_error = (abs(getattr(s, name) - getattr(exact, name)) for s in (at_scan, halved))
        assert error < allowed, name
        assert half_error < 0.7 * error + 0.02 * allowed, name


def test_a_step_of_a_second_is_stable_and_close() -> None:
    scan, coarse = (seen(run(READY, RUN30, 300.0, dt_s), RUN30) for dt_s in (0.1, 1.0))
    assert coarse.cell_temperature_c == pytest.approx(scan.cell_temperature_c, abs=2e-3)
    assert coarse.pressure_h_mbar == pytest.approx(scan.pressure_h_mbar, abs=0.2)
    assert coarse.level_h_mm == pytest.approx(scan.level_h_mm, abs=0.1)


def test_every_balance_closes_over_a_day_of_runs_stops_and_top_ups() -> None:
    start = state = cold_start(BOATHOUSE)
    for second in range(86_400):
        minute = second // 60
        inputs = RUN30 if minute % 90 < 60 else OFF
        if minute % 180 < 2:
            inputs = inputs._replace(top_up_on=True, collecting=True)
        state = advance(BOATHOUSE, state, inputs, 1.0)
    assert state.made_c > 4e6  # it did run: 16 h of three cells at 30 A
    assert state.water_added_kg > 0.5
    assert state.air_in_mol != 0.0  # and breathed in as it cooled
    assert balances(BOATHOUSE, start, state).worst < 1e-9


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(any_inputs, st.sampled_from([0.1, 1.0])), min_size=1, max_size=4), st.booleans())
def test_under_any_mix_of_faults_all_stays_finite_nothing_goes_negative_and_balances_close(
    pieces: list[tuple[Inputs, float]], hot: bool
) -> None:
    start = state = steady_state(BOATHOUSE) if hot else cold_start(BOATHOUSE)
    for inputs, dt_s in pieces:
        state = run(state, inputs, 120 * dt_s, dt_s)
        numbers = [*state[:-1], *state.film_c]
        assert all(math.isfinite(x) for x in numbers)
        look: dict[str, Any] = seen(state, inputs)._asdict()
        assert all(math.isfinite(x) for name, x in look.items() if name != "cell_v")
        for name in (*STOCKS, *LOOKED_AT):
            assert (getattr(state, name) if name in STOCKS else look[name]) >= -1e-12, name  # rounding at the very last
        assert -30.0 < look["cell_temperature_c"] < 200.0
        assert look["room_h2_percent"] <= 100.0
        assert look["pressure_h_mbar"] > -1000.0
    assert balances(BOATHOUSE, start, state).worst < 1e-9


STOCKS = (
    *("water_h_kg", "water_o_kg", "hydroxide_h_kg", "hydroxide_o_kg", "bubbles_h_mol", "bubbles_o_mol", "room_h2"),
    *("h2_h_mol", "o2_h_mol", "air_h_mol", "vapour_h_mol", "h2_o_mol", "o2_o_mol", "air_o_mol", "vapour_o_mol"),
    *("fan", "floor_m3", "coolant_l_min"),
)
LOOKED_AT = ("h2_in_o2_percent", "o2_in_h2_percent", "hydrogen_fraction", "gas_h_l")


@settings(max_examples=25, deadline=None)
@given(disturbances.map(lambda d: d._replace(path_past_contactors_s=0.0)), st.booleans())
def test_with_a_contactor_open_no_fault_makes_current_or_gas(faults: Disturbances, main: bool) -> None:
    inputs = Inputs(main_closed=main, second_closed=not main, disturbances=faults)
    before = steady_state(BOATHOUSE)
    after = run(before, inputs, 20.0, 0.5)
    assert after.current_a == 0.0
    assert after.made_c == before.made_c
    assert after.charge_c == before.charge_c


def test_a_bench_left_off_at_room_temperature_stays_as_it_is() -> None:
    start = cold_start(BOATHOUSE)
    later = seen(run(start, OFF, 3600.0, 1.0), OFF)
    first = seen(start, OFF)
    assert later.current_a == later.stack_voltage_v == 0.0
    assert later.cell_temperature_c == pytest.approx(20.0, abs=0.01)
    assert later.level_h_mm == pytest.approx(first.level_h_mm, abs=0.01)
    assert later.pressure_h_mbar == pytest.approx(0.0, abs=0.3)


def test_both_rigs_are_the_same_stack() -> None:
    assert MINIMAL.cell == BOATHOUSE.cell
    assert not MINIMAL.supply.settable
    assert MINIMAL.invented
    assert BOATHOUSE.invented
