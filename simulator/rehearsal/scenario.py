"""Scenario files: what goes wrong when, and what must follow. Read and judged here, with the line of every mistake."""

from __future__ import annotations

import tomllib
from pathlib import Path as FilePath
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from controller.config.lines import Path, key_lines
from controller.config.problems import Problems, RigFileError, shown
from controller.core.commands import Source, Verb
from controller.core.sequence import State
from simulator.faults.active import Come
from simulator.faults.kinds import Onset
from simulator.faults.library import fault_kind
from simulator.plant.inputs import NEUTRAL
from simulator.whole import QUANTITIES

SHIPPED = FilePath(__file__).parent / "scenarios"
VERBS = {verb.name.lower().replace("_", "-"): verb for verb in Verb}
SOURCES = {source.name.lower(): source for source in Source}
STATES = tuple(state.name.lower().replace("_", " ") for state in State)
Seconds = Annotated[float, Field(ge=0.0, le=1e7)]
LONGEST_S = 30 * 86_400.0


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class FaultEntry(Table):
    """Something goes wrong."""

    t_s: Seconds
    fault: str = Field(description="a name of the fault library: lyewatch fault --list")
    on: str = Field("", description="the part it is put on: a signal, a converter, a bus")
    other: str = Field("", description="the second part of a swap")
    numbers: dict[str, float] = Field(default_factory=dict, alias="with", description="its parameters")
    onset: Literal["step", "ramp", "intermittent"] | None = None
    over_s: Seconds | None = Field(None, description="length of a ramp, s")
    on_s: Annotated[float, Field(gt=0.0)] | None = Field(
        None, description="intermittent: there for so long on average, s"
    )
    off_s: Annotated[float, Field(gt=0.0)] | None = Field(None, description="and away for so long, s")
    for_s: Seconds | None = Field(None, description="it ends by itself after so long, s")

    def come(self) -> Come:
        onset = None if self.onset is None else Onset(self.onset)
        return Come(
            self.fault, self.numbers, self.on, self.other, onset, self.over_s, self.on_s, self.off_s, self.for_s
        )


class ClearEntry(Table):
    """A fault ends."""

    t_s: Seconds
    clear: str = Field(description="name of the fault that ends, or all")
    on: str = ""


class CommandEntry(Table):
    """Somebody asks for something."""

    t_s: Seconds
    command: str = Field(description="start, stop, reset, present, bypass, ...")
    source: str = Field("local", description="button, local, plan, remote or link")
    number: float | None = Field(None, description="amperes, hours or seconds, by the command")
    subject: str = Field("", description="the limit to bypass, the output to drive")
    text: str = Field("", description="a reason")
    who: str = ""
    seconds: float | None = Field(None, description="a start that ends after so long, s")
    charge_c: float | None = Field(None, description="a start that ends after so much charge, C")
    retained: bool = False


class PressEntry(Table):
    """A finger on a button at the rig."""

    t_s: Seconds
    press: str = Field(description="signal name of the button")
    for_s: Annotated[float, Field(gt=0.0)] = 0.3


class ScriptEntry(Table):
    """From now on instruments see these numbers instead of the plant's, by quantity."""

    t_s: Seconds
    script: dict[str, float]
    over_s: Seconds = Field(0.0, description="reached in a straight line over so long, s")


class RestoreEntry(Table):
    """From now on instruments see the plant again."""

    t_s: Seconds
    unscript: list[str]


class PlantEntry(Table):
    """The plant's own fields are moved directly, where no fault of the library does it."""

    t_s: Seconds
    disturb: dict[str, float]


Entry = FaultEntry | ClearEntry | CommandEntry | PressEntry | ScriptEntry | RestoreEntry | PlantEntry
KINDS: dict[str, type[Table]] = {
    "fault": FaultEntry,
    "clear": ClearEntry,
    "command": CommandEntry,
    "press": PressEntry,
    "script": ScriptEntry,
    "unscript": RestoreEntry,
    "disturb": PlantEntry,
}


class Bounds(Table):
    """What the true plant may never cross, in the quantity's unit."""

    above: float | None = None
    below: float | None = None


class Expect(Table):
    """What must follow."""

    trips: bool | None = None
    first_out: list[str] | str = Field(default_factory=list, description="the first cause, or any one of a list")
    causes: list[str] = Field(default_factory=list, description="causes that must be among those latched")
    fault_to_off_s: list[float] | None = Field(None, min_length=2, max_length=2, description="at least and at most, s")
    never: dict[str, Bounds] = Field(default_factory=dict, description="bounds of the true plant, by quantity")
    alarms: list[str] = Field(default_factory=list, description="alarms that must come")
    no_alarms: list[str] = Field(default_factory=list, description='alarms that must not; "any" for none at all')
    says: list[str] = Field(default_factory=list, description="words that must stand in the record of events")
    never_says: list[str] = Field(default_factory=list, description="words that must not")
    end_state: list[str] | str = Field(default_factory=list, description="state at the end, or any one of a list")
    reached: list[str] = Field(default_factory=list, description="states that must have been reached")
    never_reached: list[str] = Field(default_factory=list, description="states that must not")
    powered_at_end: bool | None = Field(None, description="whether current can flow at the end, by the bench's word")
    never_powered: bool = Field(False, description="true: current could never flow")

    @property
    def any_first_out(self) -> tuple[str, ...]:
        return _listed(self.first_out)

    @property
    def any_end_state(self) -> tuple[str, ...]:
        return _listed(self.end_state)


def _listed(value: list[str] | str) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


class Scenario(Table):
    """One rehearsal."""

    title: str = Field(min_length=3, max_length=200)
    case: str = Field("", description="number of a field case")
    says: str = Field("", description="what this is about, and where the case was corrected")
    rig: str = Field("any", description="any, or the name or path of a rig")
    seed: int = 1
    duration_s: float = Field(gt=0.0, le=LONGEST_S)
    start: Literal["off", "running"] = Field("running", description="off, or running as if for hours")
    current_a: float | None = Field(None, gt=0.0, description="current of that run; else what the rig's grade allows")
    water_used_mL: float = Field(0.0, ge=0.0, le=1e5, description="running: used since the level was last seen, mL")
    lye_c: float | None = Field(None, ge=-10.0, le=99.0, description="temperature of the lye at the start, C")
    ambient_c: float = Field(20.0, ge=-30.0, le=60.0)
    readings: Literal["plant", "scripted"] = Field("plant", description="scripted: only decisions are judged")
    attended: bool = Field(True, description="somebody presses at the bench where the rig asks for it")
    at: tuple[Entry, ...] = ()
    expect: Expect = Expect()


class ScenarioError(RigFileError):
    """A scenario file that cannot be played. `problems` has every reason."""


def read_scenario(path: FilePath) -> Scenario:
    """Raises ScenarioError with file, line, key, what is wrong and what would be right."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        wrong = f"cannot be read: {getattr(error, 'strerror', None) or error}"
        raise _one(path.name, wrong, "Give a scenario file.") from None
    return parse_scenario(text, path.name)


def _one(name: str, wrong: str, right: str, line: int = 0) -> ScenarioError:
    from controller.config.problems import Problem

    return ScenarioError((Problem(name, line, "", wrong, right),))


def parse_scenario(text: str, name: str) -> Scenario:
    """As `read_scenario`, from the text of a file. name: how messages call it."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = next((int(w.strip("),")) for w in str(error).split("line ")[1:2] for w in w.split()[:1]), 0)
        raise _one(name, f"not TOML: {error}", "Put the line right.", line) from None
    problems = Problems(name, key_lines(text))
    entries = document.pop("at", [])
    scenario: Scenario | None = None
    try:
        scenario = Scenario.model_validate(document)
    except ValidationError as error:
        _report(error, (), Scenario, problems)
    made = _entries(entries, problems)
    if scenario is not None:
        _consistent(scenario, made, problems)
    if problems.found:
        raise ScenarioError(tuple(sorted(problems.found, key=lambda p: p.line)))
    assert scenario is not None
    return scenario.model_copy(update={"at": tuple(sorted(made, key=lambda e: e.t_s))})


def _entries(entries: Any, problems: Problems) -> list[Entry]:
    if not isinstance(entries, list):
        problems.add(("at",), "is not a list of tables", "Write [[at]] above each entry.")
        return []
    made: list[Entry] = []
    for index, entry in enumerate(entries):
        path: Path = ("at", index)
        kinds = [kind for kind in KINDS if isinstance(entry, dict) and kind in entry]
        if len(kinds) != 1:
            problems.add(
                path, f"says {' and '.join(kinds) or 'nothing that happens'}", f"Give one of {', '.join(KINDS)}."
            )
            continue
        try:
            one: Any = KINDS[kinds[0]].model_validate(entry)
        except ValidationError as error:
            _report(error, path, KINDS[kinds[0]], problems)
            continue
        _sensible(one, path, problems)
        made.append(one)
    return made


def _sensible(entry: Entry, path: Path, problems: Problems) -> None:
    match entry:
        case FaultEntry():
            try:
                kind = fault_kind(entry.fault)
                kind.given(entry.numbers)
                if any("{on}" in act.target for act in kind.acts) and not entry.on:
                    problems.add(
                        (*path, "fault"), f"{entry.fault} needs a part", f'Give on = "...": {kind.fits.value}.'
                    )
            except ValueError as error:
                wrong, _, right = str(error).partition("; ")
                problems.add((*path, "fault"), wrong, f"{right.capitalize()}." if right else "")
        case CommandEntry():
            _known(entry.command, VERBS, (*path, "command"), problems)
            _known(entry.source, SOURCES, (*path, "source"), problems)
        case ScriptEntry():
            for quantity in entry.script:
                _known(quantity, QUANTITIES, (*path, "script"), problems)
        case RestoreEntry():
            for quantity in entry.unscript:
                _known(quantity, QUANTITIES, (*path, "unscript"), problems)
        case PlantEntry():
            for field in entry.disturb:
                _known(field, NEUTRAL._fields, (*path, "disturb"), problems)


def _known(word: str, words: Any, path: Path, problems: Problems) -> None:
    if word not in words:
        problems.add(path, f"{shown(word)} is not known", f"Give one of {', '.join(words)}.")


def _consistent(scenario: Scenario, entries: list[Entry], problems: Problems) -> None:
    for index, entry in enumerate(entries):
        if entry.t_s > scenario.duration_s:
            problems.add(
                ("at", index, "t_s"), f"{entry.t_s:g} s is after the end", f"Give at most {scenario.duration_s:g}."
            )
    scripts = any(isinstance(e, ScriptEntry) for e in entries)
    if scripts and scenario.readings == "plant":
        problems.add(
            ("at",), "instruments are scripted", 'Say readings = "scripted": only decisions can then be judged.'
        )
    expect = scenario.expect
    if scenario.readings == "scripted" and expect.never:
        problems.add(("expect", "never"), "scripted readings say nothing about the plant", "Leave the bounds out.")
    for quantity, bounds in expect.never.items():
        _known(quantity, QUANTITIES, ("expect", "never", quantity), problems)
        if bounds.above is None and bounds.below is None:
            problems.add(("expect", "never", quantity), "has no bound", "Give above or below.")
    for key in ("reached", "never_reached"):
        for state in getattr(expect, key):
            _known(state, STATES, ("expect", key), problems)
    for state in expect.any_end_state:
        _known(state, STATES, ("expect", "end_state"), problems)
    if expect.trips is False and (expect.any_first_out or expect.causes):
        problems.add(("expect", "first_out"), "there is no first-out without a trip", "Leave one of them out.")
    if expect.fault_to_off_s is not None and expect.fault_to_off_s[0] > expect.fault_to_off_s[1]:
        problems.add(
            ("expect", "fault_to_off_s"), "the lower bound is above the upper one", "Give [at least, at most]."
        )


def _report(error: ValidationError, at: Path, model: type[BaseModel], problems: Problems) -> None:
    for found in error.errors():
        path: Path = (*at, *found["loc"])
        if found["type"] == "extra_forbidden":
            known = ", ".join(f.alias or n for n, f in model.model_fields.items())
            right = f"Known here: {known}." if len(found["loc"]) == 1 else "Leave it out."
            problems.add(path, "is not known here", right)
        elif found["type"] == "missing":
            words = model.model_fields.get(str(found["loc"][-1]))
            problems.add(path, "is missing", f"Give {words.description or found['loc'][-1]}." if words else "Give it.")
        else:
            problems.add(path, f"{shown(found['input'])} does not fit", f"{found['msg']}.")


def shipped() -> tuple[FilePath, ...]:
    """The scenario files that come with the program."""
    return tuple(sorted(SHIPPED.glob("*.toml")))
