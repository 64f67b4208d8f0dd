"""Plays a scenario on a rig and writes down what happened: the record that verdicts, plots and tables are made from."""

from __future__ import annotations

import time
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from controller.core.events import Event, Happened
from controller.core.explain import explain_event
from controller.core.sequence import State
from simulator.boards.power_path import Change
from simulator.faults.library import fault_kind
from simulator.plant.observe import Seen
from simulator.rehearsal.scenario import (
    SOURCES,
    ClearEntry,
    CommandEntry,
    Entry,
    FaultEntry,
    PlantEntry,
    PressEntry,
    RestoreEntry,
    Scenario,
    ScriptEntry,
)
from simulator.rehearsal.world import Level, Physical, World, allowed_a

WATCHED = (
    "current_a", "stack_voltage_v", "cell_temperature_c", "coolant_outlet_c", "coolant_flow_l_min", "level_h_mm",
    "level_o_mm", "pressure_h_mbar", "pressure_o_mbar", "h2_in_o2_percent", "o2_in_h2_percent", "room_h2_percent",
    "tray_mm",
)  # fmt: skip
_PLACES = tuple(Seen._fields.index(name) for name in WATCHED)
LINE_FAULTS = frozenset(
    {"stuck", "offset", "drift", "noise", "spike", "gain", "scripted", "stuck_open", "stuck_closed"}
)
Progress = Callable[[float], None]  # seconds played


class Sample(NamedTuple):
    """One line of the timeline."""

    t_s: float
    true: tuple[float, ...]  # of WATCHED
    values: tuple[float | None, ...]  # of the rig's signals, as the guard believes them
    state: int  # -1: no guard


@dataclass(slots=True)
class Record:
    """What happened in one rehearsal. Times in s from the scenario's start."""

    scenario: Scenario
    physical: Physical
    level: Level
    events: list[tuple[int, float, Event]] = field(default_factory=list)  # scan, time, event
    changes: list[Change] = field(default_factory=list)
    low: list[float] = field(default_factory=lambda: [float("inf")] * len(WATCHED))
    high: list[float] = field(default_factory=lambda: [float("-inf")] * len(WATCHED))
    samples: list[Sample] = field(default_factory=list)
    fault_s: float | None = None  # of the first fault
    powered: list[tuple[float, bool]] = field(default_factory=list)  # when current could flow, and could no longer
    end_state: str = ""
    causes: tuple[str, ...] = ()
    first_crossed_s: dict[str, float] = field(default_factory=dict)  # by the bound's name
    simulated_s: float = 0.0
    wall_s: float = 0.0
    ended_powered: bool = False
    dead_s: list[float] = field(default_factory=list)  # when the guard's process ended

    def said(self) -> list[str]:
        return [explain_event(self.physical.rig.core, event) for _, _, event in self.events]

    def said_ending(self) -> str:
        """Why the last run ended, in the guard's own words."""
        stops = [e for _, _, e in self.events if e.what is Happened.STATE and e.subject == State.STOPPING.name]
        return stops[-1].detail if stops else ""

    def powered_at(self, t_s: float) -> bool:
        at = bisect_right(self.powered, t_s, key=lambda p: p[0])
        return at > 0 and self.powered[at - 1][1]

    @property
    def off_s(self) -> float | None:
        """When current could first no longer flow, after the first fault."""
        if self.fault_s is None or not self.powered_at(self.fault_s):
            return None
        return next((t for t, on in self.powered if not on and t >= self.fault_s), None)


class Bound(NamedTuple):
    """Something that is noted when the true plant first crosses it."""

    name: str
    place: int  # in Seen
    above: float | None
    below: float | None


def through_of(scenario: Scenario, physical: Physical) -> frozenset[str]:
    """Parts that this scenario breaks below their sensor."""
    found: set[str] = set()
    for entry in scenario.at:
        if isinstance(entry, FaultEntry):
            for act in fault_kind(entry.fault).acts:
                part = act.target.format(on=entry.on)
                if act.kind not in LINE_FAULTS or part in [m.signal for m in physical.wiring.meter]:
                    found.add(part)
    return frozenset(found)


def play(
    scenario: Scenario,
    physical: Physical,
    level: Level,
    *,
    every_s: float | None = 1.0,
    bounds: tuple[Bound, ...] = (),
    until: Callable[[Record, float], bool] | None = None,
    progress: Progress | None = None,
    frames: bool | None = None,
    keep: Callable[[World], None] | None = None,
) -> Record:
    """One rehearsal. every_s: of the timeline's samples, None for none. until: may end it early.

    Raises CannotStart where the rig does not even get to the beginning, ValueError where a part is not there.
    """
    began = time.perf_counter()
    current_a = scenario.current_a or allowed_a(physical.rig)
    start: dict[str, Any] = {} if scenario.lye_c is None else {"lye_c": scenario.lye_c}
    world = World(
        physical, level, scenario.seed, current_a, scenario.ambient_c,
        through=through_of(scenario, physical), attended=scenario.attended, frames=frames, **start,
    )  # fmt: skip
    try:
        if scenario.start == "running":
            world.run_up(water_used_g=scenario.water_used_mL)
        else:
            for _ in range(round(4.0 / physical.rig.core.scan_s)):
                world.scan()
        record = _Play(scenario, physical, world, every_s, bounds).run(until, progress)
        if keep is not None:
            keep(world)
    finally:
        world.close()
    record.wall_s = time.perf_counter() - began
    return record


class _Play:
    def __init__(
        self, scenario: Scenario, physical: Physical, world: World, every_s: float | None, bounds: tuple[Bound, ...]
    ) -> None:
        self.world, self.scenario = world, scenario
        self.record = Record(scenario, physical, world.level)
        self.t0_s = world.planned_s
        self.scan0, self.heard0 = world.scans, len(world.heard)
        self._entries = list(scenario.at)
        self._at = 0
        self._scripts: list[tuple[float, float, dict[str, tuple[float, float]]]] = []
        self._every_s, self._sample_s = every_s, -1e-9
        self._bounds = list(bounds)

    def run(self, until: Callable[[Record, float], bool] | None, progress: Progress | None) -> Record:
        world, record = self.world, self.record
        duration_s = self.scenario.duration_s
        world.bench.power.trace.clear()
        powered = world.powered
        record.powered.append((0.0, powered))
        low, high = record.low, record.high
        places = list(enumerate(_PLACES))
        behind, power, t0_s = world.behind, world.bench.power, self.t0_s
        told_s = 0.0
        while True:
            t_s = world.planned_s - t0_s
            if t_s >= duration_s - 1e-6:
                break
            if self._scripts:
                self._script(t_s)
            due = self._at < len(self._entries) and self._entries[self._at].t_s <= t_s + 1e-6
            world.scan(self._happen if due else None)
            if power.trace:
                for change in power.trace:
                    record.changes.append(change._replace(at_s=change.at_s - t0_s))
                    if change.name in ("main", "second") and power.closed is not powered:
                        powered = power.closed
                        record.powered.append((change.at_s - t0_s, powered))
                power.trace.clear()
            seen: Any = behind.last
            for at, place in places:
                number = seen[place]
                if number < low[at]:
                    low[at] = number
                if number > high[at]:
                    high[at] = number
            if self._bounds:
                self._cross(seen, t_s)
            if self._every_s is not None and t_s >= self._sample_s:
                self._sample_s = max(self._sample_s + self._every_s, t_s)
                self._sample(t_s, seen)
            if until is not None and until(record, t_s):
                break
            if progress is not None and t_s - told_s >= 20.0:
                progress(t_s - told_s)
                told_s = t_s
        return self._finish()

    def _happen(self) -> None:
        t_s = self.world.planned_s - self.t0_s
        while self._at < len(self._entries) and self._entries[self._at].t_s <= t_s + 1e-6:
            self._do(self._entries[self._at], t_s)
            self._at += 1

    def _do(self, entry: Entry, t_s: float) -> None:
        world = self.world
        now_s = world.clock.now_s
        match entry:
            case FaultEntry():
                if self.record.fault_s is None:
                    self.record.fault_s = t_s
                world.active.begin(entry.come(), now_s)
            case ClearEntry():
                world.active.clear("" if entry.clear == "all" else entry.clear, entry.on, now_s)
            case CommandEntry():
                world.ask(
                    entry.command, SOURCES[entry.source], number=entry.number, subject=entry.subject, text=entry.text,
                    who=entry.who, seconds=entry.seconds, charge_c=entry.charge_c, retained=entry.retained,
                )  # fmt: skip
            case PressEntry():
                world.press(entry.press, entry.for_s)
            case ScriptEntry():
                if self.record.fault_s is None:
                    self.record.fault_s = t_s
                shown = world.behind.last
                spans = {name: (float(getattr(shown, name)), to) for name, to in entry.script.items()}
                self._scripts = [
                    (a, b, {n: v for n, v in old.items() if n not in spans}) for a, b, old in self._scripts
                ]
                self._scripts.append((t_s, entry.over_s, spans))
            case RestoreEntry():
                for name in entry.unscript:
                    world.behind.script.pop(name, None)
                    self._scripts = [(a, b, {n: v for n, v in old.items() if n != name}) for a, b, old in self._scripts]
            case PlantEntry():
                if self.record.fault_s is None:
                    self.record.fault_s = t_s
                fields = {k: (v,) if k == "joint_extra_ohm" else v for k, v in entry.disturb.items()}
                world.behind.disturbances = world.behind.disturbances._replace(**fields)  # type: ignore[arg-type]

    def _script(self, t_s: float) -> None:
        script = self.world.behind.script
        for from_s, over_s, spans in self._scripts:
            share = 1.0 if over_s <= 0.0 else min(1.0, (t_s - from_s) / over_s)
            for name, (start, end) in spans.items():
                script[name] = start + (end - start) * share

    def _cross(self, seen: Any, t_s: float) -> None:
        crossed = self.record.first_crossed_s
        for bound in list(self._bounds):
            number = seen[bound.place]
            if (bound.above is not None and number > bound.above) or (bound.below is not None and number < bound.below):
                crossed[bound.name] = t_s
                self._bounds.remove(bound)

    def _sample(self, t_s: float, seen: Any) -> None:
        guard = self.world.guard
        values = () if guard is None else tuple(v.number for v in guard.memory.values)
        state = -1 if guard is None else int(guard.memory.sequence.state)
        self.record.samples.append(Sample(t_s, tuple(seen[p] for p in _PLACES), values, state))

    def _finish(self) -> Record:
        record, world = self.record, self.world
        record.simulated_s = world.planned_s - self.t0_s
        record.dead_s = [at_s - self.t0_s for at_s in world.died_s]
        record.events = [(scan - self.scan0, e.at_s - self.t0_s, e) for scan, e in world.heard[self.heard0 :]]
        record.ended_powered = world.powered
        state = world.state
        record.end_state = "no guard" if state is None else words(state)
        if world.guard is not None:
            record.causes = tuple(cause.name for cause in world.guard.memory.latch.causes)
        return record


def words(state: State) -> str:
    return state.name.lower().replace("_", " ")


def trips(record: Record) -> list[tuple[float, Event]]:
    return [(t, e) for _, t, e in record.events if e.what is Happened.TRIP]
