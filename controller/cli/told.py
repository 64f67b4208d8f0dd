"""Events as the guard's socket gives them, back as events."""

from __future__ import annotations

from typing import Any

from controller.core.events import Event, Happened


def event_of(told: dict[str, Any]) -> Event:
    return Event(
        told["number"],
        told["at_s"],
        Happened[told["what"].upper()],
        told["subject"],
        told["detail"],
        told["source"],
        told["ticket"],
        told["seen"],
        told["limit"],
    )
