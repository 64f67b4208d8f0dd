"""The scanner that says on which line a key stands, judged by documents whose lines are known from writing them."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.config.lines import Path, key_lines
from tests.config.toml_writer import Noted, key, quoted, value

NAMES = st.text("ab_-1", min_size=1, max_size=3) | st.text(st.characters(exclude_categories=["C"]), max_size=4)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
SCALARS = TEXTS | st.integers(-(10**6), 10**6) | st.booleans() | st.floats(allow_nan=False, width=32) | st.dates()
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=6,
)


def every_path(thing: Any, path: Path = ()) -> list[Path]:
    """Every key and place of a parsed document."""
    out = [path] if path else []
    if isinstance(thing, dict):
        for name, inner in thing.items():
            out += every_path(inner, (*path, name))
    elif isinstance(thing, list):
        for at, inner in enumerate(thing):
            out += every_path(inner, (*path, at))
    return out


@st.composite
def noted(draw: st.DrawFn) -> Noted:
    """A document of headers, arrays of tables, dotted and quoted keys, comments and values over several lines."""
    doc = Noted()
    names = iter(draw(st.lists(NAMES, min_size=1, max_size=8, unique=True)))
    counts: dict[str, int] = {}
    under: Path = ()

    def pairs() -> None:
        used: set[str] = set()
        for _ in range(draw(st.integers(0, 3))):
            parts = draw(st.lists(NAMES, min_size=1, max_size=3))
            if parts[0] in used:
                continue
            used.add(parts[0])
            _pair(draw, doc, under, parts)

    pairs_at_top = draw(st.booleans())
    if pairs_at_top:
        _pair(draw, doc, (), ["top of all"])
    for name in names:
        shape = draw(st.sampled_from(["table", "array", "deep"]))
        doc.put(draw(st.sampled_from(["", "# [not.a.table]", "  # a = 1"])))
        if shape == "array":
            for _ in range(draw(st.integers(1, 2))):
                at = counts.setdefault(name, 0)
                counts[name] += 1
                under = (name, at)
                doc.put(f"[[{key(name)}]] # one", (name,), under)
                pairs()
                if draw(st.booleans()):
                    doc.put(f"[ {key(name)} . inner table ]".replace("inner table", quoted("inner table")),
                            (*under, "inner table"))  # fmt: skip
                    under = (*under, "inner table")
                    pairs()
        elif shape == "deep":
            under = (name, "x", "y")
            doc.put(f"[{key(name)}.x.'y']", (name,), (name, "x"), under)
            pairs()
        else:
            under = (name,)
            doc.put(f"  [{key(name)}]", under)
            pairs()
    return doc


def _pair(draw: st.DrawFn, doc: Noted, under: Path, parts: list[str]) -> None:
    path = (*under, *parts)
    above = [path[: len(under) + n] for n in range(1, len(parts) + 1)]
    name = " . ".join(map(key, parts)) if draw(st.booleans()) else ".".join(map(key, parts))
    shape = draw(st.sampled_from(["one line", "one line", "basic", "literal", "list"]))
    if shape == "basic":
        doc.put(f'{name} = """\n[no.table]\nx = \\"""1 \\\n  # no comment ""\n"""""', *above)
    elif shape == "literal":
        doc.put(f"{name} = '''\n\\[[no]]\n a = ' \"'''", *above)
    elif shape == "list":
        doc.put(f"{name} = [ # first", *above)
        for at in range(draw(st.integers(0, 3))):
            doc.put(f"  {value(draw(SCALARS))} , # [x]", (*path, at))
        doc.put("]")
    else:
        written = draw(VALUES)
        doc.put(f"{name} ={value(written)} # = 2", *above, *every_path(written, path))


@settings(deadline=None)
@given(noted())
def test_every_key_is_on_the_line_on_which_it_was_written(doc: Noted) -> None:
    parsed = tomllib.loads(doc.text)
    lines = key_lines(doc.text)
    assert lines == doc.expected
    assert set(lines) == set(every_path(parsed))


@settings(deadline=None)
@given(noted())
def test_windows_line_ends_change_no_line_number(doc: Noted) -> None:
    assert key_lines(doc.text.replace("\n", "\r\n")) == doc.expected


@pytest.mark.parametrize(
    ("text", "path", "line"),
    [
        ("a = 1\n", ("a",), 1),
        ("\n\n# x = 1\n[t]\n  b.c = 2\n", ("t", "b", "c"), 5),
        ("\"a b\" = 1\n'c.d' = 2\n", ("c.d",), 2),
        ('x = """\na = 1\n"""\na = 2\n', ("a",), 4),
        ("x = [\n 1,\n 2, # [y]\n]\ny = 1\n", ("x", 1), 3),
        ("x = [\n { a = 1 },\n {\tb = 2 }\n]\n", ("x", 1, "b"), 3),
        ("[[f]]\nn = 1\n[[f]]\n[f.sub]\nn = 2\n", ("f", 1, "sub", "n"), 5),
        ("[a.b]\nc = 1\n[a]\nd = 2\n", ("a",), 3),
        ("t = 1979-05-27 07:32:00\nu = 1\n", ("u",), 2),
        ('k = "\\"#"\nv = 1\n', ("v",), 2),
        ('"\\u0061\\t" = 1\n', ("a\t",), 1),
    ],
)
def test_by_hand(text: str, path: Path, line: int) -> None:
    tomllib.loads(text)
    assert key_lines(text)[path] == line
