"""What pydantic found, in the words of the rig file: the key as written, and what would be right by its description."""

from __future__ import annotations

import difflib
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from controller.config import measured
from controller.config.defaults import DEFAULTS
from controller.config.lines import Path
from controller.config.pins import DRIVERS
from controller.config.problems import Problems, dotted, shown
from controller.config.units import OF_A_LIMIT, OF_A_SIGNAL, Table, as_written, quantity_of

_SIGNAL_MODELS: dict[str, type[BaseModel]] = {
    **measured.SENSORS,
    measured.NOT_FITTED: measured.NotFitted,
    measured.NO_SENSOR: measured.NoSensor,
}
_TAGS = frozenset(_SIGNAL_MODELS)
_TABLE_WANTED = ("dict_type", "model_type", "model_attributes_type")
_PLAIN = {
    "bool_type": "is not true or false",
    "float_type": "is not a number",
    "int_type": "is not a whole number",
    "string_type": "is not text in quotes",
    "finite_number": "is not a finite number",
    **dict.fromkeys(_TABLE_WANTED, "is not a table"),
    "list_type": "is not a list",
    "date_type": "is not a day, as 2026-05-01",
}


def report(
    error: ValidationError,
    model: type[BaseModel],
    document: Table,
    problems: Problems,
) -> None:
    """Add every finding about `document`, whose keys are plain."""
    for found in error.errors(include_url=False):
        location = tuple(part for part in found["loc"] if part != "[key]")
        is_key = "[key]" in found["loc"]
        tag = location[2] if location[:1] == ("signals",) and len(location) > 2 else None
        path: Path = location[:2] + location[3:] if tag in _TAGS else location
        if tag == measured.NO_SENSOR and found["type"] == "extra_forbidden":
            continue  # of a table without a sensor nobody can say which keys it may have
        owner, field = _described(model, location)
        written = problems.names.get(path, path)
        if len(path) > 1 and path[:-1] in problems.names:
            written = (*problems.names[path[:-1]], path[-1])
        kind = found["type"]
        if kind == "missing":
            key = _written(str(path[-1]), path, document)
            problems.add((*written[:-1], key), "is missing", f"Add it: {field or 'see another rig file'}.")
        elif kind == "extra_forbidden":
            problems.add(written, *_unknown(str(written[-1]), owner, path, document))
        elif is_key:
            problems.add(written, f"{shown(found['input'])} is not a name that this table has", _expected(found, field))
        else:
            wrong = f"{shown(found['input'])} {_PLAIN.get(kind, 'is not right')}"
            table = f"Write a table [{dotted(written)}] with its keys."
            problems.add(written, wrong, table if kind in _TABLE_WANTED else _expected(found, field))


def _expected(found: Any, field: str) -> str:
    """What would be right: the field's own words, and the bound that was broken."""
    message = str(found["msg"]).replace("Input should be ", "it must be ").replace("String should", "it should")
    return f"{message[0].upper()}{message[1:]}{f' ({field})' if field else ''}."


def _unknown(key: str, owner: type[BaseModel] | None, path: Path, document: Table) -> tuple[str, str]:
    if key in ("driver", "drivers"):
        return "a driver cannot be chosen part by part", DRIVERS
    known = [_written(name, path, document) for name in owner.model_fields] if owner else []
    close = difflib.get_close_matches(key, known, n=1, cutoff=0.6)
    if close:
        return "there is no such key here", f"Did you mean {close[0]}?"
    return "there is no such key here", f"Known: {', '.join(known)}." if known else "Leave it out."


def _written(key: str, path: Path, document: Table) -> str:
    """A plain key as it is written in the table that a path leads into: with the unit of its signal."""
    bases = {"signals": OF_A_SIGNAL, "limits": OF_A_LIMIT}.get(str(path[0]), ())
    if key not in bases or len(path) < 3:
        return key
    signals = document.get("signals")
    name = str(path[1])
    if path[0] == "limits":
        name = _first_signal(name, document)
    quantity = quantity_of(name, signals.get(name) if isinstance(signals, dict) else None)
    return as_written(key, quantity) if quantity else key


def _first_signal(limit: str, document: Table) -> str:
    table = document["limits"][limit]
    members = table.get("signals") if isinstance(table, dict) else None
    if isinstance(members, list) and members:
        return str(members[0])
    return DEFAULTS[limit].signals[0] if limit in DEFAULTS else ""


def _described(model: type[BaseModel], location: tuple[Any, ...]) -> tuple[type[BaseModel] | None, str]:
    """The model that a location ends in, and the description of its field."""
    owner: type[BaseModel] | None = model
    field = ""
    for part in location:
        if isinstance(part, str) and part in _TAGS:
            owner = _SIGNAL_MODELS[part]
            continue
        info = owner.model_fields.get(str(part)) if owner is not None else None
        if info is None:
            continue  # a name in a table of tables, or a place in a list
        field = info.description or ""
        inner = _model_in(info.annotation)
        if inner is not None:
            owner = inner
    return owner, field


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The one model that an annotation holds, through None, dict and Annotated; None where there are several."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = {m for m in map(_model_in, get_args(annotation)) if m is not None}
    return inner.pop() if len(inner) == 1 else None
