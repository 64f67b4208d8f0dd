"""The three lines of a message: what and why; what is proven; now or in the morning, one thing to do, one not to do.

Read half awake on a small screen, so the first words decide. What to do about each cause stands in core.advice.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from controller.core.explain import duration
from controller.link.messages import CauseNow, SignalNow, StateNow

Urgency = Literal["now", "morning"]
STEADY_K = 0.3  # less change than this in half a minute is steady


class Text(NamedTuple):
    """One message to a person."""

    title: str
    body: str
    urgency: Urgency


def _text(rig: str, simulated: bool, what: str, lines: tuple[str, str, str], urgency: Urgency) -> Text:
    title = f"{rig}: {what}"
    return Text(f"SIMULATED, {title}" if simulated else title, "\n".join(lines), urgency)


def temperature(state: StateNow) -> SignalNow | None:
    """The lye's: the signal of the limit on it, else the first in C."""
    of_limit = next((m.signal for m in state.margins if m.limit.startswith("over-temperature")), None)
    by_name = {signal.name: signal for signal in state.signals}
    return by_name.get(of_limit or "") or next((s for s in state.signals if s.unit == "C"), None)


def proven(state: StateNow, before_c: float | None) -> str:
    """What is proven, not what was asked for. before_c: the lye's temperature half a minute ago."""
    open_words = {True: "contactor open", False: "CONTACTOR CLOSED", None: "contactor not known"}
    current = next((s for s in state.signals if s.unit == "A"), None)
    lye = temperature(state)
    parts = [open_words[state.proven.main_open]]
    parts.append("current not known" if current is None or current.value is None else f"{abs(current.value):.1f} A")
    if lye is None or lye.value is None:
        parts.append("temperature not known")
    else:
        change = 0.0 if before_c is None else lye.value - before_c
        trend = "" if before_c is None else _trend(change)
        parts.append(f"{lye.value:.0f} C{trend}")
    parts.append("GAS IS COLLECTED" if state.outputs.get("collect") else "gas to vent")
    return "Proven: " + ", ".join(parts) + "."


def _trend(change_k: float) -> str:
    if abs(change_k) < STEADY_K:
        return " and steady"
    return " and rising" if change_k > 0.0 else " and falling"


def _when(urgency: Urgency) -> str:
    return "NOW" if urgency == "now" else "Morning"


def trip(state: StateNow, cause: CauseNow, before_c: float | None) -> Text:
    locked = cause.kind == "lock-out"
    what = "LOCKED OUT" if locked else "tripped"
    later = [c.title for c in state.causes if c.name != cause.name]
    also = f" Then also: {', '.join(later)}." if later else ""
    at_the_rig = " Only at the rig, with a reason, can it be released." if locked else ""
    lines = (
        f"{cause.sentence}{also}",
        proven(state, before_c),
        f"{_when(cause.urgency)}: {cause.to_do} {cause.not_to_do}{at_the_rig}",
    )
    return _text(state.rig, state.simulated, f"{what}: {cause.title}", lines, cause.urgency)


def sensor_lost(state: StateNow, signal: SignalNow, before_c: float | None) -> Text:
    lines = (
        f"{signal.title}: {signal.plain}.",
        proven(state, before_c),
        "Morning: look at its plug and cable. Do not bridge it: the rig trips on what it cannot see.",
    )
    return _text(state.rig, state.simulated, f"sensor lost: {signal.title}", lines, "morning")


def sensor_back(state: StateNow, title: str, before_c: float | None) -> Text:
    lines = (
        f"{title} is seen again.",
        proven(state, before_c),
        "Morning: wiggle its plug and see whether it holds. Do not take one good hour for a repair.",
    )
    return _text(state.rig, state.simulated, f"sensor back: {title}", lines, "morning")


def top_up_due(state: StateNow, hours: float, before_c: float | None) -> Text:
    lines = (
        f"Water for {duration(hours * 3600.0)} more at this current.",
        proven(state, before_c),
        "Morning: top up with deionised water when it is off and cool. Do not top up under power.",
    )
    return _text(state.rig, state.simulated, "top-up due", lines, "morning")


def finished(state: StateNow, before_c: float | None) -> Text:
    run = state.run
    energy = "" if run.energy_kwh is None else f" for {run.energy_kwh:.2f} kWh"
    lines = (
        f"Run finished: {run.hydrogen_l:.1f} L of hydrogen{energy}. {run.ends}".rstrip() + ".",
        proven(state, before_c),
        "Morning: close the store and note the levels. Do not open the cell before it is cool and vented.",
    )
    return _text(state.rig, state.simulated, "run finished", lines, "morning")


def gas_fit(state: StateNow, before_c: float | None) -> Text:
    lines = (
        f"{state.gas.sentence}",
        proven(state, before_c),
        "Morning: gas may be used from now on. Do not use what was made before.",
    )
    return _text(state.rig, state.simulated, "gas is fit to use", lines, "morning")


def silent(rig: str, last: StateNow | None, silent_s: float, died: bool, urgency: Urgency) -> Text:
    why = "its link died, or its machine or its network did" if died else "nothing has been heard of it"
    if last is None:
        known = "Proven: nothing. It has not been heard since this watch began."
    else:
        known = f"Proven: nothing any more. When last heard it was {last.state}: {last.sentence}"
    do = (
        "go and look from a distance. Do not trust the page: it shows the past."
        if urgency == "now"
        else "see whether machine and network are up. Do not trust the page: it shows the past."
    )
    lines = (f"Silent for {duration(silent_s)}: {why}.", known, f"{_when(urgency)}: {do}")
    return _text(rig, bool(last and last.simulated), "silent", lines, urgency)


def ended(rig: str, last: StateNow | None) -> Text:
    known = "" if last is None else f" When last heard it was {last.state}."
    lines = (
        "Its link was stopped in order: nobody is told of anything until it is back.",
        f"Proven: nothing any more.{known}",
        "Morning: start the link again. Do not run the rig unwatched.",
    )
    return _text(rig, bool(last and last.simulated), "no longer watched", lines, "morning")


def back(state: StateNow, silent_s: float) -> Text:
    lines = (
        f"Heard again after {duration(silent_s)}. {state.sentence}",
        proven(state, None),
        "Morning: see why it was gone. Do not take it for repaired.",
    )
    return _text(state.rig, state.simulated, "back", lines, "morning")


def not_understood(rig: str, why: str) -> Text:
    lines = (
        f"Its messages are not understood: {why}",
        "Proven: nothing. It may be that this program is older than the rig's.",
        "NOW: update this program, or look at the rig itself. Do not take silence for good news.",
    )
    return _text(rig, False, "cannot be read", lines, "now")


def unanswered(text: Text, minutes: float) -> Text:
    title = f"Nobody has answered for {minutes:.0f} min: {text.title}"
    return text._replace(title=title)


def digest(texts: list[tuple[Text, int]]) -> Text:
    """Several messages as one, each with how often it came."""
    lines = [text.title + (f" ({times} times)" if times > 1 else "") for text, times in texts]
    if len(texts) == 1 and texts[0][1] == 1:
        return texts[0][0]
    urgency: Urgency = "now" if any(text.urgency == "now" for text, _ in texts) else "morning"
    return Text(f"{sum(times for _, times in texts)} things happened", "\n".join(lines), urgency)
