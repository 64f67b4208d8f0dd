"""The faults that the demo offers by name, and what must follow from each in which time."""

from __future__ import annotations

from typing import NamedTuple

GUARD_KILLED = "guard-killed"


class Named(NamedTuple):
    title: str
    parts: tuple[tuple[str, str, float], ...]  # as the bench's control takes them: name or part, kind, amount
    causes: frozenset[str]  # one of which the guard must name first
    within_s: float  # from the fault to contacts open
    needs_cooling: bool = False
    lye_c: float = 20.0  # where the demo's bench begins, so that nobody waits for the heat

    @property
    def kills_guard(self) -> bool:
        return not self.parts


FAULTS: dict[str, Named] = {
    "coolant-lost": Named(
        "nothing cools any more",
        (("coolant-lost", "", 0.0),),
        frozenset({"coolant flow low", "cooling fan lost"}),
        20.0,
        needs_cooling=True,
    ),
    "level-low": Named(
        "the hydrogen side's float falls", (("level-low", "", 0.0),), frozenset({"level low hydrogen side"}), 6.0
    ),
    "over-temperature": Named(
        "the lye gets hotter by 15 K a minute",
        (("over-temperature", "", 15.0),),
        frozenset({"over-temperature"}),
        150.0,
        lye_c=56.0,
    ),
    "over-current": Named(
        "the supply runs away",
        (("supply-runs-away", "", 0.0),),
        frozenset({"over-current", "short", "supply does not obey"}),
        6.0,
    ),
    GUARD_KILLED: Named("the guard's process is killed", (), frozenset({"guard ended while powered"}), 1.5),
}
