"""Many rehearsals drawn from distributions: which fault, how large, how it comes on, load, weather, sensor error, wear.

Points come from a Latin hypercube or a Sobol sequence, so that a few hundred cover what thousands at random would.
Every draw follows from the seed and its number alone: a campaign can be stopped, resumed, spread over processes or
machines, and each of its runs can be written out as a scenario that gives the same again.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

from simulator.faults.kinds import CONTROLLER, LINK, POST, FaultKind, Fits, Onset
from simulator.faults.library import LIBRARY, parts_for
from simulator.rehearsal.harm import BY_NAME, HARMS, bounds_of
from simulator.rehearsal.judge import alarms, cut_by, first_out, tripped
from simulator.rehearsal.rigs import find
from simulator.rehearsal.runner import WATCHED, Record, play
from simulator.rehearsal.scenario import Entry, FaultEntry, PlantEntry, Scenario
from simulator.rehearsal.stock import SLOW_S, judged_bounds
from simulator.rehearsal.world import CannotStart, Level, Physical, allowed_a

AXES = ("fault", "part", "size", "onset", "over", "load", "ambient", "sensor", "sensor error", "wear", "seed")
FAULT_S, AFTER_OFF_S = 20.0, 15.0
LONGEST_S = 1800.0
AMBIENT_C = (0.0, 35.0)
RESULTS = "results.jsonl"
PLAN = "plan.json"


class Plan(NamedTuple):
    rig: str
    runs: int
    seed: int
    kind: str  # latin or sobol
    faults: tuple[str, ...]
    drivers: bool


class Outcome(NamedTuple):
    """One run: what was drawn, and what came of it."""

    number: int
    fault: str
    on: str
    onset: str
    over_s: float
    current_a: float
    ambient_c: float
    sensor: str
    sensor_error: float
    wear: float
    seed: int
    fate: str  # saved, hard-wired, late, missed, needless, no harm, cannot
    first_out: str
    cut_by: str
    off_s: float | None  # from the fault
    harm: str
    harm_s: float | None
    margins: dict[str, float]  # for each harm, the part of the way from normal that was left at the worst moment
    alarms: list[str]
    simulated_s: float


def faults_for(physical: Physical) -> tuple[str, ...]:
    """What a campaign draws from, unless told: single faults that do not hide, on the rig itself."""
    beyond = {CONTROLLER, LINK, POST}
    return tuple(
        kind.name
        for kind in LIBRARY.values()
        if not kind.hidden
        and not {act.target for act in kind.acts} & beyond
        and (kind.fits is Fits.NOTHING or parts_for(physical.wiring, kind.fits))
        and not (kind.name.startswith("second-") and physical.wiring.power.second is None)
    )


@lru_cache(maxsize=4)
def points(count: int, seed: int, kind: str) -> tuple[tuple[float, ...], ...]:
    """The draws, each in 0 to 1. Reproducible from the seed."""
    from scipy.stats import qmc

    sampler: Any
    if kind == "sobol":
        sampler = qmc.Sobol(len(AXES), seed=seed)
        drawn = sampler.random_base2((count - 1).bit_length())[:count]
    else:
        sampler = qmc.LatinHypercube(len(AXES), seed=seed)
        drawn = sampler.random(count)
    return tuple(tuple(float(x) for x in row) for row in drawn)


def scenario_of(plan: Plan, number: int, physical: Physical) -> Scenario:
    """The scenario of one draw."""
    u = dict(zip(AXES, points(plan.runs, plan.seed, plan.kind)[number], strict=True))
    kind = LIBRARY[plan.faults[min(int(u["fault"] * len(plan.faults)), len(plan.faults) - 1)]]
    parts = parts_for(physical.wiring, kind.fits)
    signals = {name for name, _ in physical.rig.hardware.signals}
    parts = tuple(p for p in parts if p in signals or kind.fits in (Fits.CONVERTER, Fits.BUS))
    on = parts[min(int(u["part"] * len(parts)), len(parts) - 1)] if parts else ""
    ramps = any(act.target == "plant" for act in kind.acts)
    onset = Onset.RAMP if ramps and u["onset"] < 0.5 else Onset.STEP
    over_s = 2.0 * 150.0 ** u["over"]
    most_a = allowed_a(physical.rig)
    least_a = min(most_a, physical.rig.core.supply.minimum_a)
    thermometers = [t.signal for t in physical.wiring.thermometer]
    sensor = thermometers[min(int(u["sensor"] * len(thermometers)), len(thermometers) - 1)] if thermometers else ""
    error = 2.0 * (u["sensor error"] - 0.5)
    entries: list[Entry] = [
        PlantEntry(t_s=0.0, disturb={"cathode_activity": round(0.1 ** (1.5 * u["wear"]), 4)}),
        FaultEntry(
            t_s=FAULT_S, fault=kind.name, on=on, onset=onset.value, over_s=round(over_s, 2),
            **{"with": _numbers(kind, u["size"])},
        ),
    ]  # fmt: skip
    if sensor and sensor != on:
        entries.insert(
            0, FaultEntry(t_s=0.0, fault="sensor-offset", on=sensor, **{"with": {"amount": round(error, 3)}})
        )
    return Scenario(
        title=f"campaign {plan.seed}, number {number}: {kind.title.lower()}",
        rig=plan.rig,
        seed=1 + int(u["seed"] * 1e6),
        duration_s=FAULT_S + min(LONGEST_S, SLOW_S.get(kind.name, 600.0)) + (over_s if onset is Onset.RAMP else 0.0),
        current_a=round(least_a * 1.05 + (most_a - least_a * 1.05) * u["load"], 2),
        ambient_c=round(AMBIENT_C[0] + (AMBIENT_C[1] - AMBIENT_C[0]) * u["ambient"], 1),
        at=tuple(sorted(entries, key=lambda e: e.t_s)),
    )


def _numbers(kind: FaultKind, u: float) -> dict[str, float]:
    """Half to twice as large as the library's default, within what the fault takes."""
    scale = 0.5 * 4.0**u
    return {p.name: round(min(p.high, max(p.low, p.default * scale)), 6) for p in kind.parameters}


def run_one(plan: Plan, number: int) -> Outcome:
    """For a worker: one draw, played and judged."""
    physical = _found(plan.rig)
    scenario = scenario_of(plan, number, physical)
    fault = next(e for e in scenario.at if isinstance(e, FaultEntry) and e.t_s == FAULT_S)
    harms = frozenset(b.name for b in bounds_of(physical.rig))

    def over(record: Record, t_s: float) -> bool:
        harm_s = min((s for name, s in record.first_crossed_s.items() if name in harms), default=None)
        last_s, on = record.powered[-1]
        done_s = min(last_s if not on else float("inf"), float("inf") if harm_s is None else harm_s)
        return t_s >= done_s + AFTER_OFF_S

    level = Level.DRIVERS if plan.drivers else Level.SIGNALS
    try:
        record = play(scenario, physical, level, every_s=None, bounds=judged_bounds(physical), until=over)
    except (CannotStart, ValueError):
        return _outcome(number, scenario, fault, None, physical)
    return _outcome(number, scenario, fault, record, physical)


_found = lru_cache(maxsize=4)(find)


def _outcome(number: int, scenario: Scenario, fault: FaultEntry, record: Record | None, physical: Physical) -> Outcome:
    error = next((e for e in scenario.at if isinstance(e, FaultEntry) and e.t_s == 0.0), None)
    wear = next((e.disturb["cathode_activity"] for e in scenario.at if isinstance(e, PlantEntry)), 1.0)
    drawn = (
        number, fault.fault, fault.on, fault.onset or "", fault.over_s or 0.0, scenario.current_a or 0.0,
        scenario.ambient_c, error.on if error else "", error.numbers["amount"] if error else 0.0, wear, scenario.seed,
    )  # fmt: skip
    if record is None:
        return Outcome(*drawn, "cannot", "", "", None, "", None, {}, [], 0.0)
    crossed = {n: s for n, s in record.first_crossed_s.items() if n in BY_NAME}
    harm = min(crossed, key=lambda n: crossed[n], default="")
    harm_s, off_s = crossed.get(harm), record.powered[-1][0] if not record.powered[-1][1] else None
    return Outcome(
        *drawn, _fate(record, fault, harm_s, off_s), first_out(record) or "", cut_by(record),
        None if off_s is None else round(off_s - FAULT_S, 3), harm,
        None if harm_s is None else round(harm_s - FAULT_S, 3),
        _margins(record, physical), alarms(record), round(record.simulated_s, 1),
    )  # fmt: skip


def _fate(record: Record, fault: FaultEntry, harm_s: float | None, off_s: float | None) -> str:
    if harm_s is not None and (off_s is None or harm_s <= off_s):
        return "missed" if off_s is None else "late"
    if off_s is not None and off_s < FAULT_S:
        return "needless"
    if off_s is None:
        return "no harm"
    if LIBRARY[fault.fault].harmless and tripped(record):
        return "needless"
    return "saved" if cut_by(record) == "guard" else "hard-wired"


def _margins(record: Record, physical: Physical) -> dict[str, float]:
    """Of the way from where the run began to each harm, the part that was left at the worst moment."""
    found = {}
    for harm in HARMS:
        at = harm.at(physical.rig)
        if at is None or harm.quantity not in WATCHED:
            continue
        place = WATCHED.index(harm.quantity)
        low, high = record.low[place], record.high[place]
        if low > high:
            continue
        start = low if harm.rises else high
        way = (at - start) if harm.rises else (start - at)
        left = (at - high) if harm.rises else (low - at)
        found[harm.name] = round(left / way, 4) if way > 0.0 else 0.0
    return found


# --- playing all of it


def play_campaign(
    plan: Plan, folder: Path, workers: int, dask: str = "", progress: Callable[[float], None] | None = None
) -> list[Outcome]:
    """Everything that is not in the folder yet. Raises ValueError where the folder holds another campaign."""
    folder.mkdir(parents=True, exist_ok=True)
    described = folder / PLAN
    text = json.dumps(plan._asdict(), sort_keys=True)
    if described.exists() and described.read_text(encoding="utf-8") != text:
        raise ValueError(
            f"{folder} holds another campaign: give another folder, or the same rig, count, seed and faults"
        )
    described.write_text(text, encoding="utf-8")
    done = {outcome.number: outcome for outcome in read_results(folder)}
    if progress is not None and done:
        progress(float(len(done)))
    todo = [number for number in range(plan.runs) if number not in done]
    with (folder / RESULTS).open("a", encoding="utf-8") as file:
        for outcome in _run(plan, todo, workers, dask):
            file.write(json.dumps(outcome._asdict()) + "\n")
            file.flush()
            done[outcome.number] = outcome
            if progress is not None:
                progress(1.0)
    return [done[number] for number in sorted(done)]


def _run(plan: Plan, todo: list[int], workers: int, dask: str) -> Iterator[Outcome]:
    if dask:
        distributed: Any = import_module("distributed")

        with distributed.Client(dask) as client:
            for future in distributed.as_completed(client.map(lambda number: run_one(plan, number), todo)):
                yield future.result()
    elif workers <= 1:
        for number in todo:
            yield run_one(plan, number)
    else:
        with ProcessPoolExecutor(workers) as pool:
            for done in as_completed([pool.submit(run_one, plan, number) for number in todo]):
                yield done.result()


def read_results(folder: Path) -> list[Outcome]:
    """What has been played so far; a line that was cut short by a crash is played again."""
    path = folder / RESULTS
    if not path.exists():
        return []
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            found.append(Outcome(**json.loads(line)))
        except (ValueError, TypeError):
            continue
    return found


class Summary(NamedTuple):
    counts: dict[str, int]
    missed: list[Outcome]
    late: list[Outcome]
    needless: list[Outcome]
    smallest_margin: dict[str, tuple[float, int]]  # by harm: the least, and whose it is


def summary(outcomes: list[Outcome]) -> Summary:
    counts: dict[str, int] = {}
    smallest: dict[str, tuple[float, int]] = {}
    for outcome in outcomes:
        counts[outcome.fate] = counts.get(outcome.fate, 0) + 1
        for harm, margin in outcome.margins.items():
            if harm not in smallest or margin < smallest[harm][0]:
                smallest[harm] = (margin, outcome.number)
    by_fate = {fate: [o for o in outcomes if o.fate == fate] for fate in ("missed", "late", "needless")}
    return Summary(counts, by_fate["missed"], by_fate["late"], by_fate["needless"], smallest)


def worst(made: Summary) -> list[int]:
    """Numbers of the worst run of each kind: the first missed, late and needless of each fault, the smallest
    margins."""
    chosen: dict[tuple[str, str], int] = {}
    for fate, runs in (("missed", made.missed), ("late", made.late), ("needless", made.needless)):
        for outcome in runs:
            chosen.setdefault((fate, outcome.fault), outcome.number)
    return sorted({*chosen.values(), *(number for _, number in made.smallest_margin.values())})


def as_toml(scenario: Scenario) -> str:
    """A scenario as the file that gives the same again."""
    lines = [
        f"title = {json.dumps(scenario.title)}", f"rig = {json.dumps(scenario.rig)}", f"seed = {scenario.seed}",
        f"duration_s = {scenario.duration_s!r}", f'start = "{scenario.start}"', f"ambient_c = {scenario.ambient_c!r}",
    ]  # fmt: skip
    if scenario.current_a is not None:
        lines.append(f"current_a = {scenario.current_a!r}")
    for entry in scenario.at:
        lines.append("\n[[at]]")
        for key, value in entry.model_dump(by_alias=True, exclude_none=True, exclude_defaults=True).items():
            lines.append(f"{key} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    return json.dumps(value) if isinstance(value, str | bool) else repr(value)


def write_table(outcomes: list[Outcome], folder: Path) -> Path:
    """All results as one table: Parquet where pyarrow is there, else CSV."""
    harms = [harm.name for harm in HARMS]
    plain = [
        {k: v for k, v in o._asdict().items() if k not in ("margins", "alarms")}
        | {"alarms": "; ".join(o.alarms)}
        | {f"margin {harm}": o.margins.get(harm) for harm in harms}
        for o in outcomes
    ]
    names = list(plain[0]) if plain else []
    try:
        pa: Any = import_module("pyarrow")
        parquet: Any = import_module("pyarrow.parquet")
    except ImportError:
        import csv

        path = folder / "results.csv"
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, names)
            writer.writeheader()
            writer.writerows(plain)
        return path
    path = folder / "results.parquet"
    parquet.write_table(pa.table({name: [row[name] for row in plain] for name in names}), path)
    return path
