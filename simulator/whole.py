"""A whole simulated rig: the plant's physics behind the boards, and everything that can go wrong with either."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from simulator.boards.bench import Asked, Bench, FaultError
from simulator.boards.wiring import Wiring
from simulator.plant.advance import advance
from simulator.plant.inputs import NEUTRAL, Disturbances, Inputs
from simulator.plant.observe import observer
from simulator.plant.parameters import BOATHOUSE, MINIMAL, Parameters
from simulator.plant.start import cold_start

PLANT = "plant"  # the part that the physics' own faults sit in
_KINDS = {
    name: f"{name.replace('_', ' ')}; {default:g} is sound" if isinstance(default, float) else name.replace("_", " ")
    for name, default in NEUTRAL._asdict().items()
    if not isinstance(default, tuple | int) or isinstance(default, bool)
}


class PlantBehind:
    """The physics as a bench asks for it. `disturbances` is what has gone wrong with them."""

    def __init__(self, parameters: Parameters, temperature_c: float) -> None:
        self._parameters = parameters
        self._state = cold_start(parameters, temperature_c)
        self._look = observer(parameters)
        self._inputs = Inputs()
        self.disturbances = NEUTRAL

    def advance(self, asked: Asked, dt_s: float) -> None:
        on = asked.on
        self._inputs = self._inputs._replace(
            main_closed=asked.main_closed,
            second_closed=asked.second_closed,
            setpoint_a=self._inputs.setpoint_a if asked.setpoint_a is None else asked.setpoint_a,
            coolant_open=on.get("coolant", False),
            ventilation_on=on.get("ventilation", True),
            collecting=on.get("collect", False),
            top_up_on=on.get("top_up", False),
            mains=asked.mains,
            disturbances=self.disturbances,
        )
        self._state = advance(self._parameters, self._state, self._inputs, dt_s)

    def quantities(self) -> Mapping[str, float]:
        seen = self._look(self._state, self._inputs)._asdict()
        return {name: number for name, number in seen.items() if isinstance(number, float)}


def parameters_of(wiring: Wiring) -> Parameters:
    """The plant of a wiring: one whose supply has a knob unless a set-point is wired."""
    return BOATHOUSE if "set_point" in wiring.pins else MINIMAL


class WholeBench(Bench):
    """A bench with the physics behind it; their faults are kinds of the part `plant`, the amount in the kind's unit."""

    def __init__(self, wiring: Wiring, clock: Callable[[], float], seed: int = 1, temperature_c: float = 20.0) -> None:
        self.behind = PlantBehind(parameters_of(wiring), temperature_c)
        super().__init__(wiring, self.behind, clock, seed, keeps_outputs=False)

    def known_faults(self) -> dict[str, dict[str, str]]:
        return super().known_faults() | {PLANT: _KINDS}

    def fault(self, part: str, kind: str, amount: float = 0.0) -> None:
        if part != PLANT:
            super().fault(part, kind, amount)
            return
        if kind not in _KINDS:
            raise FaultError(f"{PLANT} has no fault {kind!r}; known: {', '.join(_KINDS)}")
        value: Any = amount > 0.0 if isinstance(getattr(NEUTRAL, kind), bool) else amount
        self.behind.disturbances = self.behind.disturbances._replace(**{kind: value})

    def clear(self, part: str = "") -> None:
        if part in ("", PLANT):
            self.behind.disturbances = Disturbances()
        if part != PLANT:
            super().clear(part)
