"""May it be left alone? Worked out from what is fitted, never asked; what is missing is said in plain words."""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import date

from controller.config.defaults import mandatory
from controller.config.models import RigFile

# Air that carries off what a leak of all the gas would bring, m3/h for each ampere and cell (cp).
NATURAL_M3_H_PER_A_CELL = 0.05

_Test = Callable[[RigFile, Collection[str]], bool]


def _has(*names: str) -> _Test:
    return lambda _file, limits: all(name in limits for name in names)


def _natural_air(file: RigFile) -> bool:
    needed = NATURAL_M3_H_PER_A_CELL * file.supply.rated_A * file.cell.cells_in_series
    return file.ventilation is not None and file.ventilation.natural_m3_h >= needed


def _both_behind_watchdog(file: RigFile) -> bool:
    second = file.power.second
    return second is not None and file.power.main.behind_watchdog and second.behind_watchdog


def _one_mechanical(file: RigFile) -> bool:
    elements = {b.element for b in (file.power.main, file.power.second) if b is not None}
    return bool(elements & {"contactor", "relay"})


def _pressure(file: RigFile, limits: Collection[str]) -> bool:
    both = "gas pressure hydrogen side" in limits and "gas pressure oxygen side" in limits
    one = "gas pressure hydrogen side" in limits or "gas pressure oxygen side" in limits
    return both or (one and "pressure difference" in limits) or file.gas.water_seal_mm is not None


_WANTED: tuple[tuple[str, _Test], ...] = (
    ("a second, independent means of breaking power, its coil fed through the watchdog relay like the first",
     lambda f, _: _both_behind_watchdog(f)),
    ("a contactor or relay as one of the two means: solid-state ones fail closed", lambda f, _: _one_mechanical(f)),
    ("a main contactor that seals in, so that nothing but a close pulse can close it again",
     lambda f, _: f.power.main.close_pin is not None),
    ("an auxiliary contact on the main contactor", lambda f, _: f.power.main.contact is not None),
    ("a stop button in the coil circuit, and its state as a signal (stop_chain)",
     lambda f, limits: f.power.stop_button == "in the coil circuit" and "stop chain" in limits),
    ("a thermostat in the coil circuit", lambda f, _: f.power.thermostat_C is not None),
    ("proof of ventilation (air_flow), or natural air of 0.05 m3/h for each ampere and cell",
     lambda f, limits: "ventilation lost" in limits or _natural_air(f)),
    ("gas pressure on both sides, or a difference and one side, or a water seal", _pressure),
    ("a water account: how much water is usable between full and low", lambda f, _: f.water is not None),
    ("a leak sensor in the tray (dry_floor)", _has("leak")),
    ("somebody, outside this machine, who is told when it falls silent (notice.dead_man)",
     lambda f, _: f.notice is not None),
)  # fmt: skip

_NOT_WATCHED = {
    "over-temperature": "a lye temperature",
    "level low hydrogen side": "a low-level float on the hydrogen side",
    "level low oxygen side": "a low-level float on the oxygen side",
    "over-current": "a measured current",
    "coolant flow low": "a proof of coolant flow",
    "cooling fan lost": "a proof of cooling air",
}


def missing(file: RigFile, limits: Collection[str], today: date) -> tuple[str, ...]:
    """What would still be needed before this rig may be left alone; empty when it may.

    limits: names of those the rig has. today: for the proof tests, which a bench needs none of.
    """
    lacks = [_NOT_WATCHED[limit] for limit in mandatory(file) if limit not in limits]
    if file.cooling.kind == "none" and "cell_temperature_2" not in file.fitted:
        lacks.append("a second lye temperature (cell_temperature_2), since nothing cools this cell")
    lacks += [words for words, test in _WANTED if not test(file, limits)]
    if file.drivers == "pi":
        lacks += _proof_tests(file, today)
    return tuple(lacks)


def _proof_tests(file: RigFile, today: date) -> list[str]:
    tests = file.proof_tests
    if tests is None:
        return ["passed proof tests, with their day (proof_tests.last)"]
    age_days = (today - tests.last).days
    if age_days < 0:
        return [f"proof tests on a day that has been: {tests.last} is ahead of this machine's clock"]
    overdue = age_days - tests.every_days
    return [f"proof tests in date: they are {overdue} days overdue"] if overdue > 0 else []
