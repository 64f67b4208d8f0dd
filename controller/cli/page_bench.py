"""The named faults of the demo as the page offers them, played through the bench's own control socket."""

from __future__ import annotations

from pathlib import Path

from controller.cli.faults import FAULTS
from controller.page.api import FaultNow
from controller.page.bench import NoBench
from simulator.boards.client import control


class ControlledBench:
    """Which faults are on is remembered here: the page that caused them is the one that shows them."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._caused: set[str] = set()

    def faults(self) -> list[FaultNow]:
        self._ask("faults")  # is it there?
        return [
            FaultNow(name=name, title=one.title, active=name in self._caused)
            for name, one in FAULTS.items()
            if not one.kills_guard
        ]

    def play(self, name: str, clear: bool) -> None:
        one = FAULTS.get(name)
        if one is None or one.kills_guard:
            raise ValueError(f"no fault {name!r}; known: {', '.join(f.name for f in self.faults())}")
        for part, kind, amount in one.parts:
            if clear:
                self._ask("clear", part=part)
            else:
                self._ask("fault", part=part, kind=kind, amount=amount)
        (self._caused.discard if clear else self._caused.add)(name)

    def _ask(self, do: str, **given: object) -> object:
        try:
            return control(self._folder, do, **given)
        except OSError as error:
            raise NoBench(f"no bench answers in {self._folder} ({error.strerror})") from None
