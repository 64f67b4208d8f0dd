"""States to start from: a cold bench, and one that has settled under given inputs."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from controller.chemistry.constants import GAS_J_MOL_K, ZERO_CELSIUS_K

from . import sides
from .advance import advance
from .inputs import RUN30, Inputs
from .parameters import Parameters
from .properties import WATER_J_KG_K, lye_fits
from .rates import model
from .state import NUMBERS, State


def cold_start(parameters: Parameters, temperature_c: float = 20.0, mass_fraction: float | None = None) -> State:
    """Filled, all at one temperature, air over the lye, films empty, nothing flowing.

    mass_fraction: of the lye filled in, if not the right one.
    """
    y, h = parameters.hydraulics, parameters.heat
    fits = lye_fits(y.lye)
    w, t = y.mass_fraction if mass_fraction is None else mass_fraction, temperature_c
    if not 0.0 <= w <= fits.largest_w:
        raise ValueError(f"mass_fraction is {w}; this lye is known from 0 to {fits.largest_w}")
    # both sides stand equally high: fill stack halves and risers, and share the rest by cross-section
    sizes = (y.hydrogen, y.oxygen)
    total_m3 = y.lye_kg / fits.density_kg_m3(y.mass_fraction, 20.0 if mass_fraction is not None else t)
    low_m3 = [s.stack_m3 + s.riser_m2 * s.reservoir_from_mm * 1e-3 for s in sizes]
    areas = [s.reservoir_m2 for s in sizes]
    volumes = [low + (total_m3 - sum(low_m3)) * area / sum(areas) for low, area in zip(low_m3, areas, strict=True)]
    kg = [volume * fits.density_kg_m3(w, t) for volume in volumes]
    j_kg_k = (1.0 - w) * WATER_J_KG_K + w * fits.hydroxide_j_kg_k
    j_k = [h.reservoir_j_k + m * j_kg_k for m in kg]
    vapour_pa = fits.vapour_pa_of()(w, t)
    rooms = [sides.vessel(s, y).lid_m3 - volume for s, volume in zip(sizes, volumes, strict=True)]
    per_pa = [room / (GAS_J_MOL_K * (t + ZERO_CELSIUS_K)) for room in rooms]
    blank = State._make(((0.0,) * NUMBERS) + ((0.0,) * parameters.cell.cells,))
    return blank._replace(
        stack_j=h.stack_j_k * t,
        reservoir_h_j=j_k[0] * t,
        reservoir_o_j=j_k[1] * t,
        coolant_outlet_c=t,
        water_h_kg=kg[0] * (1.0 - w),
        water_o_kg=kg[1] * (1.0 - w),
        hydroxide_h_kg=kg[0] * w,
        hydroxide_o_kg=kg[1] * w,
        air_h_mol=(parameters.atmosphere_pa - vapour_pa) * per_pa[0],
        vapour_h_mol=vapour_pa * per_pa[0],
        air_o_mol=(parameters.atmosphere_pa - vapour_pa) * per_pa[1],
        vapour_o_mol=vapour_pa * per_pa[1],
    )


SETTLED_K_S = 1e-8  # 0.04 mK an hour
CHUNK_S = 400.0
LONGEST_JUMP_K = 10.0
SPILL_S = 30.0  # for the gas that the water given back last has pressed out
SCAN_S = 0.1


@lru_cache(maxsize=64)  # a state is immutable, and this takes a second
def steady_state(parameters: Parameters, inputs: Inputs = RUN30) -> State:
    """The state that lasts under these inputs, with the lye as it was filled, no wear, and all totals at zero.

    The plant itself is run; only its slow warming is shortened, by extrapolating the temperatures and running on. Water
    that was split is given back at each round. Raises ValueError where nothing lasts (a cell that runs away or boils).
    """
    contents_of = model(parameters).contents
    state = _run(parameters, cold_start(parameters, inputs.ambient_c), inputs, CHUNK_S)
    for _ in range(60):
        first = _refilled(parameters, state)
        second = _refilled(parameters, _run(parameters, first, inputs, CHUNK_S))
        third = _refilled(parameters, _run(parameters, second, inputs, CHUNK_S))
        start_c, middle_c, end_c = (contents_of(s).stack_c for s in (first, second, third))
        before_k, after_k = middle_c - start_c, end_c - middle_c
        if abs(after_k) < SETTLED_K_S * CHUNK_S:
            return _counted_anew(_run(parameters, third, inputs, SPILL_S, SCAN_S))
        left = min(max(after_k / before_k, 0.5), 0.93) if before_k != 0.0 else 0.9  # of a difference, after one chunk
        ahead_k = after_k * left / (1.0 - left)
        state = _warmed(parameters, third, max(-LONGEST_JUMP_K, min(LONGEST_JUMP_K, ahead_k)))
    raise ValueError(f"nothing lasts under these inputs; the stack is at {contents_of(state).stack_c:.0f} C and moves")


def _run(parameters: Parameters, state: State, inputs: Inputs, duration_s: float, dt_s: float = 0.5) -> State:
    for _ in range(round(duration_s / dt_s)):
        state = advance(parameters, state, inputs, dt_s)
    return state


def _refilled(parameters: Parameters, state: State) -> State:
    """The same temperatures and gases, with the design's water and hydroxide back, unworn."""
    filled = cold_start(parameters, 20.0)
    water = 0.5 * (filled.water_h_kg + filled.water_o_kg - state.water_h_kg - state.water_o_kg)
    hydroxide = 0.5 * (filled.hydroxide_h_kg + filled.hydroxide_o_kg - state.hydroxide_h_kg - state.hydroxide_o_kg)
    more_j_k = water * WATER_J_KG_K + hydroxide * lye_fits(parameters.hydraulics.lye).hydroxide_j_kg_k
    _, h_c, o_c, *_ = model(parameters).contents(state)
    state = state._replace(
        water_h_kg=state.water_h_kg + water,
        water_o_kg=state.water_o_kg + water,
        hydroxide_h_kg=state.hydroxide_h_kg + hydroxide,
        hydroxide_o_kg=state.hydroxide_o_kg + hydroxide,
        reservoir_h_j=state.reservoir_h_j + more_j_k * h_c,
        reservoir_o_j=state.reservoir_o_j + more_j_k * o_c,
    )
    return _counted_anew(state)


def _counted_anew(state: State) -> State:
    """Unworn, floor dry, totals zero."""
    totals: dict[str, Any] = dict.fromkeys(State._fields[State._fields.index("charge_c") : NUMBERS], 0.0)
    return state._replace(wear=0.0, wear_lasting=0.0, joints_aged_ohm=0.0, floor_m3=0.0, **totals)


def _warmed(parameters: Parameters, state: State, kelvin: float) -> State:
    _, h_c, o_c, *_ = model(parameters).contents(state)
    return state._replace(
        stack_j=state.stack_j + kelvin * parameters.heat.stack_j_k,
        reservoir_h_j=state.reservoir_h_j * (h_c + kelvin) / h_c,
        reservoir_o_j=state.reservoir_o_j * (o_c + kelvin) / o_c,
    )
