"""Measurements as SenML packs (RFC 8428) in its registered units."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from controller.core.signals import Signal, Value

VERSION = 10


class Unit(NamedTuple):
    senml: str
    factor: float  # from ours to SenML's


# SenML knows no litre a minute and no millibar, and discourages a bare "%": a share has the unit "/".
UNITS: dict[str, Unit] = {
    "A": Unit("A", 1.0),
    "V": Unit("V", 1.0),
    "C": Unit("Cel", 1.0),
    "L/min": Unit("m3/s", 1.0 / 60000.0),
    "mbar": Unit("Pa", 100.0),
    "%": Unit("/", 0.01),
    "share": Unit("/", 1.0),
    "": Unit("/", 1.0),  # a contact: the share of the time for which it was proven
    "mm": Unit("m", 0.001),
}


def pack(rig: str, time_s: float, measured: Iterable[tuple[Signal, Value]]) -> list[dict[str, object]]:
    """One pack of the values that are to be believed; what is not seen is left out, never a zero.

    time_s: Unix time of the frame. Raises KeyError for a unit that SenML has no word for.
    """
    records: list[dict[str, object]] = []
    for signal, value in measured:
        if value.number is None:
            continue
        unit = UNITS[signal.unit]
        name = signal.name.replace(" ", "-")
        records.append({"n": name, "u": unit.senml, "v": value.number * unit.factor})
    if records:
        records[0] = {"bn": f"urn:dev:lyewatch:{rig.replace(' ', '-')}:", "bt": time_s, **records[0]}
    return records
