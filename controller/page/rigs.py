"""What is known of each rig on the broker, and when it became known by this machine's own steady clock.

A retained message says what was, not what is: it never counts as having arrived. A number that does not grow within a
boot is a repeat and changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from controller.link.messages import Presence, StateNow

RIGS_AT_MOST: Final = 32
WATCHERS_AT_MOST: Final = 8
FORGET_REPEATS_S: Final = 10.0  # a guard that was restored from a copy may count from an older number


@dataclass(slots=True)
class RigSeen:
    """One rig. Times are steady seconds of this process."""

    rig: str
    state: dict[str, Any] | None = None
    arrived_s: float | None = None  # of the newest live state; None while there is only a retained one
    presence: dict[str, Any] | None = None

    def brief(self) -> dict[str, Any]:
        """Its line in the list of rigs."""
        state = self.state or {}
        return {
            "rig": self.rig,
            "arrived": self.arrived_s,
            "present": (self.presence or {}).get("present"),
            "state": state.get("state", ""),
            "sentence": state.get("sentence", ""),
            "simulated": state.get("simulated", False),
            "time_s": state.get("time_s"),
            "trips": len(state.get("causes", ())),
            "alarms": sum(a["standing"] and not a["acknowledged"] for a in state.get("alarms", ())),
        }


@dataclass(slots=True)
class Rigs:
    """All rigs, and whether the broker is there."""

    broker_up: bool = False
    broker_since_s: float = 0.0
    broker_why: str = "not connected yet"
    seen: dict[str, RigSeen] = field(default_factory=dict)
    watchers: dict[str, dict[str, Any]] = field(default_factory=dict)  # each notify, by its client id
    refused: int = 0  # messages that were not understood, or came from one rig too many

    def rig(self, name: str) -> RigSeen | None:
        """Where to keep what a rig says; None for one too many."""
        found = self.seen.get(name)
        if found is None and len(self.seen) < RIGS_AT_MOST:
            found = self.seen[name] = RigSeen(name)
        return found

    def take_state(self, state: StateNow, retained: bool, now_s: float) -> bool:
        """Whether anything changed."""
        seen = self.rig(state.rig)
        if seen is None:
            self.refused += 1
            return False
        if seen.state is not None and state.boot == seen.state["boot"] and state.number <= seen.state["number"]:
            lately = seen.arrived_s is not None and now_s - seen.arrived_s < FORGET_REPEATS_S
            if retained or lately or state.number == seen.state["number"]:
                return False
        told_again = seen.state is not None and (state.boot, state.time_s) == (seen.state["boot"], seen.state["time_s"])
        seen.state = state.model_dump(mode="json")
        if not told_again:  # the same moment under a new number is no word of the guard's
            seen.arrived_s = None if retained else now_s
        return True

    def explain_state(self, state: StateNow) -> bool:
        """The same state, now with its titles and limits: no word of the guard's, so it grows no younger by it."""
        seen = self.seen.get(state.rig)
        if seen is None or seen.state is None:
            return False
        if (state.boot, state.number) != (seen.state["boot"], seen.state["number"]):
            return False
        seen.state = state.model_dump(mode="json")
        return True

    def take_presence(self, presence: Presence) -> bool:
        seen = self.rig(presence.rig)
        if seen is None:
            self.refused += 1
            return False
        seen.presence = presence.model_dump(mode="json")
        return True

    def take_watcher(self, client: str, present: str, retained: bool, now_s: float) -> bool:
        """What a notify says of itself. What the broker kept is not its word: who keeps it may be long dead."""
        if client not in self.watchers and len(self.watchers) >= WATCHERS_AT_MOST:
            away = next((name for name, one in self.watchers.items() if one["present"] != "here"), None)
            if away is None or present != "here":
                self.refused += 1
                return False
            del self.watchers[away]
        self.watchers[client] = {"present": present, "arrived": None if retained else now_s}
        return True

    def broker(self, up: bool, why: str, now_s: float) -> None:
        """The connection came or went. What was live is kept, with the time it arrived: it only grows older."""
        if up != self.broker_up:
            self.broker_since_s = now_s
        self.broker_up, self.broker_why = up, why

    def view(self, name: str, build: str) -> dict[str, Any]:
        """Everything a phone that looks at one rig is shown; no name, no rig."""
        seen = self.seen.get(name)
        return {
            "build": build,
            "broker": {"up": self.broker_up, "since": self.broker_since_s, "why": self.broker_why},
            "rig": name,
            "arrived": seen.arrived_s if seen else None,
            "presence": seen.presence if seen else None,
            "state": seen.state if seen else None,
            "watchers": {name: dict(one) for name, one in self.watchers.items()},
            "rigs": [self.seen[n].brief() for n in sorted(self.seen)],
        }
