"""A whole simulated rig: the plant's physics behind the boards, and everything that can go wrong with either."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from simulator.boards.bench import Bench, FaultError
from simulator.boards.physics import Physics, by_name
from simulator.boards.wiring import Wiring
from simulator.plant.inputs import NEUTRAL, OFF, Disturbances
from simulator.plant.observe import Seen
from simulator.plant.parameters import BOATHOUSE, MINIMAL, Parameters
from simulator.plant.start import cold_start
from simulator.plant.state import State

PLANT = "plant"  # the part that the physics' own faults sit in
_KINDS = {
    name: f"{name.replace('_', ' ')}; {default:g} is sound" if isinstance(default, float) else name.replace("_", " ")
    for name, default in NEUTRAL._asdict().items()
    if not isinstance(default, tuple | int) or isinstance(default, bool)
}
QUANTITIES = tuple(name for name in Seen._fields if name != "cell_v")
ATTENDED_A = 10.0  # where the knob of the minimal bench stands: what it may run at with somebody beside it


class PlantBehind(Physics):
    """The physics as a bench asks for it.

    `disturbances` is what has gone wrong with them; `script` lays numbers, by quantity, over what instruments look at.
    """

    def __init__(self, parameters: Parameters, state: State, knob_a: float) -> None:
        super().__init__(parameters, state, OFF._replace(setpoint_a=knob_a))
        self.script: dict[str, float] = {}
        self.last = self.shown()

    @property
    def disturbances(self) -> Disturbances:
        return self.surroundings.disturbances

    @disturbances.setter
    def disturbances(self, wrong: Disturbances) -> None:
        self.surroundings = self.surroundings._replace(disturbances=wrong)

    @property
    def seen(self) -> Seen:
        """The truth, whatever anybody is shown."""
        return self._look(self.state, self._inputs)

    def shown(self) -> Seen:
        """What instruments look at. Kept as `last` for whoever judges."""
        self.last = (
            Seen._make(self.script.get(n, v) for n, v in zip(Seen._fields, self.seen, strict=True))
            if self.script
            else self.seen
        )
        return self.last

    def quantities(self) -> Mapping[str, float]:
        return by_name(self.shown())


def parameters_of(wiring: Wiring) -> Parameters:
    """The plant of a wiring: one whose supply has a knob unless a set-point is wired."""
    return BOATHOUSE if "set_point" in wiring.pins else MINIMAL


class WholeBench(Bench):
    """A bench with the physics behind it; their faults are kinds of the part `plant`, the amount in the kind's unit."""

    def __init__(
        self,
        wiring: Wiring,
        clock: Callable[[], float],
        seed: int = 1,
        temperature_c: float = 20.0,
        behind: PlantBehind | None = None,
    ) -> None:
        parameters = parameters_of(wiring)
        knob_a = ATTENDED_A if parameters is MINIMAL else OFF.setpoint_a
        self.behind = behind or PlantBehind(parameters, cold_start(parameters, temperature_c), knob_a)
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
            self.behind.disturbances = NEUTRAL
        if part != PLANT:
            super().clear(part)
