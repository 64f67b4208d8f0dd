"""Volts for a current, and what is left when the current stops."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.plant import BOATHOUSE, NEUTRAL, OFF, RUN30, Disturbances, cold_start, steady_state
from simulator.plant.cell import Electrodes, Stack
from simulator.plant.parameters import Parameters
from simulator.plant.rates import model

from .bench import disturbed, run, seen

FULL_C = BOATHOUSE.cell.film_full_c


def electrodes(
    at_c: float = 60.0,
    cover: float = 1.0,
    void: float = 0.0,
    worn: float = 0.0,
    films: tuple[float, ...] = (FULL_C,) * 3,
    d: Disturbances = NEUTRAL,
    parameters: Parameters = BOATHOUSE,
) -> Electrodes:
    return model(parameters).electrodes(at_c, 0.25, cover, void, worn, 0.0, films, d)


def stack(amps: float, films: tuple[float, ...] = (FULL_C,) * 3, **conditions: float) -> Stack:
    return model(BOATHOUSE).stack(amps, films, electrodes(films=films, **conditions), 0.0)  # type: ignore[arg-type]


@given(st.floats(0.0, 59.0), st.floats(0.01, 1.0), st.floats(5.0, 110.0))
def test_volts_rise_with_current_at_any_temperature(amps: float, more_a: float, at_c: float) -> None:
    assert stack(amps + more_a, at_c=at_c).volts >= stack(amps, at_c=at_c).volts


@given(st.floats(1.0, 60.0), st.floats(5.0, 100.0), st.floats(0.5, 10.0))
def test_volts_fall_as_the_lye_warms(amps: float, at_c: float, more_k: float) -> None:
    assert stack(amps, at_c=at_c + more_k).volts <= stack(amps, at_c=at_c).volts


@given(st.floats(2.0, 60.0), st.floats(0.05, 1.0), st.floats(0.0, 0.5), st.floats(0.0, 3.0))
def test_bare_plates_bubbles_and_wear_only_cost_volts(amps: float, cover: float, void: float, worn: float) -> None:
    sound = stack(amps).volts
    assert stack(amps, cover=cover).volts >= sound
    assert stack(amps, void=void).volts >= sound
    assert stack(amps, worn=worn).volts >= sound


def test_bubbles_raise_the_lye_s_share_of_the_resistance_by_bruggeman() -> None:
    c = BOATHOUSE.cell
    separator = c.separator_ohm_m2 / c.electrode_area_m2
    clear, bubbly = electrodes().ohm - separator, electrodes(void=0.2).ohm - separator
    assert clear / bubbly == pytest.approx(0.7155, abs=1e-4)  # Bruggeman 1935: (1 - 0.2)^1.5


def test_no_current_makes_no_gas_and_shows_only_what_the_film_holds() -> None:
    for films in ((0.0,) * 3, (FULL_C,) * 3):
        still = stack(0.0, films)
        assert still.gas_a == 0.0
        assert still.volts == pytest.approx(sum(films) / FULL_C * BOATHOUSE.cell.film_full_v)


def test_every_ampere_goes_into_gas_a_film_or_past_both() -> None:
    for films in ((0.0,) * 3, (20.0, 59.0, 0.0), (FULL_C,) * 3):
        for amps in (-30.0, -1.0, 0.0, 0.5, 30.0):
            found = stack(amps, films)
            assert found.gas_a + sum(found.film_a) + found.past_a == pytest.approx(3 * amps, abs=1e-12)


def test_each_electrode_s_tafel_slope_is_one_that_nickel_shows() -> None:
    """40 to 160 mV a decade: bounds over J. Electrochem. Soc. 1982 (doi 10.1149/1.2123588) and Cao (Xiamen)."""
    for at_c in (10.0, 25.0, 60.0, 80.0):
        e = electrodes(at_c)
        for slope_v in (e.hydrogen_v * log(10.0), e.oxygen_v * log(10.0)):
            assert 0.040 < slope_v < 0.160


def test_after_a_stop_volts_linger_near_a_volt_and_a_half_a_cell_and_fall_over_ten_minutes() -> None:
    stopped = run(steady_state(BOATHOUSE), OFF, 0.2)
    assert seen(stopped, OFF).current_a == 0.0
    assert seen(stopped, OFF).stack_voltage_v == pytest.approx(4.4, abs=0.05)
    later = seen(run(stopped, OFF, 600.0, 1.0), OFF)
    assert later.stack_voltage_v == pytest.approx(3.0, abs=0.1)


def test_a_dead_supply_that_stays_connected_is_driven_backwards_for_a_minute() -> None:
    dead = RUN30._replace(supply_on=False)
    start = steady_state(BOATHOUSE)
    first = run(start, dead, 0.5)
    assert -2.0 < first.current_a < -1.2
    assert first.made_c == pytest.approx(start.made_c, abs=8.0)  # the last of the falling current, no more
    after = run(first, dead, 60.0)
    assert -0.5 < after.current_a < -0.1
    assert after.reverse_c == pytest.approx((sum(start.film_c) - sum(after.film_c)) / 3, rel=0.05)


def test_reversed_driving_empties_the_films_and_then_makes_hydrogen_on_the_oxygen_side() -> None:
    start = steady_state(BOATHOUSE)
    reversed_leads = disturbed(supply_reversed=True)
    after = run(start, reversed_leads, 60.0)
    assert after.current_a == pytest.approx(-30.0, abs=0.01)
    assert after.h2_o_mol > 10 * start.h2_o_mol
    assert after.o2_h_mol > 10 * start.o2_h_mol
    assert seen(after, reversed_leads).stack_voltage_v < -5.0


def test_a_loose_joint_adds_its_ohms_times_the_current_to_its_cell_alone() -> None:
    start = steady_state(BOATHOUSE)
    loose = disturbed(joint_extra_ohm=(0.0, 0.01))
    sound, found = seen(start, RUN30), seen(start, loose)
    assert found.stack_voltage_v - sound.stack_voltage_v == pytest.approx(0.3, abs=1e-9)
    assert [a - b for a, b in zip(found.cell_v, sound.cell_v, strict=True)] == pytest.approx([0.0, 0.3, 0.0], abs=1e-9)
    for look in (sound, found):
        assert sum(look.cell_v) == pytest.approx(look.stack_voltage_v, abs=1e-9)


def test_a_loose_joint_grows_worse_under_load_and_a_sound_one_does_not() -> None:
    start = steady_state(BOATHOUSE)
    assert run(start, RUN30, 600.0, 1.0).joints_aged_ohm == 0.0
    aged = run(start, disturbed(joint_extra_ohm=(0.0, 0.01)), 600.0, 1.0).joints_aged_ohm
    assert aged == pytest.approx(0.01 * 600.0 / BOATHOUSE.wear.joint_s, rel=1e-6)


def test_a_dry_cell_takes_all_the_volts_and_a_shorted_one_none() -> None:
    start = steady_state(BOATHOUSE)
    dry, short = disturbed(odd_cell=1, cell_dry=0.95), disturbed(odd_cell=1, cell_short=1.0)
    look = seen(run(start, dry, 20.0), dry)
    assert look.cell_v[1] > 1.5 * look.cell_v[0]
    assert look.current_a < 15.0  # the supply is at its volts
    look = seen(run(start, short, 20.0), short)
    assert look.cell_v[1] < 0.05
    assert look.current_a == pytest.approx(30.0, abs=0.01)
    assert look.stack_voltage_v == pytest.approx(2 / 3 * 6.59, abs=0.05)


def test_a_shorted_cell_makes_no_gas() -> None:
    start = steady_state(BOATHOUSE)
    made = run(start, RUN30, 60.0).made_c
    assert run(start, disturbed(odd_cell=0, cell_short=1.0), 60.0).made_c == pytest.approx(made * 2 / 3, rel=2e-3)


def test_any_number_of_cells_runs() -> None:
    single = replace(BOATHOUSE, cell=replace(BOATHOUSE.cell, cells=1))
    state = run(cold_start(single), RUN30._replace(setpoint_v=3.0), 60.0, parameters=single)
    assert len(state.film_c) == 1
    assert 2.0 < seen(state, RUN30, single).stack_voltage_v < 2.6
