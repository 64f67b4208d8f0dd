"""The plant on the bench: its step and its observables behind the two questions that the bench asks."""

from __future__ import annotations

import re
from collections.abc import Mapping

from simulator.boards.bench import Asked
from simulator.plant.advance import advancer
from simulator.plant.inputs import OFF, Inputs
from simulator.plant.observe import Seen, observer
from simulator.plant.parameters import Parameters
from simulator.plant.state import State

TAP = re.compile(r"cell_([1-9]\d*)_v")


def looked_at(seen: Seen, name: str, otherwise: float = 0.0) -> float:
    """A quantity by its name; `cell_2_v` is the second cell from the negative end."""
    if tap := TAP.fullmatch(name):
        number = int(tap[1])
        return seen.cell_v[number - 1] if number <= len(seen.cell_v) else otherwise
    value: float = getattr(seen, name, otherwise)
    return value


def by_name(seen: Seen) -> dict[str, float]:
    """Everything that an instrument can look at."""
    quantities = seen._asdict()
    return quantities | {f"cell_{n}_v": volts for n, volts in enumerate(quantities.pop("cell_v"), 1)}


class Physics:
    """`surroundings` holds what no wire decides: weather, knob, disturbances. Whoever makes a fault replaces it."""

    def __init__(self, parameters: Parameters, state: State, surroundings: Inputs = OFF) -> None:
        self.parameters = parameters
        self.state = state
        self.surroundings = surroundings
        self._inputs = surroundings
        self._step, self._look = advancer(parameters), observer(parameters)

    def advance(self, asked: Asked, dt_s: float) -> None:
        self._inputs = self.inputs_for(asked)
        self.state = self._step(self.state, self._inputs, dt_s)

    def inputs_for(self, asked: Asked) -> Inputs:
        """What reaches the plant, from the wires and from around it."""
        on, around = asked.on, self.surroundings
        return around._replace(
            main_closed=asked.main_closed,
            second_closed=asked.second_closed,
            setpoint_a=around.setpoint_a if asked.setpoint_a is None else asked.setpoint_a,
            coolant_open=on.get("coolant", False),
            ventilation_on=on.get("ventilation", True),
            collecting=on.get("collect", False),
            top_up_on=on.get("top_up", False),
            mains=asked.mains,
        )

    def quantities(self) -> Mapping[str, float]:
        return by_name(self._look(self.state, self._inputs))
