"""What is wrong with a rig file, said so that it can be put right: file, line, key, what is wrong, what would be right.

All problems are collected before any is raised: nobody wants to be told one at a time.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from controller.config.lines import Path

LONGEST = 60
_BARE = re.compile(r"[A-Za-z0-9_-]{1,60}")


class Problem(NamedTuple):
    file: str
    line: int  # 0: the whole file
    key: str
    wrong: str
    right: str

    def __str__(self) -> str:
        where = f"{self.file} line {self.line}" if self.line else self.file
        key = f", {self.key}" if self.key else ""
        return f"{where}{key}: {self.wrong}. {self.right}"


class RigFileError(ValueError):
    """The rig file cannot be used. `problems` has every reason, in the order of the file."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = problems


def shown(value: object) -> str:
    """A value as it may be quoted in a message, however long it is."""
    if isinstance(value, int) and value.bit_length() > 128:
        return "a very large number"
    text = repr(value)
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "..."


def dotted(path: Path) -> str:
    """A key as TOML would have it: limits."level high".delay_s"""
    return ".".join(str(part) if _BARE.fullmatch(str(part)) else shown_name(str(part)) for part in path)


def shown_name(name: str) -> str:
    text = name if len(name) <= LONGEST else name[: LONGEST - 3] + "..."
    return f'"{text.encode("unicode_escape").decode("ascii") if not text.isprintable() else text}"'


class Problems:
    """Collects problems of one file and knows the line of each key."""

    def __init__(self, file: str, lines: Mapping[Path, int] | None = None) -> None:
        self.file = file
        self.lines = lines or {}
        self.names: dict[Path, Path] = {}  # keys as written, of those that have a plain name inside
        self.found: list[Problem] = []
        self.warnings: list[str] = []

    def line(self, path: Path) -> int:
        """Line of a key, or of the nearest table around it that is there."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return 0

    def add(self, path: Path, wrong: str, right: str) -> None:
        path = self.names.get(path, path)
        problem = Problem(self.file, self.line(path), dotted(path), wrong.rstrip("."), right)
        if problem not in self.found:
            self.found.append(problem)

    def warn(self, path: Path, text: str) -> None:
        line = self.line(path)
        self.warnings.append(f"{f'line {line}, ' if line else ''}{dotted(path)}: {text}")

    def raise_any(self) -> None:
        if self.found:
            raise RigFileError(tuple(sorted(self.found, key=lambda p: p.line)))
