"""The plant on the bench: its step and its observables behind the two questions that the bench asks."""

from __future__ import annotations

from collections.abc import Mapping

from simulator.boards.bench import Asked
from simulator.plant.advance import advance
from simulator.plant.inputs import OFF, Inputs
from simulator.plant.observe import observer
from simulator.plant.parameters import Parameters
from simulator.plant.state import State


class Physics:
    """`surroundings` holds what no wire decides: weather, knob, disturbances. Whoever makes a fault replaces it."""

    def __init__(self, parameters: Parameters, state: State, surroundings: Inputs = OFF) -> None:
        self.parameters = parameters
        self.state = state
        self.surroundings = surroundings
        self._inputs = surroundings
        self._look = observer(parameters)

    def advance(self, asked: Asked, dt_s: float) -> None:
        self._inputs = self.inputs_for(asked)
        self.state = advance(self.parameters, self.state, self._inputs, dt_s)

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
        return self._look(self.state, self._inputs)._asdict()
