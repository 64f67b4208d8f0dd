"""Amounts and heats of the plant against worked figures from outside."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import pytest
from CoolProp.CoolProp import PropsSI

from simulator.plant import BOATHOUSE, OFF, RUN30, cold_start, steady_state
from simulator.plant.ledger import balances
from simulator.plant.rates import model
from simulator.plant.state import State
from tests.plant.bench import disturbed, run, seen

FARADAY_C_MOL = 96485.33212  # CODATA 2018, exact
STEADY = steady_state(BOATHOUSE)


def rates(state: State) -> dict[str, float]:
    return dict(zip(State._fields, model(BOATHOUSE).rates(state, RUN30, 0.1)[0], strict=False))


def test_an_ampere_hour_and_cell_makes_18_66_mmol_of_hydrogen_and_uses_0_336_g_of_water() -> None:
    """Faraday: 3600 / 2F = 18.6557 mmol; x 18.015 g/mol = 0.3361 g. The film's self-discharge takes 0.13 %."""
    after = run(STEADY, RUN30, 3600.0)
    cell_ah = 3 * after.charge_c / 3600.0
    out_mol = after.h2_vented_mol + (after.h2_h_mol + after.h2_o_mol) - (STEADY.h2_h_mol + STEADY.h2_o_mol)
    assert 1000.0 * out_mol / cell_ah == pytest.approx(3600e3 / (2 * FARADAY_C_MOL), rel=2e-3)
    gone_kg = STEADY.water_h_kg + STEADY.water_o_kg - after.water_h_kg - after.water_o_kg - after.vapour_lost_kg
    assert 1000.0 * gone_kg / cell_ah == pytest.approx(0.3361, rel=2e-3)
    assert balances(BOATHOUSE, STEADY, after).worst < 1e-9


def test_thirty_amperes_through_three_cells_make_two_thirds_of_a_litre_a_minute() -> None:
    """0.684 L/min at 25 C and 101.325 kPa: 3 x 30 x 60 / 2F x 24.465 L/mol."""
    after = run(STEADY, RUN30, 60.0)
    assert after.h2_vented_mol * 24.465 == pytest.approx(0.684, rel=0.01)


def test_hydrogen_is_twice_oxygen_by_volume() -> None:
    after = run(STEADY, RUN30, 600.0)
    assert after.h2_vented_mol / after.o2_out_mol == pytest.approx(2.0, rel=5e-3)


def test_the_coolant_warms_by_its_heat_over_its_capacity() -> None:
    """1 kW warms 1 L/min of 20 C water by 14.363 K (IAPWS); density and heat capacity here from CoolProp."""
    density, heat_capacity = (PropsSI(which, "T", 293.15, "P", 101325, "Water") for which in "DC")
    per_l_min_w_k = density * heat_capacity / 6e4
    assert 1000.0 / per_l_min_w_k == pytest.approx(14.363, rel=2e-3)
    look, heat_w = seen(STEADY, RUN30), rates(STEADY)["coolant_j"]
    rise_k = look.coolant_outlet_c - look.coolant_inlet_c
    assert rise_k == pytest.approx(heat_w / (2.0 * per_l_min_w_k), rel=5e-3)


@pytest.mark.parametrize("supply", [0.1, 0.25, 1.0])
def test_the_coil_is_as_effective_as_a_coil_in_a_mixed_bath(supply: float) -> None:
    """Incropera: effectiveness 1 - exp(-UA / m c); 20 W/K at 0.5 L/min give 0.4370 (ht 1.2.0)."""
    inputs = disturbed(coolant_supply=supply)
    look = seen(run(STEADY, inputs, 240.0), inputs)
    bath_c = 0.5 * (look.reservoir_h_c + look.reservoir_o_c)
    effectiveness = (look.coolant_outlet_c - look.coolant_inlet_c) / (bath_c - look.coolant_inlet_c)
    capacity_w_k = 2.0 * supply * 69.6  # of the flow: L/min times 1000 kg/m3 x 4.18 kJ/(kg K) / 60
    assert effectiveness == pytest.approx(1.0 - exp(-BOATHOUSE.heat.coil_w_k / capacity_w_k), rel=0.02)


def test_a_large_coil_takes_the_worked_share_of_what_it_could() -> None:
    """UA 20 W/K, 0.50 L/min at 15 C in a bath of 60 C: effectiveness 0.4370 (ht 1.2.0, Incropera's NTU method)."""
    large = replace(BOATHOUSE, heat=replace(BOATHOUSE.heat, coil_w_k=20.0, coolant_l_min=0.5))
    warm = cold_start(large, 60.0)
    inputs = OFF._replace(coolant_open=True)
    state = run(warm, inputs, 60.0, parameters=large)
    look = seen(state, inputs, large)
    bath_c = 0.5 * (look.reservoir_h_c + look.reservoir_o_c)
    assert (look.coolant_outlet_c - 15.0) / (bath_c - 15.0) == pytest.approx(0.4370, rel=0.01)


def test_a_bench_of_this_size_without_coolant_warms_by_0_3_to_1_1_degrees_a_minute() -> None:
    """Common practice, no source. The heat that the coolant no longer takes, over all that warms."""
    lost = disturbed(coolant_supply=0.0)
    start = run(STEADY, lost, 120.0)  # until the coil is as warm as the lye around it
    settled, before = run(start, lost, 60.0), seen(start, lost)
    per_minute = seen(settled, lost).cell_temperature_c - before.cell_temperature_c
    assert 0.25 < per_minute < 1.1


def test_evaporation_carries_what_saturated_gas_carries() -> None:
    """0.1236 g/Ah over water at 60 C (IAPWS); lye of 25 % makes 0.70 of it, and 0.3 of that passes the lid."""
    after = run(STEADY, RUN30, 3600.0)
    per_ah_g = 1000.0 * after.vapour_lost_kg / (3 * after.charge_c / 3600.0)
    assert per_ah_g == pytest.approx(0.1236 * 0.70 * 0.3, rel=0.15)


def test_the_room_holds_what_the_dilution_formula_says() -> None:
    """x = q / (Q + q): 50 A of one cell are held at 1 % by 2.259 m3/h of air (mass balance, 25 C, 101.325 kPa)."""
    q_m3_h = 50.0 * 3600.0 / (2 * FARADAY_C_MOL) * 8.314462618 * 298.15 / 101325.0
    assert q_m3_h * 0.99 / 0.01 == pytest.approx(2.259, rel=1e-3)
    leaking = disturbed(RUN30, hydrogen_to_room=1.0, ambient_warmer_k=5.0)
    state = run(STEADY, leaking, 2400.0, 1.0)
    released_m3_h = 3 * 30.0 / 50.0 * q_m3_h  # at 25 C
    air_m3_h = BOATHOUSE.room.ventilation_m3_h + BOATHOUSE.room.draught_m3_h
    assert seen(state, leaking).room_h2_percent == pytest.approx(
        100.0 * released_m3_h / (air_m3_h + released_m3_h), rel=0.01
    )


def test_a_hood_without_air_fills_as_an_exponential() -> None:
    """x(t) = q / Q' (1 - exp(-Q' t / V)), Q' the draught and the gas itself."""
    leaking = disturbed(hydrogen_to_room=1.0, ventilation=0.0)
    state = run(STEADY, disturbed(ventilation=0.0), 60.0)
    q_m3_s = 3 * 30.0 / (2 * FARADAY_C_MOL) * 8.314462618 * 293.15 / 101325.0
    out_m3_s = BOATHOUSE.room.draught_m3_h / 3600.0 + q_m3_s
    for seconds in (60.0, 600.0):
        expected = q_m3_s / out_m3_s * (1.0 - exp(-out_m3_s * seconds / BOATHOUSE.room.volume_m3))
        assert seen(run(state, leaking, seconds), leaking).room_h2_percent == pytest.approx(100.0 * expected, rel=0.02)
