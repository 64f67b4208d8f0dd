"""Electrodes that lose activity under load, regain some of it at rest, and lose more when driven backwards."""

from __future__ import annotations

import pytest

from simulator.plant import BOATHOUSE, OFF, RUN30, steady_state

from .bench import disturbed, run, seen

STEADY = steady_state(BOATHOUSE)
FAST = disturbed(wear_rate=1000.0)


def test_wear_raises_the_volts_by_tens_of_millivolts_a_cell() -> None:
    worn = run(STEADY, FAST, 3600.0, 1.0)
    rise_v = seen(worn, RUN30).stack_voltage_v - seen(STEADY, RUN30).stack_voltage_v
    assert 0.02 < rise_v / 3.0 < 0.1


def test_rest_brings_back_part_of_it() -> None:
    worn = run(STEADY, FAST, 3600.0, 1.0)
    rested = run(worn, disturbed(OFF, wear_rate=1000.0), 3600.0, 1.0)
    assert rested.wear < 0.1 * worn.wear
    assert rested.wear_lasting == pytest.approx(worn.wear_lasting)


def test_charge_driven_backwards_wears_for_good() -> None:
    backwards = run(STEADY, RUN30._replace(supply_on=False), 120.0)
    forwards = run(STEADY, RUN30, 120.0)
    assert backwards.wear_lasting > 10 * forwards.wear_lasting
    assert backwards.wear_lasting == pytest.approx(backwards.reverse_c / 2.0e4, rel=0.05)


def test_a_cathode_with_a_tenth_of_its_activity_costs_one_tafel_decade_a_cell() -> None:
    spent = disturbed(cathode_activity=0.1)
    rise_v = seen(STEADY, spent).stack_voltage_v - seen(STEADY, RUN30).stack_voltage_v
    # 2.303 R T / (0.54 F) at 62 C: 123 mV, a little less because asinh is not yet quite the logarithm
    assert rise_v / 3.0 == pytest.approx(0.123, abs=0.004)
