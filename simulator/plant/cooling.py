"""The cooling water: what flows, what the coil takes from each reservoir, what a hose that is off spills."""

from __future__ import annotations

from collections.abc import Callable
from math import exp

from .parameters import Parameters
from .properties import WATER_J_KG_K

WATER_KG_M3 = 1000.0
L_MIN_KG_S = WATER_KG_M3 / 60_000.0
HOSE_OFF_FASTER = 0.4  # a line that ends at the meter gives so much more
HALF_OF_E_LESS_1 = 0.859140914229523  # (e - 1) / 2: the same where the coil's two forms meet

# per second: the meter's l/min and the outlet's C; W from each reservoir and W that leave; m3/s to the floor
Cooled = tuple[float, float, float, float, float, float]
CoolsOf = Callable[[bool, float, float, float, float, float, float, float, float, float], Cooled]


def cooling(parameters: Parameters) -> CoolsOf:
    h = parameters.heat
    coil_w_k, coil_j_k, coolant_l_min_open, coolant_s = h.coil_w_k, h.coil_j_k, h.coolant_l_min, h.coolant_s
    l_min_w_k, faster, touching = L_MIN_KG_S * WATER_J_KG_K, HOSE_OFF_FASTER, HALF_OF_E_LESS_1

    def cools(
        is_open: bool, supplied: float, air: float, hose_off: float, coolant_l_min: float, inlet_c: float,
        coil_c: float, h_c: float, o_c: float, ahead_s: float,
    ) -> Cooled:  # fmt: skip
        """supplied, air, hose_off: shares, as in Disturbances; coil_c: at the coil's outlet."""
        flows_l_min = 0.0
        if is_open and inlet_c > 0.0:
            flows_l_min = coolant_l_min_open * supplied * (1.0 - air) * (1.0 + faster * hose_off)
        spilt_l_min = coolant_l_min * hose_off
        coolant_w_k = (coolant_l_min - spilt_l_min) * l_min_w_k
        touched_w_k = coil_w_k * (1.0 - air)
        # a coil in a mixed bath by its effectiveness, as a conductance to its outlet; half in each reservoir
        if touched_w_k < coolant_w_k:
            half_w_k = 0.5 * coolant_w_k * (exp(touched_w_k / coolant_w_k) - 1.0)
        else:
            half_w_k = touching * touched_w_k
        coil_rate = (half_w_k * (h_c + o_c - 2.0 * coil_c) + coolant_w_k * (inlet_c - coil_c)) / (
            coil_j_k + ahead_s * (2.0 * half_w_k + coolant_w_k)
        )
        then_c = coil_c + ahead_s * coil_rate
        return (
            (flows_l_min - coolant_l_min) / (coolant_s + ahead_s), coil_rate,
            half_w_k * (h_c - then_c), half_w_k * (o_c - then_c), coolant_w_k * (then_c - inlet_c),
            spilt_l_min / 60_000.0,
        )  # fmt: skip

    return cools
