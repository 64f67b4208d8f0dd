"""The guard's incident files as people look at them: a list, and one as lines to draw. Reads only, within bounds."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from controller.core.frame import Frame, header, unpack
from controller.core.rig import Rig
from controller.core.trips import FINDINGS
from controller.guard.incidents import KEPT, MAGIC, SUFFIX, decode
from controller.guard.ring import AFTER_S
from controller.link import messages as m
from controller.record.trends import thinned

FILE_BYTES: Final = 16_000_000
HEADER_BYTES: Final = 65_536
# All frames near the trip, one a second farther away: what happened fast happened there.
NEAR_S: Final = 15.0
APART_S: Final = 1.0
EVENTS_SHOWN: Final = 200
_NAME = re.compile(r"[0-9A-Za-z-]{1,80}")


class Found(NamedTuple):
    name: str
    time_s: float  # Unix time of the trip
    title: str
    sentence: str

    def row(self) -> dict[str, object]:
        return dict(self._asdict())


def listed(folder: Path, rig: Rig) -> list[Found]:
    """The newest first. A damaged file is listed as such."""
    try:
        paths = sorted(folder.glob(f"*{SUFFIX}"), reverse=True)[: 2 * KEPT]
    except OSError:
        return []
    return [_listed(path, rig) for path in paths]


def _listed(path: Path, rig: Rig) -> Found:
    name = path.name.removesuffix(SUFFIX)
    try:
        head = _header(path)
        causes = [str(cause) for cause in head["causes"]]
        titles = [_title(rig, cause) for cause in causes]
        whole = "" if head.get("complete", True) else " The record was cut short."
        later = f"Then: {', '.join(titles[1:])}." if titles[1:] else "No other cause."
        return Found(name, float(head["written_at"]) - AFTER_S, titles[0] if titles else "Trip", later + whole)
    except (OSError, ValueError, KeyError, TypeError) as error:
        return Found(name, 0.0, "Incident that cannot be read", f"{path.name}: {error}")


def _header(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        if file.read(len(MAGIC)) != MAGIC:
            raise ValueError("not an incident file of this version")
        line = file.readline(HEADER_BYTES)
    found = json.loads(line)
    if not isinstance(found, dict):
        raise ValueError("its first line is no object")
    return found


def _title(rig: Rig, cause: str) -> str:
    named = {limit.name: limit.title for limit in rig.limits} | {s.name: s.title for s in rig.signals}
    return named.get(cause) or (FINDINGS[cause].title.capitalize() if cause in FINDINGS else cause)


class Shown(NamedTuple):
    lines: list[m.TrendLine]
    events: list[dict[str, object]]


def shown(folder: Path, rig: Rig, name: str, points: int) -> Shown:
    """One incident. Raises ValueError or OSError, in words, where there is none such or it cannot be read."""
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name[:40]!r} is no name of an incident")
    path = folder / f"{name}{SUFFIX}"
    if not path.exists():
        raise ValueError(f"there is no incident {name}: the newest {KEPT} are kept")
    if path.stat().st_size > FILE_BYTES:
        raise ValueError(f"{path.name} is too large to be shown")
    found = decode(path.read_bytes())
    trip_s = float(found.header["trip_s"])
    frames = [unpack(rig, data) for data in _chosen(found.frames, trip_s)]
    events = json.loads(found.events)[-EVENTS_SHOWN:]
    return Shown([_line(rig, at, frames, points) for at in range(len(rig.signals))], [_event(rig, e) for e in events])


def _chosen(frames: Iterable[bytes], trip_s: float) -> Iterator[bytes]:
    last_s = -1e9
    for data in frames:
        now_s = header(data)[3]
        if abs(now_s - trip_s) <= NEAR_S or now_s - last_s >= APART_S:
            last_s = now_s
            yield data


def _line(rig: Rig, at: int, frames: list[Frame], points: int) -> m.TrendLine:
    times = np.array([frame.wall_s for frame in frames], np.float64)
    values = np.array([_number(frame, at) for frame in frames], np.float64)
    return trend_line(rig.signals[at].name, rig.signals[at].unit, *thinned(times, values, points))


def _number(frame: Frame, at: int) -> float:
    number = frame.memory.values[at].number
    return float("nan") if number is None else number


def trend_line(signal: str, unit: str, at_s: Any, value: Any) -> m.TrendLine:
    """As many digits as are of use; a gap as null."""
    return m.TrendLine(
        signal=signal,
        unit=unit,
        time_s=[round(t, 3) for t in at_s.tolist()],
        value=[None if v != v else float(f"{v:.6g}") for v in value.tolist()],
    )


def _event(rig: Rig, found: dict[str, Any]) -> dict[str, object]:
    wanted = ("number", "time_s", "what", "subject", "detail", "source", "seen", "limit")
    row: dict[str, object] = {key: found.get(key) for key in wanted}
    row["sentence"] = f"{found.get('what', '')}: {_title(rig, str(found.get('subject', '')))}".replace("_", " ")
    return row
