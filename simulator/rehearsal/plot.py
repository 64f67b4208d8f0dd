"""The timeline of a rehearsal as a picture: what the guard saw over the truth, limits, fault, trip, power off."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.core.limits import Effect
from simulator.rehearsal.judge import first_out
from simulator.rehearsal.runner import WATCHED, Record, trips

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, TRUE, SEEN, TRIP, ALARM, FAULT = "#1b2a33", "#b8c4ca", "#0b6e8a", "#b3261e", "#c77d0a", "#6a4c93"
MOST_PANELS = 6
ALWAYS = ("current_a", "cell_temperature_c")


def picture(record: Record) -> Any:
    """A matplotlib figure. Imports matplotlib, which takes a second."""
    from matplotlib.figure import Figure

    rig = record.physical.rig.core
    panels = _panels(record)
    figure = Figure(figsize=(9.0, 1.2 + 1.35 * len(panels)), facecolor="white", layout="constrained")
    axes = figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0]
    times_s = [s.t_s for s in record.samples]
    for axis, (quantity, signal) in zip(axes, panels, strict=True):
        at = WATCHED.index(quantity)
        axis.plot(times_s, [s.true[at] for s in record.samples], color=TRUE, linewidth=3.5, label="true")
        title = quantity
        if signal is not None:
            values = [(s.t_s, s.values[signal]) for s in record.samples if s.values]
            axis.plot([t for t, _ in values], [v if v is not None else float("nan") for _, v in values],
                      color=SEEN, linewidth=1.2, label="as the guard sees it")  # fmt: skip
            title = f"{rig.signals[signal].title}, {rig.signals[signal].unit}"
            _limits(axis, record, signal)
        axis.set_ylabel(title.replace(", ", "\n"), fontsize=8, color=INK)
        _marks(axis, record, named=axis is axes[0])
        axis.tick_params(labelsize=7, colors=INK)
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
        axis.margins(x=0.0, y=0.12)
    axes[-1].set_xlabel("seconds", fontsize=8, color=INK)
    figure.legend(*axes[0].get_legend_handles_labels(), loc="upper right", fontsize=7, frameon=False, ncols=3)
    first = first_out(record)
    what = f"tripped by {first}" if first else f"no trip, ended {record.end_state}"
    figure.suptitle(f"{record.scenario.title}: {what}", fontsize=10, color=INK, x=0.01, ha="left")
    return figure


def _panels(record: Record) -> list[tuple[str, int | None]]:
    """Quantities worth showing: always current and temperature, then what the causes looked at, then what moved
    most."""
    of = {p.signal: p.of for c in record.physical.wiring.converter for p in c.inputs}
    of |= {t.signal: t.of for t in record.physical.wiring.thermometer}
    of |= {m.signal: m.of for m in record.physical.wiring.meter}
    rig = record.physical.rig.core
    signal_of = {of[s.name]: at for at, s in enumerate(rig.signals) if of.get(s.name) in WATCHED}
    contacts = {c.signal: c.of for c in record.physical.wiring.contact}
    limits = {limit.name: limit for limit in rig.limits}
    chosen = list(ALWAYS)
    for _, event in trips(record):
        limit = limits.get(event.subject)
        for member in limit.members if limit else ():
            name = rig.signals[member].name
            chosen.append(of.get(name, contacts.get(name, "")))
    spread = {q: _spread(record, at) for at, q in enumerate(WATCHED)}
    chosen += sorted(WATCHED, key=lambda q: -spread[q])
    picked = list(dict.fromkeys(q for q in chosen if q in WATCHED))[:MOST_PANELS]
    return [(quantity, signal_of.get(quantity)) for quantity in picked]


def _spread(record: Record, at: int) -> float:
    low, high = record.low[at], record.high[at]
    return (high - low) / (abs(high) + abs(low) + 1e-9)


def _limits(axis: Axes, record: Record, signal: int) -> None:
    seen = [v for s in record.samples if s.values and (v := s.values[signal]) is not None]
    if not seen:
        return
    reach = 2.5 * max(max(seen) - min(seen), 0.05 * abs(max(seen)), 1e-6)
    named: list[float] = []
    for limit in record.physical.rig.core.limits:
        if limit.members != (signal,) or limit.is_switch:
            continue
        if min(seen) - reach <= limit.threshold <= max(seen) + reach:
            colour = TRIP if limit.effect is Effect.TRIP else ALARM
            axis.axhline(limit.threshold, color=colour, linewidth=0.8, linestyle=(0, (4, 3)))
            if any(abs(limit.threshold - other) < 0.1 * (max(seen) - min(seen)) for other in named):
                continue  # two names on one another are none
            named.append(limit.threshold)
            axis.annotate(limit.name, (1.0, limit.threshold), xycoords=("axes fraction", "data"), fontsize=6,
                          color=colour, ha="right", va="bottom")  # fmt: skip


def _marks(axis: Axes, record: Record, named: bool) -> None:
    """named: with words, which one panel is enough for; the fault's to the left of its line, for a trip may follow."""
    trip_s = next((at_s for at_s, _ in trips(record)), None)
    for at_s, word, colour, side in ((record.fault_s, "fault ", FAULT, "right"), (trip_s, " trip", TRIP, "left")):
        if at_s is not None:
            axis.axvline(at_s, color=colour, linewidth=1.0)
            if named:
                axis.annotate(word, (at_s, 1.0), xycoords=("data", "axes fraction"), fontsize=7, color=colour, ha=side)
    label = "current can flow" if named else ""
    for (from_s, on), (to_s, _) in zip(record.powered, [*record.powered[1:], (record.simulated_s, False)], strict=True):
        if on:
            axis.axvspan(from_s, to_s, ymin=0.0, ymax=0.04, color=SEEN, alpha=0.6, linewidth=0, label=label)
            label = ""


def save(record: Record, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    picture(record).savefig(path, dpi=130)
