"""States to start from: a cold bench, and one that has settled under given inputs."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.chemistry.constants import GAS_J_MOL_K, ZERO_CELSIUS_K

from . import sides
from .advance import advance
from .inputs import RUN30, Inputs
from .parameters import Parameters
from .properties import WATER_J_KG_K, lye_fits
from .rates import FELT, model
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
SETTLED = 1e-9  # of any other number, by a jump of any length
WARM_UP_S = 60.0  # run scan by scan: valves, films and bubbles are in place, the air is mostly out
FIRST_JUMP_S, LONGER, SHORTER, LAST_JUMP_S = 10.0, 4.0, 10.0, 1e8
WORSE = 1.5  # times as fast as before a jump: it is taken back
LONGEST_JUMP_K = 15.0
JUMPS = 60
SCAN_S = 0.1
BESIDE = 1e-7  # of a number, for its slope
SMALL = 1e-9  # mol, A, kg: how much of something that is not there counts

_COUNTED = ("supply_ready_s", "wear", "wear_lasting", "joints_aged_ohm", "floor_m3")  # these only ever go one way
MOVES = tuple(at for at, name in enumerate(State._fields[:FELT]) if name not in _COUNTED)


def _among(name: str) -> int:
    return MOVES.index(State._fields.index(name))


HEATS = tuple(_among(name) for name in ("stack_j", "reservoir_h_j", "reservoir_o_j"))
WATERS = (_among("water_h_kg"), _among("water_o_kg"))
HYDROXIDES = (_among("hydroxide_h_kg"), _among("hydroxide_o_kg"))
GASES = slice(_among("h2_h_mol"), _among("bubbles_o_mol") + 1)

Vector = NDArray[np.float64]


@lru_cache(maxsize=256)  # a state is immutable
def steady_state(parameters: Parameters, inputs: Inputs = RUN30) -> State:
    """The state that lasts under these inputs, with the lye as it was filled, no wear, and all totals at zero.

    Jumps of the implicit Euler method on the plant's own right-hand side, each longer than the one before: as patient
    as running it at first, a root finder in the end. Water and hydroxide that go are given back at the temperature of
    their side. Raises ValueError where it does not come to rest.
    """
    lag_s = parameters.supply.start_lag_s
    state = cold_start(parameters, inputs.ambient_c)
    for _ in range(round((lag_s + WARM_UP_S) / SCAN_S)):
        state = advance(parameters, state, inputs, SCAN_S)
    state = _refilled(parameters, state)
    heats_j_k = _heats_j_k(parameters, state)
    flow = _flow_of(parameters, inputs, state)
    numbers = np.array([*(state[at] for at in MOVES), *state.film_c])
    now, jump_s = flow(numbers), FIRST_JUMP_S
    for _ in range(JUMPS):
        moves_k_s = np.abs(now[[*HEATS]] / heats_j_k).max()
        step = np.linalg.solve(np.eye(len(numbers)) / jump_s - _slopes(flow, numbers, now), now)
        small = np.all(np.abs(step) <= SETTLED * np.abs(numbers) + SMALL)
        if moves_k_s < SETTLED_K_S and jump_s >= LAST_JUMP_S and small:
            return _refilled(parameters, _unpacked(state, numbers + step))
        then = numbers + step
        then[GASES] = np.maximum(then[GASES], 0.1 * numbers[GASES])  # a straight line may lead below nothing
        warms_k = np.abs(step[[*HEATS]] / heats_j_k).max()
        there = flow(then) if warms_k <= LONGEST_JUMP_K else now
        if warms_k > LONGEST_JUMP_K or np.abs(there[[*HEATS]] / heats_j_k).max() > WORSE * moves_k_s + SETTLED_K_S:
            jump_s /= SHORTER  # it led past a bend
        else:
            numbers, now, jump_s = then, there, min(jump_s * LONGER, LAST_JUMP_S)
    at_c = numbers[HEATS[0]] / parameters.heat.stack_j_k
    raise ValueError(f"nothing lasts under these inputs; the stack is at {at_c:.0f} C and moves")


def _unpacked(state: State, numbers: Vector) -> State:
    fields = list(state)
    for at, number in zip(MOVES, numbers, strict=False):
        fields[at] = float(number)
    fields[-1] = tuple(float(number) for number in numbers[len(MOVES) :])
    return State._make(fields)


def _heats_j_k(parameters: Parameters, state: State) -> Vector:
    """Heat capacities of the stack and of both sides, J/K."""
    h_c, o_c = model(parameters).contents(state)[1:3]
    return np.array([parameters.heat.stack_j_k, state.reservoir_h_j / h_c, state.reservoir_o_j / o_c])


def _flow_of(parameters: Parameters, inputs: Inputs, state: State) -> Callable[[Vector], Vector]:
    """How fast the numbers that move do so, with what is lost of the lye given back, half to each side."""
    plant = model(parameters)
    hydroxide_j_kg_k = lye_fits(parameters.hydraulics.lye).hydroxide_j_kg_k

    def flow(numbers: Vector) -> Vector:
        then = _unpacked(state, numbers)
        rates, film_a = plant.rates(then, inputs, SCAN_S)
        moving = np.array([*(rates[at] for at in MOVES), *film_a])
        lost = [-0.5 * (moving[h] + moving[o]) for h, o in (WATERS, HYDROXIDES)]
        more_j_k = lost[0] * WATER_J_KG_K + lost[1] * hydroxide_j_kg_k
        for (h, o), half in zip((WATERS, HYDROXIDES), lost, strict=True):
            moving[h] += half
            moving[o] += half
        for at, at_c in zip(HEATS[1:], plant.contents(then)[1:3], strict=True):
            moving[at] += more_j_k * at_c
        return moving

    return flow


def _slopes(flow: Callable[[Vector], Vector], numbers: Vector, now: Vector) -> Vector:
    """The Jacobian, by differences."""
    columns = []
    for at, number in enumerate(numbers):
        by = BESIDE * abs(number) + SMALL
        beside = numbers.copy()
        beside[at] += by
        columns.append((flow(beside) - now) / by)
    return np.stack(columns, axis=1)


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
