"""An incident decided again: the recorded inputs and commands through the same core, or through a changed one.

A frame holds what was read, what was asked, and the whole memory after it. So a replay starts at any frame and must
arrive at the next one's memory, bit for bit. With other settings it says when the rig would have tripped; what the cell
would then have done is not in a recording, and is not made up.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.events import Event, Happened
from controller.core.explain import explain_event
from controller.core.frame import Frame, NotAFrame, header, unpack
from controller.core.limits import RESTING
from controller.core.memory import Memory
from controller.core.rig import Rig
from controller.core.step import step
from controller.guard.incidents import Incident, decode

NOT_IN_A_RECORDING = (
    "What the cell would have done after that is not in a recording: only what was measured is. "
    "To see it, rehearse the same start with the changed rig file."
)


class Unreadable(ValueError):
    """An incident that cannot be read, or that another rig file made. Says which."""


def read_incident(path: Path) -> Incident:
    try:
        return decode(path.read_bytes())
    except OSError as error:
        raise Unreadable(f"{path}: {error.strerror}") from None
    except ValueError as error:
        raise Unreadable(f"{path}: {error}") from None


def frames_of(rig: Rig, incident: Incident) -> list[Frame]:
    """Raises Unreadable where the rig file is not the one that made them."""
    try:
        return [unpack(rig, data) for data in incident.frames]
    except NotAFrame as error:
        raise Unreadable(f"the rig file is not the one this was recorded with: {error}") from None


def times_of(incident: Incident) -> list[tuple[float, float]]:
    """(monotonic, wall) of each frame; needs no rig file."""
    return [header(data)[3:5] for data in incident.frames]


class Difference(NamedTuple):
    scan: int
    at_s: float
    what: str


class Replayed(NamedTuple):
    scans: int  # decided again
    gaps: int  # where the recording itself jumps: another boot, or a lost frame
    difference: Difference | None  # the first
    events: tuple[Event, ...]


def replay(rig: Rig, frames: Iterable[Frame], progress: Callable[[int], None] | None = None) -> Replayed:
    """Every frame decided again from the one before it."""
    before: Frame | None = None
    scans = gaps = 0
    said: list[Event] = []
    for frame in frames:
        if before is not None:
            if frame.boot != before.boot or frame.memory.scan != before.memory.scan + 1:
                gaps += 1
            else:
                memory, _, events = step(rig, before.memory, frame.inputs, frame.commands, frame.memory.now_s)
                said.extend(events)
                scans += 1
                what = differs(rig, frame.memory, memory)
                if what:
                    return Replayed(scans, gaps, Difference(frame.memory.scan, frame.memory.now_s, what), tuple(said))
                if progress is not None and scans % 500 == 0:
                    progress(500)
        before = frame
    return Replayed(scans, gaps, None, tuple(said))


def differs(rig: Rig, recorded: Memory, again: Memory) -> str:
    """What differs first, by its name; empty when nothing does.

    The guard's shell numbers its own notes among the core's events, after the frame was packed; so the number of the
    newest event may run ahead of the core's own.
    """
    if again._replace(events=recorded.events) == recorded and again.events <= recorded.events:
        return ""
    for name, ours, theirs in zip(Memory._fields, recorded, again, strict=True):
        if ours == theirs:
            continue
        where, a, b = _first(name, ours, theirs, rig)
        return f"{where}: {a!r} recorded, {b!r} decided again"
    return ""


def _first(name: str, ours: Any, theirs: Any, rig: Rig) -> tuple[str, Any, Any]:
    if isinstance(ours, tuple) and isinstance(theirs, tuple) and len(ours) == len(theirs):
        fields = getattr(ours, "_fields", None)
        for at, (a, b) in enumerate(zip(ours, theirs, strict=True)):
            if a != b:
                if fields:
                    part = fields[at]
                elif name == "values":
                    part = rig.signals[at].name
                elif name == "limits":
                    part = rig.limits[at].name
                else:
                    part = str(at)
                return _first(f"{name}.{part}", a, b, rig)
    return name, ours, theirs


class Changed(NamedTuple):
    """What other settings would have decided on the same readings."""

    recorded_s: float | None  # of the recorded trip, from the first frame
    recorded_cause: str
    tripped_s: float | None  # None: it would not have tripped on what was recorded
    cause: str
    sentence: str
    events: tuple[tuple[float, str], ...]


def replay_changed(rig: Rig, changed: Rig, frames: list[Frame]) -> Changed:
    """Raises ValueError where the changed rig does not read the same signals: there is no recording of others."""
    if [s.name for s in changed.signals] != [s.name for s in rig.signals]:
        raise ValueError("the changed rig reads other signals, and those were not recorded")
    begin_s = frames[0].memory.now_s
    memory = frames[0].memory._replace(limits=(RESTING,) * len(changed.limits))
    recorded_s, recorded_cause = _recorded(frames)
    said: list[tuple[float, str]] = []
    for before, frame in pairwise(frames):
        if frame.boot != before.boot or frame.memory.scan != before.memory.scan + 1:
            break
        memory, outputs, events = step(changed, memory, frame.inputs, frame.commands, frame.memory.now_s)
        at_s = frame.memory.now_s - begin_s
        said += [(at_s, explain_event(changed, event)) for event in events]
        for event in events:
            if event.what is Happened.TRIP:
                return _answer(recorded_s, recorded_cause, at_s, event.subject, said)
        if outputs.main_hold is not frame.memory.outputs.main_hold:
            break  # from here on the recording is of a cell that was treated otherwise
    return _answer(recorded_s, recorded_cause, None, "", said)


def _recorded(frames: list[Frame]) -> tuple[float | None, str]:
    begin_s = frames[0].memory.now_s
    for frame in frames:
        causes = frame.memory.latch.causes
        if causes and not frames[0].memory.latch.causes:
            return frame.memory.now_s - begin_s, causes[0].name
    return None, ""


def _answer(
    recorded_s: float | None, recorded: str, at_s: float | None, cause: str, said: list[tuple[float, str]]
) -> Changed:
    if at_s is None:
        if recorded_s is None:
            sentence = "Neither the recorded rig nor the changed one trips on these readings."
        else:
            sentence = f"Up to the recorded trip by {recorded}, the changed rig would not have tripped."
    elif recorded_s is None:
        sentence = (
            f"The changed rig would have tripped by {cause}, {at_s:.1f} s into the recording; the recorded one did not."
        )
    else:
        apart_s = recorded_s - at_s
        when = "in the same scan"
        if abs(apart_s) > 1e-6:
            when = f"{abs(apart_s):.1f} s {'earlier' if apart_s > 0.0 else 'later'}"
        sentence = f"The changed rig would have tripped by {cause}, {when} than the recorded trip by {recorded}."
        sentence = sentence.replace("in the same scan than", "in the same scan as")
    return Changed(recorded_s, recorded, at_s, cause, sentence, tuple(said))


def settings(given: Iterable[str]) -> dict[str, Any]:
    """`--set key=value` as a document to lay over a rig file: keys as in the file, quotes where TOML needs them.

    >>> settings(['limits."coolant flow low".delay_s=2'])
    {'limits': {'coolant flow low': {'delay_s': 2}}}
    """
    merged: dict[str, Any] = {}
    for text in given:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise ValueError(f"{text!r} is not key=value; an example: 'limits.\"coolant flow low\".delay_s=2'")
        try:
            one = tomllib.loads(f"{key} = {value}")
        except tomllib.TOMLDecodeError:
            try:
                one = tomllib.loads(f'{key} = "{value.strip()}"')
            except tomllib.TOMLDecodeError as error:
                raise ValueError(f"{text!r}: {error}") from None
        _merge(merged, one)
    return merged


def _merge(into: dict[str, Any], one: dict[str, Any]) -> None:
    for key, value in one.items():
        if isinstance(value, dict) and isinstance(into.get(key), dict):
            _merge(into[key], value)
        else:
            into[key] = value
