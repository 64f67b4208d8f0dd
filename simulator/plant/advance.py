"""One step of the plant."""

from __future__ import annotations

from .inputs import Inputs
from .parameters import Parameters
from .rates import model
from .state import State
from .supply import path_open, supply_live

LONGEST_STEP_S = 1.0  # beyond it the heat of a nearly empty reservoir would no longer be stable


def switch(state: State, inputs: Inputs) -> State:
    """What changes at once: an open path carries no current, a supply without mains starts anew."""
    if state.current_a != 0.0 and path_open(inputs):
        state = state._replace(current_a=0.0)
    if state.supply_ready_s != 0.0 and not supply_live(inputs):
        state = state._replace(supply_ready_s=0.0)
    return state


def advance(parameters: Parameters, state: State, inputs: Inputs, dt_s: float) -> State:
    """The state dt_s later, with the inputs held. Pure. dt_s: above 0 to 1 s; 0.1 s is the scan."""
    if not 0.0 < dt_s <= LONGEST_STEP_S:
        raise ValueError(f"dt_s is {dt_s}; a step is above 0 and at most {LONGEST_STEP_S} s")
    state = switch(state, inputs)
    plant = model(parameters)
    numbers, film_a = plant.rates(state, inputs, dt_s)
    return plant.stepped(state, numbers, dt_s, film_a)
