"""On which line a key of a TOML document stands, which tomllib does not say.

A scanner, not a second parser: it is given documents that tomllib has accepted, follows keys and nesting, and skips
over values. Nothing that it reads becomes a setting.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_PLAIN_VALUE = re.compile(r"[^\s,\]}#]+(?: [0-9][^\s,\]}#]*)?")  # numbers, dates ("1979-05-27 07:32"), booleans
_ESCAPE = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))", re.DOTALL)
_ESCAPED = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


def key_lines(text: str) -> dict[Path, int]:
    """Line, counted from 1, of every key, table and array element. `text`: a document that tomllib accepts."""
    return _Scanner(text.replace("\r\n", "\n")).scan()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}  # elements so far of each array of tables
        self._line = 1
        self._line_at = 0

    def scan(self) -> dict[Path, int]:
        table: Path = ()
        while True:
            self._skip(_BLANK)
            if self.at >= len(self.text):
                return self.lines
            if self._take("[["):
                table = self._header("]]", array=True)
            elif self._take("["):
                table = self._header("]", array=False)
            else:
                self._pair(table)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        assert found is not None, f"not a document that tomllib accepts, at character {self.at}"
        self.at = found.end()
        return found[0]

    def _take(self, token: str) -> bool:
        if self.text.startswith(token, self.at):
            self.at += len(token)
            return True
        return False

    def _now(self) -> int:
        self._line += self.text.count("\n", self._line_at, self.at)
        self._line_at = self.at
        return self._line

    def _note(self, path: Path, line: int) -> None:
        for end in range(1, len(path) + 1):
            self.lines.setdefault(path[:end], line)

    def _header(self, closing: str, array: bool) -> Path:
        line = self._now()
        keys = self._keys()
        self._take(closing)
        path: Path = ()
        for key in keys[:-1]:
            path = self._last_of((*path, key))
        path = (*path, keys[-1])
        if array:
            self.counts[path] = self.counts.get(path, 0) + 1
            path = (*path, self.counts[path] - 1)
        self._note(path, line)
        self.lines[path] = line  # a table named before by a table within it is here
        return path

    def _last_of(self, path: Path) -> Path:
        """The newest element, where a path leads into an array of tables."""
        return (*path, self.counts[path] - 1) if path in self.counts else path

    def _keys(self) -> list[str]:
        keys = []
        while True:
            self._skip(_SPACE)
            keys.append(self._key())
            self._skip(_SPACE)
            if not self._take("."):
                return keys

    def _key(self) -> str:
        first = self.text[self.at]
        if first == '"':
            return _ESCAPE.sub(_unescaped, self._skip(_STRINGS[2])[1:-1])
        if first == "'":
            return self._skip(_STRINGS[3])[1:-1]
        return self._skip(_BARE_KEY)

    def _pair(self, table: Path) -> None:
        line = self._now()
        path = (*table, *self._keys())
        self._note(path, line)
        self._take("=")
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: Path) -> None:
        if self._take("["):
            self._array(path)
        elif self._take("{"):
            self._inline_table(path)
        elif self.text[self.at] in "\"'":
            for pattern in _STRINGS:
                if found := pattern.match(self.text, self.at):
                    self.at = found.end()
                    return
        else:
            self._skip(_PLAIN_VALUE)

    def _array(self, path: Path) -> None:
        index = 0
        while True:
            self._skip(_BLANK)
            if self._take("]"):
                return
            self._note((*path, index), self._now())
            self._value((*path, index))
            index += 1
            self._skip(_BLANK)
            self._take(",")

    def _inline_table(self, path: Path) -> None:
        self._skip(_BLANK)
        while not self._take("}"):
            self._pair(path)
            self._skip(_BLANK)
            self._take(",")
            self._skip(_BLANK)


def _unescaped(escape: re.Match[str]) -> str:
    four, eight, one = escape.groups()
    return chr(int(four or eight, 16)) if four or eight else _ESCAPED[one]
