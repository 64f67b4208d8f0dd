"""What changed between two JSON documents, so that a phone on a poor line gets a tenth of the bytes.

A difference is an object: a changed value stands in a list of one, a changed part is a difference again. A list is
treated as an object of its positions while its length stays. `null` and "gone" cannot be confused, because a member
that has gone changes the whole object around it.
"""

from __future__ import annotations

from typing import Any

Json = Any


def difference(old: Json, new: Json) -> dict[str, Json] | list[Json] | None:
    """None when equal; `[new]` for a replacement; otherwise the members that changed."""
    if type(old) is not type(new):
        return [new]
    if isinstance(new, dict):
        if not old.keys() <= new.keys():
            return [new]
        parts = {key: difference(old[key], value) if key in old else [value] for key, value in new.items()}
    elif isinstance(new, list):
        if len(old) != len(new):
            return [new]
        parts = {str(at): difference(was, now) for at, (was, now) in enumerate(zip(old, new, strict=True))}
    else:
        return None if old == new else [new]
    found = {key: part for key, part in parts.items() if part is not None}
    return found or None


def applied(old: Json, change: Json) -> Json:
    """The document after a difference; the phone does the same."""
    if isinstance(change, list):
        return change[0]
    if isinstance(old, list):
        return [applied(was, change[str(at)]) if str(at) in change else was for at, was in enumerate(old)]
    return {**old, **{key: applied(old.get(key), part) for key, part in change.items()}}
