"""Short ways to run the plant, shared by its tests."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.plant import BOATHOUSE, NEUTRAL, RUN30, Inputs, Parameters, Seen, State, advance, observe
from simulator.plant.rates import model
from simulator.plant.state import NUMBERS


def disturbed(inputs: Inputs = RUN30, **fields: Any) -> Inputs:
    return inputs._replace(disturbances=NEUTRAL._replace(**fields))


def run(state: State, inputs: Inputs, seconds: float, dt_s: float = 0.1, parameters: Parameters = BOATHOUSE) -> State:
    for _ in range(round(seconds / dt_s)):
        state = advance(parameters, state, inputs, dt_s)
    return state


def seen(state: State, inputs: Inputs, parameters: Parameters = BOATHOUSE) -> Seen:
    return observe(parameters, state, inputs)


def packed(state: State) -> NDArray[np.float64]:
    return np.array([*state[:-1], *state.film_c])


def unpacked(vector: NDArray[np.float64]) -> State:
    numbers = [float(x) for x in vector]
    return State._make((*numbers[:NUMBERS], tuple(numbers[NUMBERS:])))


def derivative(inputs: Inputs, parameters: Parameters = BOATHOUSE) -> Any:
    """The plant's own right-hand side, as a general solver wants it."""
    rates = model(parameters).rates

    def right_hand_side(_: float, vector: NDArray[np.float64]) -> NDArray[np.float64]:
        numbers, films = rates(unpacked(vector), inputs, 0.0)
        return np.array([*numbers, *films])

    return right_hand_side
