"""Nested tuples to plain lists and back, by their type hints: one codec for everything that the guard writes down.

JSON keeps a Python float exactly (shortest text that reads back to the same bits), so nothing is lost on the way.
"""

from __future__ import annotations

import types
from collections.abc import Callable
from enum import IntEnum
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


def to_plain(value: object) -> Any:
    """Lists, numbers, texts and null. A float that JSON has no word for becomes its name."""
    if isinstance(value, tuple):
        return [to_plain(v) for v in value]
    if isinstance(value, IntEnum):
        return int(value)
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return str(value)
    return value


def from_plain(kind: type[T], plain: object) -> T:
    """The value of type `kind`. Raises ValueError where the shape or a type differs."""
    described: Any = kind
    value: T = _reader(described)(plain)
    return value


@cache
def _reader(kind: Any) -> Callable[[object], Any]:
    origin = get_origin(kind)
    if origin is tuple:
        inner, *rest = get_args(kind)
        if rest == [Ellipsis]:
            return _sequence(_reader(inner))
        return _record(tuple, [_reader(k) for k in get_args(kind)])
    if origin in (Union, types.UnionType):
        [one] = [k for k in get_args(kind) if k is not type(None)]
        return _optional(_reader(one))
    if isinstance(kind, type) and issubclass(kind, tuple):
        hints = get_type_hints(kind)
        return _record(kind._make, [_reader(hints[f]) for f in kind._fields])  # type: ignore[attr-defined]
    if isinstance(kind, type) and issubclass(kind, IntEnum):
        return _enum(kind)
    return _SCALARS[kind]


def _list(plain: object) -> list[object]:
    if not isinstance(plain, list):
        raise ValueError(f"expected a list, found {type(plain).__name__}")
    return plain


def _sequence(inner: Callable[[object], Any]) -> Callable[[object], Any]:
    return lambda plain: tuple(inner(p) for p in _list(plain))


def _optional(inner: Callable[[object], Any]) -> Callable[[object], Any]:
    return lambda plain: None if plain is None else inner(plain)


def _record(make: Callable[..., Any], fields: list[Callable[[object], Any]]) -> Callable[[object], Any]:
    def read(plain: object) -> Any:
        found = _list(plain)
        if len(found) != len(fields):
            raise ValueError(f"expected {len(fields)} fields, found {len(found)}")
        return make(f(p) for f, p in zip(fields, found, strict=True))

    return read


def _enum(kind: type[IntEnum]) -> Callable[[object], Any]:
    return lambda plain: kind(_int(plain))


def _int(plain: object) -> int:
    if isinstance(plain, bool) or not isinstance(plain, int):
        raise ValueError(f"expected a whole number, found {plain!r}")
    return plain


def _float(plain: object) -> float:
    if plain in ("inf", "-inf", "nan"):
        return float(str(plain))
    if isinstance(plain, bool) or not isinstance(plain, int | float):
        raise ValueError(f"expected a number, found {plain!r}")
    return float(plain)


def _bool(plain: object) -> bool:
    if not isinstance(plain, bool):
        raise ValueError(f"expected true or false, found {plain!r}")
    return plain


def _str(plain: object) -> str:
    if not isinstance(plain, str):
        raise ValueError(f"expected a text, found {plain!r}")
    return plain


_SCALARS: dict[Any, Callable[[object], Any]] = {int: _int, float: _float, bool: _bool, str: _str}
