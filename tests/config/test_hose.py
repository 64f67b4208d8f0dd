"""A hose off behind the flow meter: what the plant's pipes give, what the tap may do, and the limit between them."""

from __future__ import annotations

import math
from datetime import date

import pytest

from controller.config.load import load
from controller.config.questions import understood
from controller.config.rigs import shipped
from controller.config.written import rig_file
from simulator.plant.advance import advance
from simulator.plant.inputs import RUN30, Disturbances
from simulator.plant.observe import observe
from simulator.plant.parameters import BOATHOUSE
from simulator.plant.start import steady_state


def limit_l_min(rig: str) -> float:
    (limit,) = [x for x in load(shipped(rig)).core.limits if x.name == "coolant flow high"]
    return limit.threshold


@pytest.mark.parametrize("rig", ["boathouse", "voltage-knob", "drooping"])
def test_the_limit_lies_between_a_high_tap_pressure_and_a_hose_off(rig: str) -> None:
    """Turbulent flow goes as the root of pressure over resistance: a tap that rises by half gives sqrt(1.5)."""
    off = RUN30._replace(disturbances=Disturbances(hose_off=1.0))
    state = steady_state(BOATHOUSE, RUN30)
    normal_l_min = observe(BOATHOUSE, state, RUN30).coolant_flow_l_min
    for _ in range(30):
        state = advance(BOATHOUSE, state, off, 0.1)
    flow_l_min = observe(BOATHOUSE, state, off).coolant_flow_l_min
    assert flow_l_min / normal_l_min == pytest.approx(math.sqrt(2.0), rel=0.02)  # half of the pressure was in the coil
    assert normal_l_min * math.sqrt(1.5) < limit_l_min(rig) < 0.95 * flow_l_min


def test_what_new_writes_is_the_same() -> None:
    text, _ = rig_file(understood({}), date(2026, 6, 1))
    assert '"coolant flow high" = { above_L_min = 2.5,' in text
