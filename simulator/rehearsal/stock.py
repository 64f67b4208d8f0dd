"""Every stock fault on one rig: which it survives, by what, and which part would have caught the rest.

A single fault is judged by the plant's truth until power is off, harm is done, or long enough has passed. A fault that
hides (a stuck float, a welded contact) is played with the demand that would need the hidden part.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from enum import Enum
from functools import lru_cache
from typing import NamedTuple

from controller.core.events import Happened
from simulator.faults.kinds import FaultKind, Fits
from simulator.faults.library import LIBRARY, parts_for
from simulator.rehearsal.harm import BY_NAME, Harm, bounds_of, parts_that_see
from simulator.rehearsal.judge import cut_by, first_out, tripped
from simulator.rehearsal.rigs import find
from simulator.rehearsal.runner import Bound, Record, play, trips
from simulator.rehearsal.scenario import CommandEntry, Entry, Expect, FaultEntry, Scenario
from simulator.rehearsal.world import CannotStart, Level, Physical

FAULT_S = 10.0
DEMAND_AFTER_S = 20.0
AFTER_OFF_S = 12.0  # the truth goes on for a while: gas still rises, lye still runs
LONG_S = 1200.0
SLOW_S: dict[str, float] = {
    "coolant-lost": 7200.0, "coolant-throttled": 7200.0, "coolant-warm": 7200.0, "coolant-air-locked": 7200.0,
    "drain-kinked": 7200.0, "coolant-frozen": 7200.0, "supply-constant-voltage": 7200.0, "electrode-worn": 3600.0,
    "ambient-hot": 7200.0, "separator-torn": 3600.0, "hydrogen-leak": 7200.0, "wrong-fluid": 3600.0,
    "joint-loose": 3600.0, "meter-blocked": 3600.0, "lye-diluted": 3600.0,
}  # fmt: skip
SHORT_S = 90.0  # for what is harmless or hidden
SCALES: dict[str, float] = {  # what is a large error of each kind of quantity, for offset, drift, noise and spikes
    "current_a": 10.0, "level_h_mm": 20.0, "stack_voltage_v": 2.0, "cell_temperature_c": 10.0, "coolant_outlet_c": 10.0,
    "coolant_inlet_c": 10.0, "pressure_h_mbar": 8.0, "pressure_o_mbar": 8.0, "room_h2_percent": 0.5,
    "h2_in_o2_percent": 1.0, "o2_in_h2_percent": 1.0,
}  # fmt: skip
# The fault that needs each signal: played half a minute after that signal has begun to lie.
DEMANDS: dict[str, tuple[str, ...]] = {
    "cell_temperature": ("coolant-lost",),
    "coolant_flow": ("coolant-lost",),
    "coolant_outlet": ("coolant-lost",),
    "coolant_inlet": (),
    "current": ("supply-runs-away",),
    "voltage": ("wrong-fluid",),
    "pressure_hydrogen": ("outlet-h-blocked",),
    "pressure_oxygen": ("outlet-o-blocked",),
    "room_hydrogen": ("hydrogen-leak", "ventilation-lost"),
    "hydrogen_in_oxygen": ("separator-torn",),
    "level_hydrogen": ("lye-leak",),
    "level_oxygen": ("lye-leak",),
    "level_not_high": ("coolant-into-cell",),
    "level_mm": ("lye-leak",),
    "dry_floor": ("hose-off",),
    "air_flow": ("ventilation-lost", "hydrogen-leak"),
    "stop_chain": ("stop-pressed",),
}
START_TAKES_S = 60.0
GUARD_TOO_S = 2.0  # so much later than a hard-wired part the guard may come to the same end
REST_S = 420.0  # between a stop and the next start
# What would tell the harmless fault from the one that its limit is there for.
TELLS_APART: dict[str, str] = {
    "stack off its curve": "a tap between the cells, about 8 EUR: wear moves all of them, a dry cell only its own",
}
PROVED_BY_A_STOP = ("main-", "second-", "watchdog-", "path-")


class Fate(Enum):
    """What became of the rig. In the order of the table: the worst first."""

    NOT_CAUGHT = "NOT CAUGHT"
    LATE = "too late"
    HARD_WIRED = "hard-wired part only"
    SAVED = "saved"
    STOPPED = "stopped in order"
    HIDDEN = "not found out"
    HARMLESS = "no harm"
    NEEDLESS = "needless trip"
    REFUSED = "cannot be played"


class Case(NamedTuple):
    """One line of the table before it is played."""

    name: str
    title: str
    scenario: Scenario
    harmless: bool
    two: bool  # a hidden fault with its demand


class Line(NamedTuple):
    """One line of the table."""

    name: str
    title: str
    fate: Fate
    by: str
    off_s: float | None
    harm: str
    harm_s: float | None
    remedy: str
    note: str
    simulated_s: float
    wall_s: float


def cases(physical: Physical) -> list[Case]:
    """Everything of the library that this rig can have."""
    signals = {name for name, _ in physical.rig.hardware.signals}
    found = []
    for kind in LIBRARY.values():
        if kind.fits is Fits.NOTHING:
            if _fits_rig(kind, physical):
                found.append(_case(kind, physical, ""))
            continue
        for part in parts_for(physical.wiring, kind.fits):
            known = part in signals or kind.fits in (Fits.CONVERTER, Fits.BUS)
            other = _other(part, physical) if kind.name == "sensors-swapped" else ""
            if known and (kind.name != "sensors-swapped" or other):
                found.append(_case(kind, physical, part, other))
    return found


def _fits_rig(kind: FaultKind, physical: Physical) -> bool:
    wiring = physical.wiring
    if kind.name.startswith("second-") and wiring.power.second is None:
        return False
    if kind.name == "supply-ignores-setpoint" and "set_point" not in wiring.pins:
        return False
    if kind.name == "top-up-fails" and "top_up" not in wiring.pins:
        return False
    signals = {name for name, _ in physical.rig.hardware.signals}
    return not (kind.name in ("level-low", "over-temperature") and not {kind.acts[0].target} <= signals)


def _other(part: str, physical: Physical) -> str:
    """The neighbour that a plug could be changed over with: of the same kind, the next in the wiring."""
    for group in (parts_for(physical.wiring, Fits.THERMOMETER), parts_for(physical.wiring, Fits.ANALOGUE)):
        if part in group and len(group) > 1:
            at = group.index(part)
            return group[at + 1] if at + 1 < len(group) else ""
    return ""


def _case(kind: FaultKind, physical: Physical, on: str, other: str = "") -> Case:
    hidden = kind.hidden
    horizon_s = SHORT_S if kind.harmless and kind.name not in SLOW_S else SLOW_S.get(kind.name, LONG_S)
    numbers = _numbers(kind, on, physical)
    entries: list[Entry] = [FaultEntry(t_s=FAULT_S, fault=kind.name, on=on, other=other, **{"with": numbers})]
    title, demand_s = kind.title, FAULT_S + DEMAND_AFTER_S
    if on:
        title += f": {on}"
    if hidden and kind.name.startswith(PROVED_BY_A_STOP):
        entries.append(CommandEntry(t_s=demand_s, command="stop"))
        entries.append(CommandEntry(t_s=demand_s + REST_S, command="start"))
        title, horizon_s = f"{title}, then a stop and a start", REST_S + SHORT_S
    elif hidden:
        demands = DEMANDS.get(on, ())
        entries += [FaultEntry(t_s=demand_s, fault=name) for name in demands]
        if demands:
            title += f", then {' and '.join(LIBRARY[n].title.lower() for n in demands)}"
            horizon_s = max(SLOW_S.get(name, LONG_S) for name in demands)
        else:
            horizon_s = SHORT_S
    scenario = Scenario(
        title=title, rig=physical.rig.core.name, duration_s=FAULT_S + horizon_s, at=tuple(entries), expect=Expect()
    )
    harmless = kind.harmless and on != "stop_chain"
    return Case(f"{kind.name} {on}".strip(), title, scenario, harmless, len(entries) > 1)


def _numbers(kind: FaultKind, on: str, physical: Physical) -> dict[str, float]:
    of = {p.signal: p.of for c in physical.wiring.converter for p in c.inputs} | {
        t.signal: t.of for t in physical.wiring.thermometer
    }
    scale = SCALES.get(of.get(on, ""), 1.0)
    match kind.name:
        case "sensor-offset":
            return {"amount": -scale}
        case "sensor-drifts" | "sensor-noisy":
            return {"amount": 0.2 * scale}
        case "sensor-spikes":
            return {"amount": 0.5 * scale}
        case _:
            return {}


def judged_bounds(physical: Physical) -> tuple[Bound, ...]:
    harms = bounds_of(physical.rig)
    parts = [bound for b in harms for _, bound in parts_that_see(physical.rig, BY_NAME[b.name])]
    return harms + tuple({bound.name: bound for bound in parts}.values())


def play_case(case: Case, physical: Physical, level: Level = Level.SIGNALS, every_s: float | None = None) -> Record:
    """Until power has been off for a while, or harm is done and stands, or the time is over."""
    harms = frozenset(b.name for b in bounds_of(physical.rig))
    last = case.scenario.at[-1]
    decided_s = last.t_s + (START_TAKES_S if isinstance(last, CommandEntry) else AFTER_OFF_S)

    def over(record: Record, t_s: float) -> bool:
        harm_s = min((s for name, s in record.first_crossed_s.items() if name in harms), default=None)
        if harm_s is not None and t_s >= harm_s + AFTER_OFF_S:
            return True
        last_s, on = record.powered[-1]
        return not on and t_s >= last_s + AFTER_OFF_S and t_s > decided_s

    return play(case.scenario, physical, level, bounds=judged_bounds(physical), until=over, every_s=every_s)


def line_of(case: Case, record: Record) -> Line:
    """What a person is told of one case."""
    crossed = {n: s for n, s in record.first_crossed_s.items() if n in BY_NAME}
    harm_name = min(crossed, key=lambda n: crossed[n], default="")
    harm_s = crossed.get(harm_name)
    by, cutter, off_at_s = first_out(record) or "", cut_by(record), record.off_s
    needed_s = max((e.t_s for e in case.scenario.at if isinstance(e, FaultEntry)), default=0.0)
    off_s = None if off_at_s is None else max(0.0, off_at_s - needed_s)
    remedy = ""
    if harm_s is not None and (off_at_s is None or harm_s <= off_at_s):
        fate = Fate.NOT_CAUGHT if off_at_s is None and not tripped(record) else Fate.LATE
        warned = [e.subject for _, t, e in record.events if e.what is Happened.ALARM and needed_s <= t < harm_s]
        if fate is Fate.NOT_CAUGHT and warned:
            by = f"an alarm alone, {warned[0]}"
    elif off_at_s is None and not tripped(record):
        fate, by = Fate.HARMLESS, "nothing had to be done"
    elif cutter not in ("guard", "") and off_at_s is not None:
        guard_s = min((t for t, _ in trips(record)), default=None)
        too = guard_s is not None and guard_s <= off_at_s + GUARD_TOO_S
        fate, by = (Fate.SAVED, f"{cutter}, then {by}") if too else (Fate.HARD_WIRED, _without_guard(record, cutter))
    elif not tripped(record):
        refused = _refused(record)
        fate = Fate.SAVED if refused else Fate.HIDDEN if case.two else Fate.STOPPED
        by = f"the next start is refused: {refused}" if refused else record.said_ending()
    elif case.harmless:
        fate, remedy = Fate.NEEDLESS, TELLS_APART.get(by, "")
    else:
        fate = Fate.SAVED
    if harm_s is not None:
        remedy = _remedy(BY_NAME[harm_name], record, harm_s)
    note = ""
    if harm_s is not None and off_at_s is not None and harm_s > off_at_s:
        note = f"afterwards all the same: {BY_NAME[harm_name].says}"
    return Line(
        case.name, case.title, fate, by, off_s, harm_name, None if harm_s is None else harm_s - needed_s, remedy, note,
        record.simulated_s, record.wall_s,
    )  # fmt: skip


def _without_guard(record: Record, cutter: str) -> str:
    """What took the power, and the relay behind it where that would have done it too."""
    fell_s = next((c.at_s for c in record.changes if c.name == "watchdog" and not c.closed), None)
    if record.off_s is None or fell_s is None or fell_s <= record.off_s:
        return cutter
    return f"{cutter}; behind it the watchdog relay, {fell_s - record.off_s:.1f} s later"


def _refused(record: Record) -> str:
    """Why the start that follows was refused; empty when it was not."""
    asked = [e for _, _, e in record.events if e.what is Happened.REFUSED and e.subject == "START"]
    return asked[-1].detail if asked else ""


def _remedy(harm: Harm, record: Record, harm_s: float) -> str:
    """What would have seen it before it was there, by this very rehearsal: what costs nothing first, then the cheapest.

    A part that is there and tells the truth needs only a limit; one that lies needs a second one beside it.
    """
    lying = {name for e in record.scenario.at if isinstance(e, FaultEntry) for name in (e.on, e.other) if name}
    fitted = record.physical.rig.file.fitted
    found: list[tuple[float, str]] = []
    for part, bound in parts_that_see(record.physical.rig, harm):
        seen_s = record.first_crossed_s.get(bound.name)
        if seen_s is None or seen_s >= harm_s:
            continue
        early = f"sees it {harm_s - seen_s:.0f} s before"
        if part.signal in lying:
            second = f"a second one of: {part.words}, either of which trips (about {part.euro:.0f} EUR)"
            found.append((part.euro, second))
        elif part.signal in fitted:
            at = f"{bound.above or 0.0:g}" if part.rises else f"{bound.below or 0.0:g}"
            way = "above" if part.rises else "below"
            found.append((0.0, f'a limit of your own, effect = "trip", on {part.signal} {way} {at}: {early}'))
        else:
            found.append((part.euro, f"{part.words}, about {part.euro:.0f} EUR: {early}"))
    return min(found, default=(0.0, ""))[1]


_found = lru_cache(maxsize=4)(find)


def _one(rig: str, case: Case, level: Level) -> Line:
    physical = _found(rig)
    try:
        return line_of(case, play_case(case, physical, level))
    except (CannotStart, ValueError) as error:
        return Line(case.name, case.title, Fate.REFUSED, str(error), None, "", None, "", "", 0.0, 0.0)


def play_all(rig: str, physical: Physical, level: Level, workers: int) -> Iterator[Line]:
    """Every case, in the order in which they finish. One that cannot be played says why."""
    todo = cases(physical)
    if workers <= 1:
        for case in todo:
            yield _one(rig, case, level)
        return
    with ProcessPoolExecutor(workers) as pool:
        for done in as_completed([pool.submit(_one, rig, case, level) for case in todo]):
            yield done.result()


ORDER = list(Fate)


def sorted_lines(lines: list[Line]) -> list[Line]:
    return sorted(lines, key=lambda line: (ORDER.index(line.fate), line.name))
