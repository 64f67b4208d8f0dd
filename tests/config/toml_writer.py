"""Writes TOML in many shapes and notes the line of every key while it does: what the scanner is judged by."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import Any

from controller.config.lines import Path


def quoted(text: str) -> str:
    """A basic string. JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key(name: str) -> str:
    bare = name and all(c.isascii() and (c.isalnum() or c in "_-") for c in name)
    return name if bare else quoted(name)


def value(thing: Any) -> str:
    """A value on one line."""
    if isinstance(thing, bool):
        return "true" if thing else "false"
    if isinstance(thing, dict):
        return "{" + ", ".join(f"{key(k)} = {value(v)}" for k, v in thing.items()) + "}"
    if isinstance(thing, list):
        return "[" + ", ".join(map(value, thing)) + "]"
    if isinstance(thing, str):
        return quoted(thing)
    if isinstance(thing, date | datetime):
        return thing.isoformat()
    return repr(thing)


def document(table: dict[str, Any], path: tuple[str, ...] = ()) -> str:
    """A document with one header a table; tables within lists are written inline."""
    plain = [f"{key(k)} = {value(v)}" for k, v in table.items() if not isinstance(v, dict)]
    out = [f"[{'.'.join(map(key, path))}]", *plain] if path else plain
    out += [document(v, (*path, k)) for k, v in table.items() if isinstance(v, dict)]
    return "\n".join(out)


class Noted:
    """A document under way: lines so far, and where each key was put."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.expected: dict[Path, int] = {}

    @property
    def text(self) -> str:
        return "\n".join(self.lines) + "\n"

    def put(self, line: str, *paths: Path) -> None:
        """Add text, which may have line breaks; `paths` begin on its first line."""
        for path in paths:
            self.expected.setdefault(path, len(self.lines) + 1)
        self.lines += line.split("\n")
