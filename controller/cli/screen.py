"""What the terminal shows of a rig: made of one frame, so that it says what the guard decided with."""

from __future__ import annotations

from typing import Any, NamedTuple

from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from controller.core.commands import Source
from controller.core.explain import PLAIN, duration, explain, explain_cause, explain_event, number
from controller.core.limits import Effect
from controller.core.margins import Margin, Trend, margins
from controller.core.memory import Memory
from controller.core.permissives import missing
from controller.core.rig import Grade, Rig
from controller.core.sequence import State
from controller.core.signals import Code, Status

BAR = 24
NARROW_BAR = 12
WIDE = 100  # columns from which three signals stand side by side
NARROW = 80  # columns under which bars are short
_TONE = {
    State.RUNNING: "green",
    State.VENTING: "green",
    State.TRIPPED: "red",
    State.LOCKED_OUT: "red",
    State.OUT_OF_SERVICE: "yellow",
    State.SERVICE: "yellow",
}
_LOUD = {"trip": "bold red", "later_cause": "red", "alarm": "yellow", "refused": "yellow", "signal_lost": "yellow"}


class View(NamedTuple):
    """Everything on the screen."""

    rig: Rig
    memory: Memory
    trend: Trend
    status: dict[str, Any]
    events: list[dict[str, Any]]  # the newest, oldest first
    hint: str = ""


class Room(NamedTuple):
    """How much of everything is shown."""

    bars: int = 10
    signals: bool = True
    events: int = 8
    bar_width: int = BAR
    signals_abreast: int = 3


def tone(state: State) -> str:
    return _TONE.get(state, "cyan")


def bar(fraction: float | None, width: int = BAR) -> Text:
    """The way left: a full bar is as far as in normal running, an empty one is at the limit."""
    if fraction is None:
        return Text("?" * width, style="red")
    full = round(max(0.0, min(1.0, fraction)) * width)
    colour = "green" if fraction > 0.5 else "yellow" if fraction > 0.2 else "red"
    return Text("█" * full, style=colour) + Text("░" * (width - full), style="bright_black")


def left_in_words(rig: Rig, margin: Margin) -> str:
    limit = next(x for x in rig.limits if x.name == margin.limit)
    signal = rig.signals[margin.signal]
    if margin.left is None:
        return "not seen"
    if limit.is_switch:
        return "well" if margin.left > 0.0 else "not well"
    text = number(max(0.0, margin.left), signal.unit) + " left"
    return text + f", {duration(margin.seconds)} at this trend" if margin.seconds is not None else text


def leave_in_words(view: View) -> str:
    """The answer to: may I leave it?"""
    lacks = list(view.rig.missing)
    if view.rig.grade is Grade.UNATTENDED and not view.memory.latch.causes:
        return "May I leave it? Yes."
    if view.memory.latch.causes:
        lacks.insert(0, "a trip stands")
    return "May I leave it? No: " + "; ".join(lacks) + "."


def fitting(view: View, console: Console) -> RenderableType:
    """As much as the terminal has lines for. What happened long ago goes first, the nearest limits last."""
    across = Room(
        bar_width=BAR if console.width >= NARROW else NARROW_BAR, signals_abreast=3 if console.width >= WIDE else 2
    )
    made: RenderableType = ""
    for bars, signals, events in (
        (10, True, 8),
        (8, True, 5),
        (6, True, 3),
        (6, True, 1),
        (6, False, 3),
        (3, False, 1),
    ):
        made = render(view, across._replace(bars=bars, signals=signals, events=events))
        if len(console.render_lines(made)) <= console.height:
            break
    return made


def render(view: View, room: Room = Room()) -> RenderableType:  # noqa: B008 - a tuple, so nobody can change it
    rig, memory = view.rig, view.memory
    found = margins(rig, memory, view.trend)
    state = memory.sequence.state
    said = explain(rig, memory, found).text
    simulated = " · SIMULATED" if rig.simulated else ""
    head = Panel(
        Text(said, style=f"bold {tone(state)}"),
        title=f"{rig.name} · {state.name.lower().replace('_', ' ')}{simulated}",
        title_align="left",
        subtitle=leave_in_words(view),
        subtitle_align="left",
        border_style=tone(state),
    )
    parts: list[RenderableType] = [head]
    if memory.latch.causes:
        parts.append(_causes(view))
    parts.append(_margins(view, found, room))
    if room.signals:
        parts.append(_signals(view, room.signals_abreast))
    parts.append(_events(view, room.events))
    if faults := view.status.get("faults"):
        parts.append(Text("Controller: " + "; ".join(faults), style="yellow"))
    if view.hint:
        parts.append(Text(view.hint, style="bright_black"))
    return Group(*parts)


def _causes(view: View) -> Table:
    table = Table.grid(padding=(0, 1))
    for at, cause in enumerate(view.memory.latch.causes):
        table.add_row("first" if at == 0 else "then", Text(explain_cause(view.rig, cause).text, style="red"))
    return table


def _margins(view: View, found: tuple[Margin, ...], room: Room) -> Table:
    """Armed limits that cut power or stop, the nearest first; the rest are permissives and need no bar."""
    effects = {limit.name: limit.effect for limit in view.rig.limits}
    titles = {limit.name: limit.title for limit in view.rig.limits}
    table = Table.grid(padding=(0, 2))
    table.add_column()
    table.add_column(min_width=room.bar_width)
    shown = [m for m in found if m.armed and effects[m.limit] >= Effect.STOP]
    for margin in sorted(shown, key=lambda m: -1.0 if m.fraction is None else m.fraction)[: room.bars]:
        name = titles[margin.limit] + (" (bypassed)" if margin.bypassed else "")
        table.add_row(name, bar(margin.fraction, room.bar_width), left_in_words(view.rig, margin))
    return table


def _signals(view: View, abreast: int) -> Table:
    table = Table.grid(padding=(0, 2), expand=False)
    row: list[RenderableType] = []
    for signal, value in zip(view.rig.signals, view.memory.values, strict=True):
        row += [
            Text(signal.title, style="bright_black"),
            value_in_words(signal.unit, value.number, value.status, value.code),
        ]
        if len(row) == 2 * abreast:
            table.add_row(*row)
            row = []
    if row:
        table.add_row(*row)
    return table


def value_in_words(unit: str, value: float | None, status: Status, code: Code) -> Text:
    if value is None:
        return Text(PLAIN.get(code, code.name.lower()), style="red")
    style = "" if status is Status.GOOD else "yellow"
    if unit in ("share", ""):
        return Text("yes" if value >= 1.0 else "no", style=style)
    return Text(number(value, unit), style=style)


def _events(view: View, newest: int) -> Table:
    from controller.cli.told import event_of

    table = Table.grid(padding=(0, 2))
    for told in view.events[len(view.events) - min(newest, len(view.events)) :]:
        ago = duration(max(0.0, view.memory.now_s - told["at_s"]))
        table.add_row(
            Text(f"{ago} ago", style="bright_black"),
            Text(explain_event(view.rig, event_of(told)), style=_LOUD.get(told["what"], "")),
        )
    return table


def start_in_words(view: View) -> list[str]:
    """What keeps a rig that is off from starting, as a start at the rig would be told."""
    if view.memory.sequence.state not in (State.OFF, State.COOLING):
        return []
    why = missing(view.rig, view.memory, Source.LOCAL)
    return [f"It cannot start: {why}." if why else "It can be started."]


def plain(view: View) -> list[str]:
    """The same as lines, for pipes and for readers that speak."""
    found = margins(view.rig, view.memory, view.trend)
    said = explain(view.rig, view.memory, found).text
    causes = [explain_cause(view.rig, cause).text for cause in view.memory.latch.causes]
    lines = [f"{view.rig.name}: {said}", leave_in_words(view), *start_in_words(view)]
    lines += [text for text in causes if text not in said]
    for signal, value in zip(view.rig.signals, view.memory.values, strict=True):
        lines.append(f"  {signal.title:<32}{value_in_words(signal.unit, value.number, value.status, value.code).plain}")
    lines += [f"Controller: {fault}" for fault in view.status.get("faults", ())]
    return lines
