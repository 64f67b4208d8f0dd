"""Read a rig file, judge it, and compile it once into what the core and the drivers need."""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from controller.config import contradictions, grades, rigs
from controller.config.defaults import zero_current_a
from controller.config.limits import Reasoned, compile_limits, names_of_limits
from controller.config.lines import Path, key_lines
from controller.config.models import RigFile
from controller.config.pins import compile_hardware
from controller.config.problems import Problem, Problems, RigFileError
from controller.config.said import report
from controller.config.signals import Fitted, compile_signals
from controller.config.slips import would_be_right
from controller.config.top_up import compile_top_up
from controller.config.units import with_units
from controller.core.commands import Source, Verb
from controller.core.limits import Effect
from controller.core.rig import ATTENDED_SHARE, Grade, PowerPath, Rig, Roles, Supply, Timing
from controller.core.signals import Signal
from controller.hardware.description import Hardware

LARGEST_BYTES = 1_000_000
HASH_DIGITS = 16
WINDOW_GRACES = 3
# Faraday's law, ideal gas at 25 C and 1.01325 bar, counted dry: errs towards more venting.
COULOMB_PER_L = 2 * 96485.33212 / 24.4654
LYE_J_G_K = 3.4  # of 25 % potassium lye; weaker lye has more, from memory
LEAST_HEAT_V = 0.4  # volts a cell above the thermoneutral ones at a third of the rated current
SWITCH_NOTHING_ABOVE_PERCENT = 1.6  # 40 % of the lower flammable limit: nothing that sparks is switched any more


@dataclass(frozen=True, slots=True)
class CompiledRig:
    """A rig ready to run. Neither `core` nor `hardware` needs anything of this package any more."""

    core: Rig
    hardware: Hardware
    file: RigFile
    warnings: tuple[str, ...]
    reasons: dict[str, str]  # why each limit is what it is, by its name


def load(path: str | FilePath, today: date | None = None, change: dict[str, Any] | None = None) -> CompiledRig:
    """The rig described in a file. Raises RigFileError with all that is wrong.

    today: day by which proof tests are judged; this machine's unless given. change: keys laid over those of the file,
    to ask what a rig would have done with other settings.
    """
    path = FilePath(path)
    return compile_text(_read(path), path.name, today or date.today(), change)


def _read(path: FilePath) -> bytes:
    wrong, right = "", f"Give the path of a rig file, or the name of one that ships: {', '.join(rigs.names())}."
    try:
        with path.open("rb") as file:
            text = file.read(LARGEST_BYTES + 1)
        if len(text) <= LARGEST_BYTES:
            return text
        wrong, right = f"is larger than {LARGEST_BYTES} bytes", "Give a rig file, not a record."
    except FileNotFoundError:
        wrong = "there is no such file"
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        wrong = f"cannot be read: {getattr(error, 'strerror', None) or error}"
    raise RigFileError((Problem(str(path), 0, "", wrong, right),))


def parse(text: bytes, name: str) -> tuple[dict[str, Any], dict[Path, int]]:
    """The document, and the line of each of its keys."""
    try:
        decoded = text.decode("utf-8")
        return tomllib.loads(decoded), key_lines(decoded)
    except UnicodeDecodeError as error:
        line = text.count(b"\n", 0, error.start) + 1
        raise RigFileError((Problem(name, line, "", "this is not UTF-8 text", "Save the file as UTF-8."),)) from None
    except (ValueError, RecursionError) as error:
        found = re.search(r"\(at line (\d+)", str(error))
        line = int(found[1]) if found else (decoded.count("\n") + 1 if "end of document" in str(error) else 0)
        wrong = re.sub(r" \(at .*\)$", "", str(error)) if isinstance(error, ValueError) else "nested too deeply"
        right = would_be_right(decoded, line, wrong)
        raise RigFileError((Problem(name, line, "", f"not TOML: {wrong}", right),)) from None


def compile_text(text: bytes, name: str, today: date, change: dict[str, Any] | None = None) -> CompiledRig:
    """As `load`, from the bytes of a file. name: how messages call it; change: keys laid over those of the file."""
    document, lines = parse(text, name)
    if change:
        _lay_over(document, change)
        text += repr(change).encode()
    problems = Problems(name, lines)
    plain = with_units(document, problems)
    try:
        file = RigFile.model_validate(plain)
    except ValidationError as error:
        report(error, RigFile, plain, problems)
        problems.raise_any()
        raise
    problems.raise_any()
    return _compile(file, hashlib.sha256(text).hexdigest()[:HASH_DIGITS], problems, today)


def _lay_over(document: dict[str, Any], change: dict[str, Any]) -> None:
    for key, value in change.items():
        if isinstance(value, dict) and isinstance(document.get(key), dict):
            _lay_over(document[key], value)
        else:
            document[key] = value


def _compile(file: RigFile, rig_hash: str, problems: Problems, today: date) -> CompiledRig:
    missing = grades.missing(file, names_of_limits(file), today)
    grade = Grade.ATTENDED if missing else Grade.UNATTENDED
    allowed_a = file.supply.rated_A * (ATTENDED_SHARE if missing else 1.0)
    signals = compile_signals(file, allowed_a, problems)
    limits = compile_limits(file, signals, allowed_a, problems)
    contradictions.look(contradictions.Question(file, signals, limits, problems, allowed_a))
    top_up = compile_top_up(file, signals, limits, problems)
    hardware = compile_hardware(file, signals, problems)
    problems.raise_any()
    assert hardware is not None, "a refusal without a reason"
    core = Rig(
        name=file.name,
        rig_hash=rig_hash,
        scan_s=file.scan_s,
        signals=_with_windows(file, signals, limits),
        limits=tuple(limit.core for limit in limits.values()),
        roles=_roles(signals),
        power=_power(file),
        supply=Supply(
            kind=file.supply.kind,
            rated_a=file.supply.rated_A,
            minimum_a=file.minimum_a,
            start_lag_s=file.supply.start_lag_s,
            inrush_s=file.supply.inrush_s,
            comes_back_by_itself=file.supply.comes_back_by_itself,
        ),
        timing=Timing(**{key.replace("_C", "_c"): value for key, value in file.timing.model_dump().items()}),
        grade=grade,
        missing=missing,
        simulated=file.drivers == "bench",
        outputs=tuple(name for name, _ in hardware.outputs),
        permitted=_permitted(file),
        vent_charge_c=file.gas.volumes
        * (file.gas.headspace_L + file.gas.line_L)
        * COULOMB_PER_L
        / file.cell.cells_in_series,
        zero_current_a=zero_current_a(file),
        lowest_start_c=file.cell.lowest_start_C,
        highest_start_c=_highest_start_c(limits),
        switch_nothing_above=SWITCH_NOTHING_ABOVE_PERCENT,
        cells=file.cell.cells_in_series,
        usable_water_g=1000.0 * file.water.usable_L if file.water else 0.0,
        lye_g=_lye_g(file),
        hydroxide_g=_lye_g(file) * file.cell.mass_percent / 100.0,
        top_up=top_up,
        warm_charge_c=_warm_charge_c(file),
    )
    reasons = {name: limit.because for name, limit in limits.items()}
    return CompiledRig(core, hardware, file, tuple(problems.warnings), reasons)


def _with_windows(file: RigFile, signals: dict[str, Fitted], limits: dict[str, Reasoned]) -> tuple[Signal, ...]:
    """Signals with the window of three graces, the shortest of the trips that hang on each."""
    out = []
    for at, signal in enumerate(signals.values()):
        graces_s = [x.core.grace_s for x in limits.values() if at in x.core.members and x.core.effect is Effect.TRIP]
        scans = round(WINDOW_GRACES * min(graces_s) / file.scan_s) if graces_s else signal.core.window_scans
        out.append(replace(signal.core, window_scans=max(3, scans)))
    return tuple(out)


def _lye_g(file: RigFile) -> float:
    return 1000.0 * file.cell.lye_g_mL * (file.cell.lye_L or 0.0)


def _warm_charge_c(file: RigFile) -> float:
    """Charge that would warm the lye, and half as much again of plates and walls, by ten kelvin if nothing cooled."""
    return 10.0 * 1.5 * LYE_J_G_K * _lye_g(file) / (LEAST_HEAT_V * file.cell.cells_in_series)


def _roles(signals: dict[str, Fitted]) -> Roles:
    at = {name: position for position, name in enumerate(signals)}
    return Roles(
        current=at.get("current", -1),
        cell_temperature=at.get("cell_temperature", -1),
        voltage=at.get("voltage", -1),
        ventilation=at.get("air_flow", -1),
        room_hydrogen=at.get("room_hydrogen", -1),
        level=at.get("level_mm", -1),
    )


def _power(file: RigFile) -> PowerPath:
    power = file.power
    breakers = [b for b in (power.main, power.second) if b is not None]
    return PowerPath(
        seal_in=power.main.close_pin is not None,
        has_second=power.second is not None,
        main_contact=power.main.contact is not None,
        second_contact=power.second is not None and power.second.contact is not None,
        relay_contact=power.watchdog.contact is not None,
        switched_at=power.main.switched_at,
        opening_s=max(b.opening_s for b in breakers),
        closing_s=max(b.closing_s for b in breakers),
        close_pulse_s=power.main.close_pulse_s,
        watchdog_s=power.watchdog.drops_after_s,
        watchdog_tolerance=power.watchdog.tolerance_percent / 100.0,
        second_after_s=power.second_after_s,
    )


def _permitted(file: RigFile) -> frozenset[tuple[Verb, Source]]:
    grants = {
        (Verb.START, Source.REMOTE): file.permits.remote_start,
        (Verb.RESET, Source.REMOTE): file.permits.remote_reset,
        (Verb.SET_CURRENT, Source.REMOTE): file.permits.remote_set_current,
        (Verb.START, Source.PLAN): file.permits.plan_start,
    }
    return frozenset(grant for grant, given in grants.items() if given)


def _highest_start_c(limits: dict[str, Reasoned]) -> float:
    """Ten kelvin below the trip: a start adds heat before it adds cooling."""
    hot = limits.get("over-temperature")
    return 50.0 if hot is None else hot.core.threshold - 10.0
