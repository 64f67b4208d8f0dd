"""Faults of a simulated rig, asked of its bench: never of the guard, and never over the broker.

What a bench is and where it runs is known where the parts are wired together; the page only knows this much of it.
"""

from __future__ import annotations

from typing import Protocol

from controller.page.api import FaultNow


class NoBench(ConnectionError):
    """No bench of that rig answers here."""


class Bench(Protocol):
    """Blocking; called from a thread. Raises NoBench, or ValueError with the bench's own word when it will not."""

    def faults(self) -> list[FaultNow]: ...

    def play(self, name: str, clear: bool) -> None: ...
