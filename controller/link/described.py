"""A state in two messages and back: what a rig file fixes is told once and kept by the broker, the rest each second.

Two thirds of a state are titles, units and thresholds that never change while a rig file stands. They are the retained
`description`; a state names it by the hash of its content, so that a number never meets another file's limit.
A state whose description is not at hand is put together without it: a trip and its sentence wait for nothing.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any, Final

from controller.link import messages as m

DESCRIPTION_BYTES: Final = 262_144
RIGS_AT_MOST: Final = 64


class WrongDescription(ValueError):
    """Its content is not what its id says."""


def _only(model: type[m.Message], whole: m.Message) -> dict[str, Any]:
    return {name: getattr(whole, name) for name in model.model_fields}


def identity(*lists: Iterable[m.Message]) -> str:
    """Of signals, margins and permissives: JSON with sorted keys and nothing between, hashed."""
    plain = [[one.model_dump(mode="json") for one in what] for what in lists]
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def describe(state: m.StateNow) -> m.RigDescribed:
    """What is constant of a state."""
    signals = [m.SignalWhat(**_only(m.SignalWhat, s)) for s in state.signals]
    margins = [m.MarginWhat(**_only(m.MarginWhat, x)) for x in state.margins]
    permissives = [m.PermissiveWhat(**_only(m.PermissiveWhat, p)) for p in state.permissives]
    return m.RigDescribed(
        **_only(m.Stamped, state),
        id=identity(signals, margins, permissives),
        signals=signals,
        margins=margins,
        permissives=permissives,
    )


def told(state: m.StateNow, described: str) -> m.StateTold:
    """What changes of it. described: the description's id."""
    common = _only(m.StateCommon, state)
    return m.StateTold(
        **common,
        described=described,
        signals={s.name: m.SignalIs(**_only(m.SignalIs, s)) for s in state.signals},
        margins={x.limit: m.MarginIs(**_only(m.MarginIs, x)) for x in state.margins},
        permissives={p.name: m.PermissiveIs(**_only(m.PermissiveIs, p)) for p in state.permissives},
    )


def written(state: m.StateTold) -> bytes:
    """A state as it goes to the broker: null and false of a margin are left out."""
    idle = {name: {f for f, v in one if v is None or v is False} for name, one in state.margins.items()}
    return state.model_dump_json(exclude={"margins": idle}).encode()


def read_description(rig: str, payload: bytes) -> m.RigDescribed:
    """rig: as the topic has it. Raises ValueError, WrongDescription among them."""
    if len(payload) > DESCRIPTION_BYTES:
        raise ValueError(f"{len(payload)} bytes is too much")
    found = m.RigDescribed.model_validate_json(payload)
    _same(rig, found.rig)
    if found.id != identity(found.signals, found.margins, found.permissives):
        raise WrongDescription("a description whose content is not what its id says")
    return found


def whole(state: m.StateTold, description: m.RigDescribed | None) -> m.StateNow:
    """Both together. Without the right description names stand for titles, and no limit is shown."""
    right = description is not None and (description.rig, description.id) == (state.rig, state.described)
    if description is None or not right:
        signals = [m.SignalWhat(name=name, title=name, unit="") for name in state.signals]
        margins: list[m.MarginWhat] = []
        permissives = [m.PermissiveWhat(name=name, title=name) for name in state.permissives]
    else:
        signals, margins, permissives = description.signals, description.margins, description.permissives
    return m.StateNow(
        **_only(m.StateCommon, state),
        signals=[
            m.SignalNow(**dict(what), **dict(state.signals[what.name]))
            for what in signals
            if what.name in state.signals
        ],
        margins=[
            m.MarginNow(**dict(what), **dict(state.margins[what.limit]))
            for what in margins
            if what.limit in state.margins
        ],
        permissives=[
            m.PermissiveNow(**dict(what), **dict(state.permissives[what.name]))
            for what in permissives
            if what.name in state.permissives
        ],
    )


def _same(in_topic: str, in_message: str) -> None:
    """No rig speaks in another's name."""
    if in_topic != in_message:
        raise ValueError(f"topic says rig {in_topic!r}, message says {in_message[:80]!r}")


class Descriptions:
    """What one listener knows: of each rig its description and the newest state, whichever comes first."""

    def __init__(self) -> None:
        self._known: dict[str, m.RigDescribed] = {}
        self._newest: dict[str, m.StateTold] = {}

    def state(self, rig: str, payload: bytes) -> m.StateNow:
        """rig: as the topic has it. Raises ValueError for what is no state of it."""
        state = m.StateTold.model_validate_json(payload)
        _same(rig, state.rig)
        if state.rig in self._newest or len(self._newest) < RIGS_AT_MOST:
            self._newest[state.rig] = state
        return whole(state, self._known.get(state.rig))

    def description(self, rig: str, payload: bytes) -> m.StateNow | None:
        """Keeps it; the newest state once more where it had to do without. Raises ValueError for what is none."""
        found = read_description(rig, payload)
        before = self._known.get(found.rig)
        if found.rig in self._known or len(self._known) < RIGS_AT_MOST:
            self._known[found.rig] = found
        newest = self._newest.get(found.rig)
        again = newest is not None and newest.described == found.id and (before is None or before.id != found.id)
        return whole(newest, found) if newest is not None and again else None
