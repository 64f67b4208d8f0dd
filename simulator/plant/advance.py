"""One step of the plant."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from .inputs import Inputs
from .parameters import Parameters
from .rates import model
from .state import State
from .supply import path_open, supply_live

LONGEST_STEP_S = 1.0  # beyond it the heat of a nearly empty reservoir would no longer be stable
Advancer = Callable[[State, Inputs, float], State]


def advance(parameters: Parameters, state: State, inputs: Inputs, dt_s: float) -> State:
    """The state dt_s later, with the inputs held. Pure. dt_s: above 0 to 1 s; 0.1 s is the scan."""
    return advancer(parameters)(state, inputs, dt_s)


@lru_cache(maxsize=64)
def advancer(parameters: Parameters) -> Advancer:
    """`advance` with the parameters bound, for whoever takes every step. Inputs are asked once, until they change."""
    plant = model(parameters)
    rates, stepped = plant.rates, plant.stepped
    asked: Inputs | None = None
    is_open = is_dead = False

    def step(state: State, inputs: Inputs, dt_s: float) -> State:
        if not 0.0 < dt_s <= LONGEST_STEP_S:
            raise ValueError(f"dt_s is {dt_s}; a step is above 0 and at most {LONGEST_STEP_S} s")
        nonlocal asked, is_open, is_dead
        if inputs is not asked:
            asked, is_open, is_dead = inputs, path_open(inputs), not supply_live(inputs)
        # what changes at once: an open path carries no current, a supply without mains starts anew
        if is_open and state.current_a != 0.0:
            state = state._replace(current_a=0.0)
        if is_dead and state.supply_ready_s != 0.0:
            state = state._replace(supply_ready_s=0.0)
        numbers, film_a = rates(state, inputs, dt_s)
        return stepped(state, numbers, dt_s, film_a)

    return step
