"""How hot the power cable and its joints get, against the numbers that cables are chosen by."""

from __future__ import annotations

from dataclasses import replace

import pytest

from simulator.plant import BOATHOUSE, OFF, RUN30, Inputs, State, steady_state
from simulator.plant.parameters import CableParameters
from simulator.plant.rates import model

from .bench import disturbed, run, seen

STEADY = steady_state(BOATHOUSE)
TABLE = [(1.5, 19.5), (2.5, 27.0), (4.0, 36.0), (6.0, 46.0), (10.0, 63.0), (16.0, 85.0)]  # mm2, A


def warming_k_s(cable: CableParameters, amps: float, cable_k: float) -> float:
    """The plant's own rate, whatever drives that current."""
    plant = replace(BOATHOUSE, cable=cable)
    rates, _ = model(plant).rates(STEADY._replace(current_a=amps, cable_k=cable_k), RUN30, 0.0)
    return rates[State._fields.index("cable_k")]


@pytest.mark.parametrize(("mm2", "rated_a"), TABLE)
def test_a_rated_current_keeps_copper_at_70_c_in_air_of_30(mm2: float, rated_a: float) -> None:
    """IEC 60364-5-52: what the rating of a conductor under PVC means (from memory)."""
    cable = CableParameters(rated_a=rated_a)
    assert warming_k_s(cable, rated_a, 70.0 - 30.0) == pytest.approx(0.0, abs=1e-9)
    assert warming_k_s(cable, rated_a, 70.0 - 31.0) > 0.0 > warming_k_s(cable, rated_a, 70.0 - 29.0)


@pytest.mark.parametrize(("mm2", "rated_a"), TABLE)
def test_cross_sections_are_those_of_the_table(mm2: float, rated_a: float) -> None:
    """IEC 60364-5-52, table B.52.4, two loaded copper conductors under PVC, method C (from memory): one line through
    all of it."""
    assert CableParameters(rated_a=rated_a).section_m2 * 1e6 == pytest.approx(mm2, rel=0.03)


@pytest.mark.parametrize(("mm2", "rated_a"), TABLE)
def test_a_short_circuit_warms_it_as_i2_t_says(mm2: float, rated_a: float) -> None:
    """From 70 C to 160 C the standard gives k = 115 A s^0.5/mm2 (IEC 60364-4-43, table 43A, PVC on copper; from
    memory). Resistance that rises on the way makes its k smaller than ours, by less than a tenth."""
    cable = CableParameters(rated_a=rated_a)
    amps = 50.0 * rated_a
    seconds = sum(1.0 / warming_k_s(cable, amps, k + 0.5) for k in range(70 - 30, 160 - 30))
    constant = amps * seconds**0.5 / (cable.section_m2 * 1e6)
    assert 115.0 < constant < 115.0 * 1.1


def test_at_rest_cable_and_joints_are_as_warm_as_the_room() -> None:
    cold = run(STEADY, OFF, 3600.0, 1.0)
    assert seen(cold, OFF).terminal_c == pytest.approx(OFF.ambient_c, abs=0.1)


def test_a_settled_rig_stays_as_warm_as_it_is() -> None:
    """The steady state knows the cable too: 40 K x (30 / 70)^2 of it."""
    assert STEADY.cable_k == pytest.approx(40.0 * (30.0 / 70.0) ** 2, rel=0.01)
    assert run(STEADY, RUN30, 600.0, 1.0).joint_k == pytest.approx(STEADY.joint_k, rel=1e-3)


def test_a_joint_warms_with_the_square_of_the_current_and_with_its_resistance() -> None:
    def rise_k(milliohm: float, inputs: Inputs = RUN30, state: State = STEADY) -> float:
        loose = disturbed(inputs, joint_extra_ohm=(0.001 * milliohm,), wear_rate=0.0)
        return run(state, loose, 1200.0, 1.0).joint_k

    sound, five, ten = (rise_k(milliohm) for milliohm in (0.0, 5.0, 10.0))
    assert five - sound == pytest.approx(3.0 * 30.0**2 * 0.005, rel=0.02)
    assert ten - sound == pytest.approx(2.0 * (five - sound), rel=0.02)
    half = RUN30._replace(setpoint_a=15.0)
    assert rise_k(10.0, half) == pytest.approx(0.25 * ten, rel=0.05)
