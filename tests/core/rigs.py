"""Rigs for the tests of the core, besides the plain one of `bench`."""

from __future__ import annotations

from dataclasses import replace

from controller.core.limits import Arming, Effect, Limit, TripKind
from controller.core.rig import Grade, PowerPath, Rig, Roles, Supply
from controller.core.signals import Signal
from tests.core.bench import LIMITS, SIGNALS, Bench, rig

MORE_SIGNALS = (
    Signal("room hydrogen", "Hydrogen in the room", "%", "gas", 0.1, -0.1, 4.0, device="converter 0x48"),
    Signal("dry floor", "Dry floor", "share", "switch", 0.1, 0.0, 1.0),
    Signal("air flow", "Air flow", "share", "switch", 0.1, 0.0, 1.0),
    Signal(
        "pressure hydrogen side",
        "Pressure, hydrogen side",
        "mbar",
        "pressure",
        0.1,
        -50.0,
        50.0,
        device="converter 0x49",
    ),
    Signal(
        "pressure oxygen side", "Pressure, oxygen side", "mbar", "pressure", 0.1, -50.0, 50.0, device="converter 0x49"
    ),
    Signal("voltage", "Stack voltage", "V", "voltage", 0.1, -10.0, 20.0, device="converter 0x48"),
)
HYDROGEN, FLOOR, AIR, PRESSURE_H, PRESSURE_O, VOLTAGE = range(6, 12)
MORE_LIMITS = (
    Limit(
        "room hydrogen",
        "Hydrogen in the room",
        (HYDROGEN,),
        0.8,
        True,
        Effect.TRIP,
        Arming.ALWAYS,
        TripKind.LOCAL,
        deadband=0.2,
        delay_s=2.0,
    ),
    Limit(
        "leak",
        "Liquid on the floor",
        (FLOOR,),
        0.5,
        False,
        Effect.TRIP,
        Arming.ALWAYS,
        TripKind.LOCAL,
        delay_s=2.0,
        is_switch=True,
    ),
    Limit(
        "ventilation lost",
        "Ventilation lost",
        (AIR,),
        0.5,
        False,
        Effect.TRIP,
        delay_s=5.0,
        is_switch=True,
        proving=True,
    ),
    Limit(
        "gas pressure hydrogen side",
        "Gas pressure, hydrogen side",
        (PRESSURE_H,),
        6.0,
        True,
        Effect.TRIP,
        Arming.ALWAYS,
        deadband=1.0,
        delay_s=0.3,
        grace_s=0.5,
    ),
    Limit(
        "gas pressure oxygen side",
        "Gas pressure, oxygen side",
        (PRESSURE_O,),
        6.0,
        True,
        Effect.TRIP,
        Arming.ALWAYS,
        deadband=1.0,
        delay_s=0.3,
        grace_s=0.5,
    ),
    Limit(
        "cell voltage low",
        "Cell volts low under load",
        (VOLTAGE,),
        4.2,
        False,
        Effect.TRIP,
        kind=TripKind.LOCAL,
        delay_s=1.5,
        settle_s=10.0,
    ),
    Limit("coolant flow high", "Coolant flow high", (4,), 8.0, True, Effect.TRIP, kind=TripKind.LOCAL, delay_s=3.0),
    Limit("over-temperature derate", "Current folded back, lye hot", (1,), 62.0, True, Effect.DERATE, derate_to=68.0),
)

CALM = {
    "room hydrogen": 0.0,
    "dry floor": 1.0,
    "air flow": 1.0,
    "pressure hydrogen side": 2.0,
    "pressure oxygen side": 2.0,
    "voltage": 6.4,
}


def full_rig(**changes: object) -> Rig:
    """Everything that may be fitted, once."""
    fields: dict[str, object] = {
        "signals": SIGNALS + MORE_SIGNALS,
        "limits": LIMITS + MORE_LIMITS,
        "roles": Roles(current=0, cell_temperature=1, ventilation=AIR, room_hydrogen=HYDROGEN, voltage=VOLTAGE),
        "switch_nothing_above": 1.6,
    }
    return rig(**(fields | changes))


def full_bench(**changes: object) -> Bench:
    bench = Bench(full_rig(**changes))
    bench.numbers.update(CALM)
    return bench


def with_limit(name: str, **changes: object) -> tuple[Limit, ...]:
    """The plain limits with one of them changed."""
    assert any(limit.name == name for limit in LIMITS)
    return tuple(replace(x, **changes) if x.name == name else x for x in LIMITS)  # type: ignore[arg-type]


def attended(**changes: object) -> Rig:
    """A third of the rated current, with somebody beside it; the minimum is low enough for that."""
    supply = Supply(kind="settable", rated_a=30.0, minimum_a=5.0, start_lag_s=0.5)
    limits = with_limit("minimum current", threshold=5.0)
    fields: dict[str, object] = {
        "grade": Grade.ATTENDED,
        "missing": ("a leak sensor",),
        "supply": supply,
        "limits": limits,
    }
    return rig(**(fields | changes))


# Power paths that somebody may have: each must be safe, with what it lacks.
PATHS = {
    "everything": PowerPath(),
    "no contacts": PowerPath(main_contact=False, second_contact=False),
    "no relay contact": PowerPath(relay_contact=False),
    "no contact at all": PowerPath(main_contact=False, second_contact=False, relay_contact=False),
    "one means": PowerPath(has_second=False, second_contact=False),
    "one means, no seal-in": PowerPath(has_second=False, second_contact=False, seal_in=False),
    "one means, no contacts": PowerPath(
        has_second=False, main_contact=False, second_contact=False, relay_contact=False
    ),
    "no seal-in": PowerPath(seal_in=False),
}
