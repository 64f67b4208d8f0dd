"""The whole bench in real time, with the fault library's names among what can be asked of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simulator.boards.wiring import Wiring
from simulator.faults.active import Active, Come
from simulator.faults.kinds import FaultKind
from simulator.faults.library import LIBRARY
from simulator.whole import PlantBehind, WholeBench


def on_a_bench(kind: FaultKind) -> bool:
    """Whether hardware alone can have it: a killed guard or a forged message is made elsewhere."""
    return not any(act.target in ("controller", "post", "link") for act in kind.acts)


class LiveBench(WholeBench):
    """A fault may be a part and a kind, as on any bench, or a name of the library and the part it is put on."""

    def __init__(
        self,
        wiring: Wiring,
        clock: Callable[[], float],
        seed: int = 1,
        temperature_c: float = 20.0,
        behind: PlantBehind | None = None,
    ) -> None:
        super().__init__(wiring, clock, seed, temperature_c, behind)
        self._active = Active(self, seed)

    def advance(self, now_s: float) -> None:
        self._active.update(now_s)
        super().advance(now_s)

    def known_faults(self) -> dict[str, dict[str, str]]:
        named = {k.name: {"": k.title} for k in LIBRARY.values() if on_a_bench(k)}
        return super().known_faults() | named

    def fault(self, part: str, kind: str, amount: float = 0.0) -> None:
        """amount: the first number of a named fault; 0 leaves it as the library has it."""
        if part not in LIBRARY:
            super().fault(part, kind, amount)
            return
        numbers = {LIBRARY[part].parameters[0].name: amount} if amount and LIBRARY[part].parameters else {}
        self._active.begin(Come(part, numbers, on=kind), self.now_s)

    def clear(self, part: str = "") -> None:
        if part in LIBRARY or not part:
            self._active.clear(part, now_s=self.now_s)
        if part not in LIBRARY:
            super().clear(part)

    def truth(self) -> dict[str, Any]:
        return super().truth() | {"named": list(self._active.names)}
