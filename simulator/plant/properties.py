"""Properties of the lye as polynomials, made once from controller.chemistry: the step has no time for its formulas.

Each fit's largest error over its range is asserted in the tests.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import exp
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.chemistry import lye as properties
from controller.chemistry import thermodynamics
from controller.chemistry.constants import ATMOSPHERE_BAR, ATMOSPHERE_KPA
from controller.chemistry.lye import Lye

ANTOINE_C = 230.0  # ln p is nearly straight in 1/(t + 230)
WATER_J_KG_K = 4186.0
LARGEST_FRACTION = {Lye.KOH: 0.40, Lye.NAOH: 0.30}

Coefficients = tuple[float, ...]


class LyeFits(NamedTuple):
    """w: mass fraction, t: C, x = 1/(t + ANTOINE_C)."""

    largest_w: float
    density: Coefficients  # kg/m3: 1 w w2 t t2 wt
    conductivity: Coefficients  # S/m: (w w2 w3 w4) x (1 t t2), powers of t innermost
    log_vapour: Coefficients  # ln Pa: 1 x x2, then (w w2 w3) x (1 x)
    reversible: Coefficients  # V at 1 atm, gases wet: 1 t t2 w w2 wt
    thermoneutral: Coefficients  # V: 1 t
    hydroxide_j_kg_k: float  # what dissolved hydroxide adds to the heat capacity of its water (negative)
    latent_j_kg: float  # at 60 C

    def density_kg_m3(self, w: float, t: float) -> float:
        d0, d1, d2, d3, d4, d5 = self.density
        return d0 + w * (d1 + d2 * w + d5 * t) + t * (d3 + d4 * t)

    def vapour_pa_of(self) -> Callable[[float, float], float]:
        """The function from mass fraction and temperature, C, to the pressure of water vapour, Pa."""
        v00, v01, v02, v10, v11, v20, v21, v30, v31 = self.log_vapour
        largest_w = self.largest_w

        def vapour_pa(w: float, t: float) -> float:
            if w > largest_w:
                w = largest_w
            x = 1.0 / (t + ANTOINE_C)
            return exp(v00 + x * (v01 + x * v02) + w * (v10 + x * v11 + w * (v20 + x * v21 + w * (v30 + x * v31))))

        return vapour_pa


def _fit(columns: list[NDArray[np.float64]], wanted: NDArray[np.float64]) -> Coefficients:
    solution = np.linalg.lstsq(np.stack(columns, axis=1), wanted, rcond=None)[0]
    return tuple(float(c) for c in solution)


@lru_cache
def lye_fits(lye: Lye) -> LyeFits:
    largest_w = LARGEST_FRACTION[lye]
    w, t = (a.ravel() for a in np.meshgrid(np.linspace(0.01, largest_w, 40), np.linspace(2.0, 115.0, 58)))
    one, x = np.ones_like(w), 1.0 / (t + ANTOINE_C)
    density = properties.density_kg_m3(lye, w, t)
    conductivity = properties.conductivity_s_m(lye, w, t)
    log_vapour = np.log(1000.0 * properties.vapour_pressure_kpa(lye, w, t))
    below = log_vapour < np.log(500.0 * ATMOSPHERE_KPA)  # the reversible voltage has no meaning near boiling
    wb, tb = w[below], t[below]
    activity = properties.water_activity(lye, wb, tb)
    reversible = thermodynamics.reversible_voltage_v(tb, ATMOSPHERE_BAR, activity)
    usual = (w > 0.17) & (w < 0.3)
    heat = properties.heat_capacity_j_kg_k(lye, w, t)
    return LyeFits(
        largest_w=largest_w,
        density=_fit([one, w, w * w, t, t * t, w * t], density),
        conductivity=_fit([w**i * t**j for i in (1, 2, 3, 4) for j in (0, 1, 2)], conductivity),
        log_vapour=_fit([one, x, x * x, *(w**i * x**j for i in (1, 2, 3) for j in (0, 1))], log_vapour),
        reversible=_fit([np.ones_like(wb), tb, tb * tb, wb, wb * wb, wb * tb], reversible),
        thermoneutral=_fit([one, t], np.asarray(thermodynamics.thermoneutral_voltage_v(t))),
        hydroxide_j_kg_k=_fit([w[usual]], (heat - (1.0 - w) * WATER_J_KG_K)[usual])[0],
        latent_j_kg=thermodynamics.heat_of_vaporisation_j_kg(60.0),
    )
