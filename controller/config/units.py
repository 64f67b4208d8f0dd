"""Which unit a quantity is written in. Every number of a rig file carries its unit in the key: `above_C`, `error_mbar`.

The unit follows from the quantity, so a key with another unit, or with none, is refused before anything is compared.
Inside, `with_units` gives each such key its plain name (`above`), in the signal's unit.
"""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from controller.config.defaults import DEFAULTS
from controller.config.lines import Path
from controller.config.problems import Problems


class Unit(NamedTuple):
    shown: str
    suffix: str  # of a key


QUANTITIES: dict[str, Unit] = {
    "current": Unit("A", "A"),
    "voltage": Unit("V", "V"),
    "temperature": Unit("C", "C"),
    "pressure": Unit("mbar", "mbar"),
    "flow": Unit("L/min", "L_min"),
    "gas share": Unit("%", "percent"),
    "level": Unit("mm", "mm"),
    "switch": Unit("", ""),
}

# Signals with a fixed meaning, and the quantity of each; others are free to be named.
STANDARD: dict[str, str] = {
    "current": "current",
    "voltage": "voltage",
    "cell_spread": "voltage",
    "off_the_curve": "voltage",
    "cell_temperature": "temperature",
    "coolant_flow": "flow",
    "coolant_outlet": "temperature",
    "coolant_inlet": "temperature",
    "ambient": "temperature",
    "terminal_temperature": "temperature",
    "level_hydrogen": "switch",
    "level_oxygen": "switch",
    "level_not_high": "switch",
    "level_mm": "level",
    "seal_filled": "switch",
    "dry_floor": "switch",
    "air_flow": "switch",
    "cooling_air": "switch",
    "stop_chain": "switch",
    "pressure_hydrogen": "pressure",
    "pressure_oxygen": "pressure",
    "pressure_difference": "pressure",
    "room_hydrogen": "gas share",
    "hydrogen_in_oxygen": "gas share",
    "oxygen_in_hydrogen": "gas share",
    "controller_supply": "switch",
    "controller_temperature": "temperature",
}

OF_A_SIGNAL = ("range_low", "range_high", "error", "normal", "step", "rate", "means", "offset")
OF_A_LIMIT = ("above", "below", "derate_to", "deadband", "far", "differ")
_SUFFIXES = sorted((unit.suffix for unit in QUANTITIES.values() if unit.suffix), key=len, reverse=True)
_FOREIGN = {"K", "F", "mV", "mA", "bar", "Pa", "kPa", "cm", "m", "ppm", "L_h", "lpm"}  # recognised, to be refused
PER_CELL = "V_per_cell"

Table = dict[str, Any]


def quantity_of(name: str, signal: object) -> str:
    """Quantity of a signal as written; empty where it cannot be told."""
    if name in STANDARD:
        return STANDARD[name]
    given = signal.get("quantity") if isinstance(signal, dict) else None
    return given if isinstance(given, str) and given in QUANTITIES else ""


def with_units(document: Table, problems: Problems) -> Table:
    """The document with plain keys; `problems` learns how they are written. Wrong units are reported."""
    out = dict(document)
    signals, limits = document.get("signals"), document.get("limits")
    quantities: dict[str, str] = {}
    if isinstance(signals, dict):
        quantities = {name: quantity_of(name, signal) for name, signal in signals.items()}
        out["signals"] = {
            name: _plain(("signals", name), signal, quantities[name], OF_A_SIGNAL, problems)
            for name, signal in signals.items()
        }
    if isinstance(limits, dict):
        cells = _cells(document)
        out["limits"] = {
            name: _limit(("limits", name), limit, _limit_quantity(name, limit, quantities), cells, problems)
            for name, limit in limits.items()
        }
    return out


def _cells(document: Table) -> int:
    cell = document.get("cell")
    cells = cell.get("cells_in_series") if isinstance(cell, dict) else 1
    return cells if isinstance(cells, int) and 1 <= cells <= 1000 else 1


def _limit_quantity(name: str, limit: object, quantities: dict[str, str]) -> str:
    members = limit.get("signals") if isinstance(limit, dict) else None
    if not isinstance(members, list) or not members:
        members = list(DEFAULTS[name].signals) if name in DEFAULTS else []
    first = members[0] if members else ""
    return quantities.get(first) or STANDARD.get(first, "") if isinstance(first, str) else ""


def _limit(path: Path, limit: object, quantity: str, cells: int, problems: Problems) -> object:
    """As `_plain`; a voltage may also be given per cell and is then multiplied here."""
    if not isinstance(limit, dict) or quantity != "voltage":
        return _plain(path, limit, quantity, OF_A_LIMIT, problems)
    stack: Table = {}
    per_cell: dict[Path, Path] = {}
    for key, value in limit.items():
        base = key.removesuffix(f"_{PER_CELL}")
        if base not in OF_A_LIMIT or base == key:
            stack[key] = value
        elif f"{base}_V" in limit:
            problems.add((*path, key), f"{base}_V is given as well", "Give one of them.")
        else:
            is_number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e6
            stack[f"{base}_V"] = value * cells if is_number else value
            per_cell[(*path, base)] = (*path, key)
    plain = _plain(path, stack, quantity, OF_A_LIMIT, problems)
    problems.names.update(per_cell)
    return plain


def _plain(path: Path, table: object, quantity: str, bases: tuple[str, ...], problems: Problems) -> object:
    if not isinstance(table, dict):
        return table
    unit = QUANTITIES[quantity] if quantity else None
    out: Table = {}
    for key, value in table.items():
        inner = _plain((*path, key), value, quantity, ("means",), problems) if isinstance(value, dict) else value
        base, suffix = _split(key, bases)
        if base and unit is not None and suffix != unit.suffix:
            right = f"Write {_joined(base, unit.suffix)}." if unit.suffix else "A switch has no number: leave it out."
            problems.add((*path, key), f"a {quantity} is given in {unit.shown or 'no unit'}", right)
        elif base and suffix:  # or no unit is known, and the signal is refused later
            out[base] = inner
            problems.names[(*path, base)] = (*path, key)
        else:
            out[key] = inner
    return out


def _joined(base: str, suffix: str) -> str:
    return f"rate_{suffix}_per_s" if base == "rate" else f"{base}_{suffix}"


def _split(key: str, bases: tuple[str, ...]) -> tuple[str, str]:
    """Base and unit suffix of a key: `above_C` is (above, C), `above` is (above, ''), anything else is ('', '')."""
    if "rate" in bases and (found := re.fullmatch(r"rate(?:_(.+))?_per_s|rate", key)):
        return "rate", found[1] or ""
    for base in bases:
        if key == base:
            return base, ""
        if key.startswith(f"{base}_"):
            suffix = key.removeprefix(f"{base}_")
            if suffix in _SUFFIXES or suffix in _FOREIGN:
                return base, suffix
    return "", ""


def as_written(base: str, quantity: str) -> str:
    """The key under which a plain name stands in the file."""
    return _joined(base, QUANTITIES[quantity].suffix) if QUANTITIES[quantity].suffix else base
