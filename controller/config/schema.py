"""JSON Schema of a rig file, for editors: pydantic's, with the keys of signals and limits as they are written."""

from __future__ import annotations

from typing import Any

from controller.config.models import RigFile
from controller.config.units import OF_A_LIMIT, OF_A_SIGNAL, PER_CELL, QUANTITIES

_SUFFIXES = [unit.suffix for unit in QUANTITIES.values() if unit.suffix]


def rig_schema() -> dict[str, Any]:
    """The schema. Which unit a signal needs follows from its quantity; that is left to `lyewatch check`."""
    schema = RigFile.model_json_schema()
    for model in schema["$defs"].values():
        properties = model.get("properties", {})
        if "above" in properties:
            _written(model, OF_A_LIMIT, [*_SUFFIXES, PER_CELL])
        elif {"range_low", "means"} & properties.keys():
            _written(model, OF_A_SIGNAL, _SUFFIXES)
    return schema


def _written(model: dict[str, Any], bases: tuple[str, ...], suffixes: list[str]) -> None:
    """Replace plain keys by patterns with each unit."""
    units = "|".join(suffixes)
    patterns = {}
    for base in bases:
        shape = model["properties"].pop(base, None)
        if shape is not None:
            patterns[f"^rate_({units})_per_s$" if base == "rate" else f"^{base}_({units})$"] = shape
    model["patternProperties"] = patterns
    if "required" in model:
        model["required"] = [key for key in model["required"] if key not in bases]
