"""Is each limit fast enough for its hazard, and far enough from normal running? Worked out from the rig file.

For every harm the fastest credible faults are played on the plant alone, without any protection: the time from fault to
harm. For each limit that is there to prevent it, the time until its true quantity gets there in that same run, and what
follows: sensor lag, sample, filter, delay, scan, contactor. Two responses must fit between the limit and the harm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import groupby
from typing import Any, NamedTuple

from controller.config.load import CompiledRig
from controller.core.limits import Effect, Limit
from controller.core.signals import Signal
from simulator.boards.wiring import Wiring
from simulator.faults.active import Active, Come
from simulator.faults.library import LIBRARY
from simulator.plant.advance import advance
from simulator.plant.inputs import RUN30
from simulator.plant.observe import Seen, observer
from simulator.rehearsal.harm import HARMS, Harm
from simulator.rehearsal.world import Physical, allowed_a, settled
from simulator.whole import PlantBehind

STEP_S, LATER_STEP_S, LATER_S = 0.1, 0.5, 600.0  # after ten minutes nothing here is fast any more
SIZES: dict[str, dict[str, float]] = {"supply-runs-away": {"amps": 150.0}}  # the worst of it, not the library's default
LONGEST_S = 3 * 3600.0
ENOUGH = 2.0  # responses between limit and harm
ERROR_SHARE = 1.0 / 3.0  # of the way from normal to the limit that the sensor's error may take
GOOD, NO_HARM = "good", "no harm within three hours"
LEAST_GRACE_SAMPLES = 3.0  # a grace below that trips needlessly
KEPT_ROUND = (0.1, 0.2, 0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0)


READ_AS = (
    "Limit and harm: after the fault, with nobody acting. Response: from the limit to no current, all of it at its "
    f"slowest: sensor, filter, delay, scan, contactor. Fits: how many responses lie between limit and harm; {ENOUGH:g} "
    "are enough."
)


class Row(NamedTuple):
    """One limit against one fault of one harm. Times in s from the fault."""

    harm: str
    says: str
    fault: str
    harm_s: float | None  # process safety time; None: no harm within three hours
    limit: str
    limit_s: float | None  # when the true quantity reaches the limit; None: not before the harm
    response_s: float | None  # from there to no current: lag, sample, filter, delay, scan, contactor
    ratio: float | None  # of the time from limit to harm, to the response
    verdict: str
    proposal: str


class Tight(NamedTuple):
    """A limit that the sensor's own error alone might reach, or nearly."""

    limit: str
    normal: float
    threshold: float
    error: float
    share: float  # of the way that the error takes
    verdict: str


class Study(NamedTuple):
    rows: tuple[Row, ...]
    tight: tuple[Tight, ...]
    useless: tuple[str, ...]  # protective limits that no fault here ever reached
    note: str


class _Lone:
    """A plant without bench and guard, as faults see it."""

    def __init__(self, behind: PlantBehind) -> None:
        self.behind = behind

    def fault(self, part: str, kind: str, amount: float = 0.0) -> None:
        """Without protection there is nobody to be told wrong numbers."""

    def clear(self, part: str = "") -> None:
        """Nor right ones."""

    def swap(self, first: str, second: str) -> None:
        """Nor changed ones."""


class Unprotected(NamedTuple):
    """A plant run into harm: when, and when each quantity first passed each watched bound."""

    harm_s: float | None
    crossed_s: dict[str, float]


def unprotected(physical: Physical, fault: str, harm: Harm, limits: dict[str, tuple[str, Limit]]) -> Unprotected:
    """limits: by name, the quantity that each looks at."""
    rig, parameters = physical.rig, physical.parameters
    current_a = allowed_a(rig)
    behind = PlantBehind(parameters, settled(parameters, current_a, RUN30.ambient_c), current_a)
    active = Active(_Lone(behind), 1, lambda *_: None)
    inputs = RUN30._replace(setpoint_a=current_a)
    look = observer(parameters)
    for name in fault.split("+"):
        active.begin(Come(name, SIZES.get(name, {})), 0.0)
    at = harm.at(rig)
    assert at is not None
    place = Seen._fields.index(harm.quantity)
    waiting = {name: (Seen._fields.index(q), limit) for name, (q, limit) in limits.items()}
    crossed: dict[str, float] = {}
    state, now_s = behind.state, 0.0
    while now_s < LONGEST_S:
        active.update(now_s)
        inputs = inputs._replace(disturbances=behind.disturbances)
        step_s = STEP_S if now_s < LATER_S else LATER_STEP_S
        state = advance(parameters, state, inputs, step_s)
        now_s += step_s
        seen: Any = look(state, inputs)
        for name in [n for n, (p, limit) in waiting.items() if _beyond(limit, seen[p], n, physical.wiring)]:
            crossed[name] = now_s
            del waiting[name]
        number = seen[place]
        if number >= at if harm.rises else number <= at:
            return Unprotected(now_s, crossed)
    return Unprotected(None, crossed)


def _beyond(limit: Limit, number: float, name: str, wiring: Wiring) -> bool:
    if limit.is_switch:
        contact = next((c for c in wiring.contact if c.signal == name.partition("|")[2]), None)
        return contact is not None and not contact.closed(number)
    if limit.magnitude:
        number = abs(number)
    return number >= limit.threshold if limit.rises else number <= limit.threshold


def response_s(rig: CompiledRig, wiring: Wiring, limit: Limit) -> float:
    """From the true quantity at the limit to no current, all of it at its slowest."""
    signal = rig.core.signals[limit.members[0]]
    opening_s = wiring.power.main.opens_in_s
    return (
        _lag_s(signal.name, wiring)
        + _sampling_s(signal)
        + signal.filter_s
        + limit.delay_s
        + rig.core.scan_s
        + opening_s
    )


def _sampling_s(signal: Signal) -> float:
    return signal.period_s if signal.period_s > 0.5 else 0.0


def _lag_s(name: str, wiring: Wiring) -> float:
    for converter in wiring.converter:
        for part in converter.inputs:
            if part.signal == name:
                return part.lag_s
    return next((t.lag_s for t in wiring.thermometer if t.signal == name), 0.0)


def looks_at(wiring: Wiring) -> dict[str, str]:
    """The quantity of each signal, as wired."""
    of = {p.signal: p.of for c in wiring.converter for p in c.inputs if p.of}
    of |= {t.signal: t.of for t in wiring.thermometer}
    of |= {m.signal: m.of for m in wiring.meter}
    return of | {c.signal: c.of for c in wiring.contact if c.of in Seen._fields}


def study(physical: Physical, progress: Any = None) -> Study:
    rig, wiring = physical.rig, physical.wiring
    quantity = looks_at(wiring)
    by_name = {limit.name: limit for limit in rig.core.limits}
    rows: list[Row] = []
    reached: set[str] = set()
    for harm in HARMS:
        if harm.at(rig) is None:
            continue
        limits = {}
        for name in harm.limits:
            limit = by_name.get(name)
            if limit is not None and limit.effect is Effect.TRIP:
                signal = rig.core.signals[limit.members[0]].name
                if signal in quantity:
                    limits[f"{name}|{signal}"] = (quantity[signal], limit)
        for fault in harm.faults:
            run = unprotected(physical, fault, harm, limits)
            reached |= {key.partition("|")[0] for key in run.crossed_s}
            rows += _rows(physical, harm, fault, run, limits)
            if progress is not None:
                progress(1.0)
    watched = {row.limit for row in rows if row.limit}
    return Study(tuple(rows), _tight(rig), tuple(sorted(watched - reached)), physical.note)


def _rows(
    physical: Physical, harm: Harm, fault: str, run: Unprotected, limits: dict[str, tuple[str, Limit]]
) -> list[Row]:
    rig, wiring = physical.rig, physical.wiring
    if run.harm_s is None:
        return [Row(harm.name, harm.says, fault, None, "", None, None, None, NO_HARM, "")]
    if not limits:
        return [
            Row(harm.name, harm.says, fault, run.harm_s, "", None, None, None, "NOTHING WATCHES", "see rehearse --all")
        ]
    found = []
    for key, (_, limit) in limits.items():
        name = key.partition("|")[0]
        takes_s = response_s(rig, wiring, limit)
        at_s = run.crossed_s.get(key)
        if at_s is None:
            found.append(Row(harm.name, harm.says, fault, run.harm_s, name, None, takes_s, None, "DOES NOT SEE IT", ""))
            continue
        left_s = run.harm_s - at_s
        ratio = left_s / takes_s if takes_s > 0.0 else math.inf
        verdict = GOOD if ratio >= ENOUGH else "TIGHT" if ratio >= 1.0 else "TOO SLOW"
        found.append(
            Row(
                harm.name,
                harm.says,
                fault,
                run.harm_s,
                name,
                at_s,
                takes_s,
                ratio,
                verdict,
                _propose(limit, rig.core.signals[limit.members[0]], left_s, takes_s),
            )
        )
    return _together(found, {key.partition("|")[0]: limit for key, (_, limit) in limits.items()})


def _together(rows: list[Row], limits: dict[str, Limit]) -> list[Row]:
    """One limit that is quick enough will do: what the others lack is then no fault of the rig file's. And a signal
    that goes unseen in the same moment matters only where no other one is quick enough without it."""
    quick = [row for row in rows if row.verdict == GOOD]
    if not quick:
        return rows
    covered = len({limits[row.limit].members for row in quick}) > 1
    return [
        row._replace(proposal="" if covered else row.proposal)
        if row.verdict == GOOD
        else row._replace(verdict=f"{row.verdict.lower()}, another does", proposal="")
        for row in rows
    ]


def _propose(limit: Limit, signal: Signal, left_s: float, takes_s: float) -> str:
    """A delay and a grace with which two responses fit; empty where those of the rig file do."""
    others_s = takes_s - limit.delay_s
    most_s = left_s / ENOUGH - others_s
    if most_s < 0.0:
        return "no delay is short enough: move the limit, or a quicker sensor"
    said = []
    if limit.delay_s > most_s:
        said.append(f"delay_s = {_round_down(most_s):g}")
    grace_most_s = left_s / ENOUGH
    if limit.grace_s > grace_most_s:
        grace_s = _round_down(grace_most_s)
        if grace_s >= LEAST_GRACE_SAMPLES * signal.period_s:
            said.append(f"grace_s = {grace_s:g}")
        else:  # so short a grace would trip at every bad sample
            said.append("blind in that moment it is too late: something beside the controller (a fuse, a valve)")
    return ", ".join(said)


def _round_down(seconds: float) -> float:
    return max((s for s in KEPT_ROUND if s <= seconds), default=0.0)


def _tight(rig: CompiledRig) -> tuple[Tight, ...]:
    """Limits whose sensor's declared error takes more than a third of the way from normal running."""
    found = []
    for limit in rig.core.limits:
        signal = rig.core.signals[limit.members[0]]
        if limit.is_switch or signal.normal is None or limit.effect is Effect.ALARM or signal.error <= 0.0:
            continue
        way = limit.threshold - signal.normal if limit.rises else signal.normal - limit.threshold
        if way <= 0.0:
            continue
        share = signal.error / way
        if share > 0.2:
            verdict = "TOO TIGHT: needless trips" if share > ERROR_SHARE else "a little tight"
            found.append(Tight(limit.name, signal.normal, limit.threshold, signal.error, share, verdict))
    return tuple(found)


def worst_first(rows: Iterable[Row]) -> list[Row]:
    """What has to be mended, then everything in the order of the harms, what does no harm last."""
    return sorted(rows, key=lambda row: (not row.verdict.isupper(), row.verdict == NO_HARM))


def faults_in_words(names: str) -> str:
    """Titles of faults that were played together."""
    first, *more = (LIBRARY[name].title for name in names.split("+"))
    return " and ".join([first, *(title[0].lower() + title[1:] for title in more)])


TICKS = ((0.1, "0.1 s"), (1.0, "1 s"), (10.0, "10 s"), (60.0, "1 min"), (600.0, "10 min"), (3600.0, "1 h"))
INK, PALE, WELL, COVERED, BAD = "#1b2a33", "#d9e1e5", "#2e7d4f", "#c77d0a", "#b3261e"


def picture(made: Study) -> Any:
    """A matplotlib figure: for each harm and fault, the way over each limit and its response to the harm, on a
    logarithmic scale."""
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    rows = [r for r in made.rows if r.harm_s is not None and r.limit_s is not None]
    blocks = [list(rows_of) for _, rows_of in groupby(rows, key=lambda r: (r.harm, r.fault))]
    lines = sum(len(block) + 1.3 for block in blocks)
    figure = Figure(figsize=(9.0, 1.1 + 0.23 * max(2.0, lines)), facecolor="white", layout="constrained")
    axis = figure.subplots()
    at, places, names = 0.0, [], []
    for block in blocks:
        title = f"{block[0].harm}: {faults_in_words(block[0].fault).lower()}"
        axis.text(0.055, at, title, fontsize=8, fontweight="bold", color=INK, va="center")
        for row in block:
            at += 1.0
            assert row.harm_s is not None
            assert row.limit_s is not None
            assert row.response_s is not None
            left, middle = max(row.limit_s, 0.05), row.limit_s + row.response_s
            colour = WELL if row.verdict == GOOD else BAD if row.verdict.isupper() else COVERED
            axis.barh(at, left, color=PALE, height=0.55)
            axis.barh(at, middle - left, left=left, color=colour, height=0.55)
            axis.plot([row.harm_s], [at], marker="D", color=INK, markeredgecolor="white", markersize=6)
            places.append(at)
            names.append(row.limit)
        at += 1.3
    axis.set_ylim(max(at - 0.6, 1.0), -0.7)
    axis.set_yticks(places, names, fontsize=8)
    axis.set_xscale("log")
    axis.set_xlim(0.05, 2.0 * max((r.harm_s or 0.0 for r in rows), default=1.0))
    axis.set_xticks([s for s, _ in TICKS], [text for _, text in TICKS], fontsize=8)
    axis.minorticks_off()
    axis.grid(axis="x", color=PALE, linewidth=0.6)
    axis.set_axisbelow(True)
    axis.set_xlabel("from the fault, with nobody acting", fontsize=8)
    shown = [
        Patch(color=PALE, label="until the limit"),
        Patch(color=WELL, label="response, in time"),
        Patch(color=COVERED, label="too slow, another limit does"),
        Patch(color=BAD, label="too slow"),
        Line2D([], [], marker="D", color=INK, linestyle="", markersize=6, label="harm"),
    ]
    figure.legend(handles=shown, loc="outside upper left", ncols=len(shown), fontsize=8, frameon=False)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    return figure
