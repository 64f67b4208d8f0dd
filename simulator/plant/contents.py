"""What a state amounts to: temperatures, strengths, volumes, pressures, levels. For the step and for whoever looks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

from controller.chemistry.constants import GAS_J_MOL_K, ZERO_CELSIUS_K

from . import sides
from .parameters import Parameters
from .properties import WATER_J_KG_K, lye_fits
from .state import State


class Contents(NamedTuple):
    """_h is the hydrogen side, _o the oxygen side. Levels are above the separator's top edge, without bubbles."""

    stack_c: float
    reservoir_h_c: float
    reservoir_o_c: float
    lye_h_kg: float
    lye_o_kg: float
    w_h: float  # mass fraction of hydroxide
    w_o: float
    density_h: float  # kg/m3
    density_o: float
    lye_h_m3: float
    lye_o_m3: float
    gas_h_mol: float  # bubbles included
    gas_o_mol: float
    pa_mol_h: float  # R T / V
    pa_mol_o: float
    gauge_h_pa: float
    gauge_o_pa: float
    bubbles_h_m3: float
    bubbles_o_m3: float
    still_h_mm: float
    still_o_mm: float


HELD: Final = 24  # what the contents depend on
assert State._fields[HELD - 1] == "bubbles_o_mol"

ContentsOf = Callable[[State], Contents]


def build(parameters: Parameters) -> ContentsOf:
    y = parameters.hydraulics
    fits = lye_fits(y.lye)
    d0, d1, d2, d3, d4, d5 = fits.density
    largest_w, hydroxide_j_kg_k = fits.largest_w, fits.hydroxide_j_kg_k
    stack_j_k, walls_j_k = parameters.heat.stack_j_k, parameters.heat.reservoir_j_k
    lid_h_m3, lid_o_m3 = sides.vessel(y.hydrogen, y).lid_m3, sides.vessel(y.oxygen, y).lid_m3
    level_h, level_o = sides.level(y.hydrogen, parameters.cell), sides.level(y.oxygen, parameters.cell)
    smallest_m3, atmosphere_pa = y.smallest_gas_m3, parameters.atmosphere_pa
    zero_k, gas, water_j_kg_k, new, kind = ZERO_CELSIUS_K, GAS_J_MOL_K, WATER_J_KG_K, tuple.__new__, Contents

    def contents(state: State) -> Contents:
        (
            _, _, _, _, _, stack_j, heat_h_j, heat_o_j, _, _, water_h, water_o, hydroxide_h, hydroxide_o,
            h2_h, o2_h, air_h, vapour_h, h2_o, o2_o, air_o, vapour_o, bubbles_h, bubbles_o,
        ) = state[:HELD]  # fmt: skip
        h_c = heat_h_j / (walls_j_k + water_h * water_j_kg_k + hydroxide_h * hydroxide_j_kg_k)
        o_c = heat_o_j / (walls_j_k + water_o * water_j_kg_k + hydroxide_o * hydroxide_j_kg_k)
        lye_h = water_h + hydroxide_h
        lye_o = water_o + hydroxide_o
        w_h = hydroxide_h / lye_h if lye_h > 0.0 else 0.0
        w_o = hydroxide_o / lye_o if lye_o > 0.0 else 0.0
        u_h = w_h if w_h < largest_w else largest_w  # where the fit ends
        u_o = w_o if w_o < largest_w else largest_w
        density_h = d0 + u_h * (d1 + d2 * u_h + d5 * h_c) + h_c * (d3 + d4 * h_c)
        density_o = d0 + u_o * (d1 + d2 * u_o + d5 * o_c) + o_c * (d3 + d4 * o_c)
        lye_h_m3 = lye_h / density_h
        lye_o_m3 = lye_o / density_o
        room_h_m3 = lid_h_m3 - lye_h_m3
        room_o_m3 = lid_o_m3 - lye_o_m3
        if room_h_m3 < smallest_m3:
            room_h_m3 = smallest_m3
        if room_o_m3 < smallest_m3:
            room_o_m3 = smallest_m3
        gas_h = h2_h + o2_h + air_h + vapour_h
        gas_o = h2_o + o2_o + air_o + vapour_o
        pa_mol_h = gas * (h_c + zero_k) / room_h_m3
        pa_mol_o = gas * (o_c + zero_k) / room_o_m3
        return new(
            kind,
            (
                stack_j / stack_j_k, h_c, o_c, lye_h, lye_o, w_h, w_o, density_h, density_o, lye_h_m3, lye_o_m3,
                gas_h, gas_o, pa_mol_h, pa_mol_o, gas_h * pa_mol_h - atmosphere_pa, gas_o * pa_mol_o - atmosphere_pa,
                bubbles_h * room_h_m3 / gas_h, bubbles_o * room_o_m3 / gas_o, level_h(lye_h_m3), level_o(lye_o_m3),
            ),
        )  # fmt: skip

    return contents
