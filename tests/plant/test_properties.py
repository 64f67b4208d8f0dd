"""The polynomials of the step against the formulas they stand for."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.chemistry import lye as formulas
from controller.chemistry import thermodynamics
from controller.chemistry.constants import ATMOSPHERE_BAR
from controller.chemistry.lye import Lye
from simulator.plant import BOATHOUSE, NEUTRAL
from simulator.plant.properties import WATER_J_KG_K, lye_fits
from simulator.plant.rates import model

lyes = pytest.mark.parametrize("lye", list(Lye))
GRID = [(w, t) for w in (0.05, 0.1, 0.15, 0.2, 0.25, 0.3) for t in (5.0, 20.0, 40.0, 60.0, 80.0, 100.0)]


@lyes
def test_density_is_within_three_in_a_thousand(lye: Lye) -> None:
    fits = lye_fits(lye)
    for w, t in GRID:
        assert fits.density_kg_m3(w, t) == pytest.approx(formulas.density_kg_m3(lye, w, t), rel=3e-3)


@lyes
def test_vapour_pressure_is_within_one_in_a_hundred(lye: Lye) -> None:
    vapour_pa = lye_fits(lye).vapour_pa_of()
    for w, t in GRID:
        assert vapour_pa(w, t) == pytest.approx(1000.0 * formulas.vapour_pressure_kpa(lye, w, t), rel=0.01)


@lyes
def test_conductivity_is_within_two_and_a_half_siemens_a_metre(lye: Lye) -> None:
    k = np.array(lye_fits(lye).conductivity).reshape(4, 3)
    for w, t in GRID:
        fitted = sum(k[i, j] * w ** (i + 1) * t**j for i in range(4) for j in range(3))
        assert fitted == pytest.approx(formulas.conductivity_s_m(lye, w, t), abs=2.5)


@lyes
def test_heat_capacity_is_within_four_in_a_hundred_where_cells_run(lye: Lye) -> None:
    fits = lye_fits(lye)
    for w, t in GRID:
        if 0.2 <= w <= 0.3 and 20.0 <= t <= 80.0:
            fitted = (1.0 - w) * WATER_J_KG_K + w * fits.hydroxide_j_kg_k
            assert fitted == pytest.approx(formulas.heat_capacity_j_kg_k(lye, w, t), rel=0.04)


@given(st.floats(0.1, 0.35), st.floats(10.0, 85.0))
def test_the_reversible_voltage_is_within_four_millivolts(w: float, t: float) -> None:
    e = model(BOATHOUSE).electrodes(t, w, 1.0, 0.0, 0.0, 0.0, (59.0,) * 3, NEUTRAL)
    activity = formulas.water_activity(Lye.KOH, w, t)
    assert e.reversible_v == pytest.approx(thermodynamics.reversible_voltage_v(t, ATMOSPHERE_BAR, activity), abs=0.004)


def test_the_thermoneutral_voltage_is_within_half_a_millivolt() -> None:
    at_zero_v, per_k = lye_fits(Lye.KOH).thermoneutral
    for t in (10.0, 25.0, 60.0, 90.0):
        assert at_zero_v + per_k * t == pytest.approx(thermodynamics.thermoneutral_voltage_v(t), abs=5e-4)
