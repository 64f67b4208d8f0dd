"""An incident for people: its list line, its story, its picture, and its numbers for other programs."""

from __future__ import annotations

import csv
import io
import json
import time
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.events import Event, Happened
from controller.core.explain import explain_cause, explain_event
from controller.core.frame import Frame
from controller.core.outputs import Outputs
from controller.core.rig import Rig
from controller.core.sequence import State
from controller.core.signals import Code
from controller.guard.incidents import SUFFIX, Incident
from simulator.rehearsal.replay import Unreadable, read_incident, times_of


class Listed(NamedTuple):
    name: str
    when: str  # UTC, as the guard's wall clock said
    rig: str
    causes: tuple[str, ...]
    seconds: float  # of record
    complete: bool
    kilobytes: int
    trouble: str  # why it cannot be read


def listed(folder: Path) -> list[Listed]:
    """Newest first."""
    return [_line(path) for path in sorted(folder.glob(f"*{SUFFIX}"), reverse=True)]


def _line(path: Path) -> Listed:
    name, size_kb = path.name.removesuffix(SUFFIX), path.stat().st_size // 1024
    try:
        incident = read_incident(path)
        times = times_of(incident)
    except (Unreadable, ValueError) as error:
        return Listed(name, "", "", (), 0.0, False, size_kb, str(error))
    header = incident.header
    wall_s = times[0][1] + (header["trip_s"] - times[0][0]) if times else header.get("written_at", 0.0)
    when = time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime(wall_s))
    seconds = times[-1][0] - times[0][0] if times else 0.0
    return Listed(
        name, when, header["rig"], tuple(header["causes"]), round(seconds, 1), bool(header["complete"]), size_kb, ""
    )


def events_of(incident: Incident) -> list[Event]:
    """The events kept with it."""
    return [
        Event(
            plain["number"],
            plain["at_s"],
            Happened[plain["what"].upper().replace(" ", "_")],
            plain["subject"],
            plain.get("detail", ""),
            plain.get("source", ""),
            0,
            plain.get("seen"),
            plain.get("limit"),
        )
        for plain in json.loads(incident.events)
    ]


def story(rig: Rig, incident: Incident, frames: list[Frame]) -> list[str]:
    """What happened, line by line, in seconds from the trip, and why."""
    trip_s = incident.header["trip_s"]
    first_s, last_s = frames[0].memory.now_s, frames[-1].memory.now_s
    lines = [
        f"{event.at_s - trip_s:+9.1f} s  {explain_event(rig, event)}"
        for event in events_of(incident)
        if first_s <= event.at_s <= last_s
    ]
    causes = frames[-1].memory.latch.causes or next(
        (f.memory.latch.causes for f in reversed(frames) if f.memory.latch.causes), ()
    )
    lines += [f"why: {explain_cause(rig, cause).text}" for cause in causes]
    return lines


def columns(rig: Rig) -> list[str]:
    signals = [f"{s.name} [{s.unit}]" for s in rig.signals]
    return ["t_s", "wall_s", "state", *signals, *(f"{s.name} status" for s in rig.signals), *Outputs._fields]


def rows(rig: Rig, incident: Incident, frames: list[Frame]) -> list[list[Any]]:
    """One row a scan; a value that is not good is empty, and its status says why."""
    trip_s = incident.header["trip_s"]
    table = []
    for frame in frames:
        memory = frame.memory
        values = memory.values
        table.append(
            [
                round(memory.now_s - trip_s, 6),
                frame.wall_s,
                State(memory.sequence.state).name.lower(),
                *(v.number for v in values),
                *(Code(v.code).name.lower() for v in values),
                *memory.outputs,
            ]
        )
    return table


def as_csv(rig: Rig, incident: Incident, frames: list[Frame]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns(rig))
    writer.writerows(rows(rig, incident, frames))
    return out.getvalue()


def write_parquet(rig: Rig, incident: Incident, frames: list[Frame], path: Path) -> None:
    """Needs pyarrow."""
    pa: Any = import_module("pyarrow")
    parquet: Any = import_module("pyarrow.parquet")

    table = rows(rig, incident, frames)
    names = columns(rig)
    parquet.write_table(pa.table({name: [row[at] for row in table] for at, name in enumerate(names)}), path)


def picture(rig: Rig, incident: Incident, frames: list[Frame]) -> Any:
    """A matplotlib figure: every signal that some trip hangs on, from the record."""
    from matplotlib.figure import Figure

    trip_s = incident.header["trip_s"]
    times_s = [f.memory.now_s - trip_s for f in frames]
    wanted = [at for at in rig.protective if rig.signals[at].unit]
    figure = Figure(figsize=(9.0, 1.2 + 1.1 * len(wanted)), facecolor="white", layout="constrained")
    axes = figure.subplots(len(wanted), 1, sharex=True, squeeze=False)[:, 0]
    for axis, at in zip(axes, wanted, strict=True):
        numbers = [n if (n := f.memory.values[at].number) is not None else float("nan") for f in frames]
        axis.plot(times_s, numbers, color="#0b6e8a", linewidth=1.0)
        axis.axvline(0.0, color="#b3261e", linewidth=0.8)
        axis.set_ylabel(f"{rig.signals[at].title}\n{rig.signals[at].unit}", fontsize=7)
        axis.tick_params(labelsize=6)
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
    axes[-1].set_xlabel("seconds from the trip", fontsize=7)
    figure.suptitle(f"{incident.header['rig']}: {', '.join(incident.header['causes'])}", fontsize=9, x=0.01, ha="left")
    return figure
