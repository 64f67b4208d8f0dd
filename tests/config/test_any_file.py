"""Whatever is done to a rig file, it loads or is refused with words: nothing else may come out of it."""

from __future__ import annotations

import copy
import itertools
import json
import re
import tomllib
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.config import rigs
from controller.config.defaults import DEFAULTS
from controller.config.load import compile_text
from controller.config.problems import RigFileError
from controller.config.schema import rig_schema
from controller.core.limits import Limit
from tests.config.changed import TODAY
from tests.config.toml_writer import document

FILES = {name: rigs.shipped(name).read_text(encoding="utf-8") for name in rigs.names()}
DOCUMENTS = {name: tomllib.loads(written) for name, written in FILES.items()}
WEIRD = st.sampled_from(
    [0, -1, 1e308, -1e308, float("nan"), float("inf"), 10**400, "", "x", "85.0", "é\0\n", True, False, [], {}, [[]],
     [1, 2], {"above": 1}, date(9999, 12, 31), date(1, 1, 1), 1e-300, 4, 14, "ADS1115", "DS18B20", "switch", "none"]
)  # fmt: skip
KEYS = st.sampled_from(
    ["x", "above_C", "above", "range_low_K", "because", "fitted", "V_per_A", "driver", "above_V_per_cell", "signals",
     "quantity", "current", "second", "over-temperature", "a b", "\n", ""]
)  # fmt: skip


def places(thing: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = thing.items() if isinstance(thing, dict) else enumerate(thing) if isinstance(thing, list) else ()
    return [p for key, value in inner for p in ((*path, key), *places(value, (*path, key)))]


@st.composite
def changed_documents(draw: st.DrawFn) -> str:
    """A shipped rig with some keys removed, renamed, doubled, or given another value or type."""
    out = copy.deepcopy(DOCUMENTS[draw(st.sampled_from(sorted(DOCUMENTS)))])
    for _ in range(draw(st.integers(1, 6))):
        all_places = places(out)
        if not all_places:
            break
        *path, last = draw(st.sampled_from(all_places))
        table: Any = out
        for key in path:
            table = table[key]
        match draw(st.sampled_from(["remove", "replace", "scale", "add", "rename"])):
            case "remove":
                del table[last]
            case "replace":
                table[last] = copy.deepcopy(draw(WEIRD))  # a list or table among them is put in, and changed, again
            case "scale" if isinstance(table[last], float) or type(table[last]) is int:
                if abs(table[last]) < 1e300:
                    table[last] *= draw(st.sampled_from([0, -1, 0.01, 10, 1e3, 1e9]))
            case "add" if isinstance(table, dict):
                table[draw(KEYS)] = copy.deepcopy(draw(WEIRD))
            case "rename" if isinstance(table, dict):
                table[draw(KEYS)] = table.pop(last)
            case _:
                pass
    return document(out)


def loads_or_is_refused(written: bytes) -> bool:
    """Whether it loads; a refusal must have words and lie within the file."""
    try:
        compile_text(written, "any.toml", TODAY)
    except RigFileError as refusal:
        problems = refusal.problems
    else:
        return True
    assert problems
    for problem in problems:
        assert problem.wrong
        assert problem.right
        assert 0 <= problem.line <= written.count(b"\n") + 1
        assert str(problem).isprintable()
    return False


@settings(max_examples=400, deadline=None)
@given(changed_documents())
def test_a_changed_document_loads_or_is_refused(written: str) -> None:
    loads_or_is_refused(written.encode("utf-8", "surrogatepass"))


# A limit's number may be worked out from another limit, from its usual signal or from a table of the file. None of them
# need be there.
GONE = {"fitted": False, "because": "stands in another room"}


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_a_rig_that_goes_without_any_of_its_limits_loads_or_is_refused(name: str) -> None:
    for left_out in DEFAULTS:
        changed = copy.deepcopy(DOCUMENTS[name])
        changed.setdefault("limits", {})[left_out] = GONE
        loads_or_is_refused(document(changed).encode())


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_a_limit_that_looks_at_another_signal_than_its_usual_one_loads_or_is_refused(name: str) -> None:
    others = itertools.cycle(DOCUMENTS[name]["signals"])
    for limit, default in DEFAULTS.items():
        for other in itertools.islice(others, 4):
            changed = copy.deepcopy(DOCUMENTS[name])
            changed.setdefault("limits", {}).setdefault(limit, {})["signals"] = [other]
            changed["signals"].pop(default.signals[0], None)
            loads_or_is_refused(document(changed).encode())


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_a_file_without_any_one_of_its_tables_and_keys_loads_or_is_refused(name: str) -> None:
    for *path, last in places(DOCUMENTS[name]):
        changed = copy.deepcopy(DOCUMENTS[name])
        table: Any = changed
        for key in path:
            table = table[key]
        del table[last]
        loads_or_is_refused(document(changed).encode())


def test_a_limit_worked_out_from_one_that_the_rig_goes_without_keeps_its_number() -> None:
    """With a test of its own for current in place of ours, a short circuit must still end at once."""
    changed = copy.deepcopy(DOCUMENTS["minimal"])
    before = _limit(changed, "short")
    changed.setdefault("limits", {})["over-current"] = GONE
    assert _limit(changed, "short") == before


def _limit(rig: dict[str, Any], name: str) -> Limit:
    compiled = compile_text(document(rig).encode(), "any.toml", TODAY)
    (limit,) = (limit for limit in compiled.core.limits if limit.name == name)
    return limit


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(FILES)), st.data())
def test_a_text_with_a_piece_cut_out_or_put_in_loads_or_is_refused(name: str, data: st.DataObject) -> None:
    written = FILES[name].encode()
    start = data.draw(st.integers(0, len(written)))
    end = data.draw(st.integers(start, min(len(written), start + 40)))
    piece = data.draw(st.binary(max_size=6) | st.text(max_size=6).map(str.encode) | st.just(b"= [[["))
    loads_or_is_refused(written[:start] + piece + written[end:])


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_at_all_are_refused(written: bytes) -> None:
    assert not loads_or_is_refused(written)


def test_most_files_written_anew_load_as_before() -> None:
    """The writer of these tests loses comments and order of keys, nothing else: without a change both rigs load."""
    for thing in DOCUMENTS.values():
        assert loads_or_is_refused(document(thing).encode())


@pytest.mark.parametrize("name", rigs.names())
def test_the_schema_knows_every_key_of_the_shipped_rigs(name: str) -> None:
    schema = rig_schema()
    json.dumps(schema)
    assert _unknown(schema, schema, DOCUMENTS[name], ()) == []


def test_the_schema_refuses_plain_keys_and_unknown_ones() -> None:
    schema = rig_schema()
    wrong = copy.deepcopy(DOCUMENTS["boathouse"])
    wrong["limits"]["over-temperature"]["above"] = 70
    wrong["signals"]["current"]["error"] = 1
    wrong["supply"]["colour"] = "red"
    assert set(_unknown(schema, schema, wrong, ())) == {
        ("limits", "over-temperature", "above"),
        ("signals", "current", "error"),
        ("supply", "colour"),
    }


def _unknown(root: dict[str, Any], schema: dict[str, Any], thing: Any, path: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Keys that a schema forbids: the little of JSON Schema that this needs."""
    if "$ref" in schema:
        return _unknown(root, root["$defs"][schema["$ref"].rpartition("/")[2]], thing, path)
    if not isinstance(thing, dict):
        return []
    for either in ("anyOf", "oneOf"):
        if either in schema:
            return min((_unknown(root, s, thing, path) for s in schema[either] if s.get("type") != "null"), key=len)
    out: list[tuple[str, ...]] = []
    for key, value in thing.items():
        found = schema.get("properties", {}).get(key)
        if found is None:
            found = next((s for p, s in schema.get("patternProperties", {}).items() if re.search(p, key)), None)
        if found is None and isinstance(schema.get("additionalProperties"), dict):
            found = schema["additionalProperties"]
        out += [(*path, key)] if found is None else _unknown(root, found, value, (*path, key))
    return out
