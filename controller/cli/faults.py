"""Faults by name, as the demo offers them: what breaks on the bench, and what the guard must then do in which time."""

from __future__ import annotations

from typing import NamedTuple


class Named(NamedTuple):
    title: str
    parts: tuple[tuple[str, str, float], ...]  # part, kind, amount on the bench
    causes: frozenset[str]  # one of which the guard must name first
    within_s: float  # from the fault to contacts open
    kills_guard: bool = False


FAULTS: dict[str, Named] = {
    "coolant-lost": Named(
        "the tap is shut: no cooling water", (("plant", "coolant_supply", 0.0),), frozenset({"coolant flow low"}), 20.0
    ),
    "level-low": Named(
        "the hydrogen side's float falls",
        (("level_hydrogen", "stuck_open", 0.0),),
        frozenset({"level low hydrogen side", "level hydrogen low", "level low"}),
        12.0,
    ),
    "over-temperature": Named(
        "the lye heats up, one kelvin a second",
        (("cell_temperature", "drift", 60.0),),
        frozenset({"over-temperature"}),
        90.0,
    ),
    "over-current": Named(
        "the supply runs away",
        (("plant", "supply_forced_a", 42.0),),
        frozenset({"over-current", "short", "supply does not obey"}),
        5.0,
    ),
    "guard-killed": Named(
        "the guard is killed at once", (), frozenset({"guard ended while powered"}), 1.5, kills_guard=True
    ),
}
