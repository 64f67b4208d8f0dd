"""One suite for every kind of sensor, from the rig file's words through the real driver to what the core believes.

Each reads outside values within its error. Each, broken in every way that its wires and chips can be, gives a bad code
or a number on a limit's trip side: never a plausible wrong number without a word.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import pytest
from pydantic import TypeAdapter

from controller.config import measured
from controller.config.load import CompiledRig, compile_text
from controller.config.rigs import shipped
from controller.config.signals import SCALINGS, WORKED_OUT
from controller.config.units import STANDARD
from controller.core.limits import Arming, Effect, demand_share
from controller.core.signals import Status, Value, unseen, validate
from controller.hardware.description import Hardware
from controller.hardware.instruments import open_instruments
from simulator.boards import onewire
from simulator.boards.bench import Bench
from simulator.boards.clock import VirtualClock
from simulator.boards.wiring import SHIPPED, Wiring
from tests.boards.still_plant import StillPlant
from tests.config.toml_writer import document

from .kinds import KINDS, Kind

SCAN_S = 0.1
EXTRA = "converter 0x4b"
KNOWN = {"input": 3, "volts_V": 1.65}
CONVERSIONS = 2  # of one channel and the known voltage


@cache
def rig_of(name: str) -> CompiledRig:
    """The boathouse with this sensor in place of its own, on a converter of its own."""
    kind = KINDS[name]
    rig = tomllib.loads(shipped("boathouse").read_text(encoding="utf-8"))
    rig.pop("top_up", None)  # of the level that this may replace
    rig["converters"]["extra"] = {"address": 0x4B, "supply_V": 3.3, "reference": KNOWN} | kind.chip
    rig["signals"][kind.signal] = kind.table
    rig["limits"] |= kind.limits
    return compile_text(document(rig).encode(), "kind.toml", date(2026, 6, 1))


@cache
def bench_of(name: str) -> Wiring:
    """The boathouse's bench with this part in place of its own."""
    kind = KINDS[name]
    wiring = tomllib.loads((SHIPPED / "boathouse.wiring.toml").read_text(encoding="utf-8"))
    for what in ("meter", "contact", "thermometer"):
        wiring[what] = [row for row in wiring[what] if row["signal"] != kind.signal]
        if what in kind.wired:
            wiring[what].append({"signal": "x"} | kind.wired[what])
    if "inputs" in kind.wired:
        chip = {"supply_V": 3.3, "reference": KNOWN} | kind.chip
        known = {"part": "fixed", "volts_always": chip["reference"]["volts_V"]}
        inputs = [*kind.wired["inputs"], {"signal": "unused"} | known, {"signal": "known"} | known]
        wiring["converter"].append({"bus": 1, "address": 0x4B, "supply_v": chip["supply_V"], "inputs": inputs})
    return TypeAdapter(Wiring).validate_python(wiring)


class Watched:
    """One sensor on its bench, read scan by scan as the guard would."""

    def __init__(self, name: str, x: float | None = None) -> None:
        """x: what it looks at; else as in good running."""
        self.kind = kind = KINDS[name]
        self.rig = rig_of(name)
        self.clock = VirtualClock()
        self.plant = StillPlant(x=kind.normal if x is None else x)
        self.bench = Bench(bench_of(name), self.plant, self.clock)
        self.at = self.rig.core.position(kind.signal)
        # a sensor on a shared line is asked as often as its rig file promises
        self.signal = replace(self.rig.core.signals[self.at], window_scans=60)
        source = dict(self.rig.hardware.signals)[kind.signal]
        self.instruments = open_instruments(
            Hardware(((kind.signal, source),)), self.bench.ports(), self.clock, self.clock.wait
        )
        self.value = unseen(self.clock())

    def scans(self) -> Value:
        """So long that everything has been read, or is old, and a meter's second has passed."""
        for _ in range(round((2.0 + 2.0 * self.signal.period_s) / SCAN_S)):
            self.clock.now_s = self.bench.now_s + SCAN_S
            self.bench.advance(self.clock.now_s)
            for group in self.instruments.slow_groups:
                group.step(self.clock.now_s)
            (reading,) = self.instruments.read_all(self.clock())
            self.value = validate(self.signal, self.value, reading, self.clock())
        return self.value

    def a_word_is_said(self) -> bool:
        """Not good, or on the side of a limit that acts; of one that warns, where nothing acts on this signal."""
        limits = [x for x in self.rig.core.limits if self.at in x.members and x.armed is not Arming.OPENED]
        acting = [x for x in limits if x.effect in (Effect.STOP, Effect.TRIP)] or limits
        value = self.value
        return value.status is not Status.GOOD or any(demand_share(x, value.number or 0.0) > 0.0 for x in acting)


def faults_of(kind: Kind) -> dict[str, tuple[str, str]]:
    """What can break, by name: part of the bench, and what goes wrong with it there."""
    pin = kind.wired.get("contact", kind.wired.get("meter", {})).get("pin")
    on_pin = {"short": (f"pin {pin}", "held_low"), "to supply": (f"pin {pin}", "held_high")}
    if "inputs" in kind.wired:
        chip = ("absent", "never_ready", "all_zeros", "all_ones", "mux_stuck")
        wires = {"open": ("x", "open"), "short": ("x", "short"), "to supply": ("x", "saturated")}
        return wires | {fault: (EXTRA, fault) for fault in chip}
    if "thermometer" in kind.wired:
        return {fault: ("x", fault) for fault in onewire.LINE_FAULTS if fault != "clone"} | {"stuck": ("x", "stuck")}
    if "counter" in kind.wired.get("meter", {}):
        return {"open": ("x", "stuck")}
    if "meter" in kind.wired:
        return {"open": ("x", "stuck"), "spikes": ("x", "spikes"), "hum": ("x", "hum")} | on_pin
    if "contact" in kind.wired:
        return {"open": ("x", "stuck_open")} | on_pin
    return {"sags": ("supply_sags", "now")} if kind.signal == "controller_supply" else {}


def each(of: str) -> list[Any]:
    """Parameters: every kind with every row of a sort."""
    rows = {
        "points": lambda kind: [(f"{x:g}", (x, number)) for x, number in kind.points],
        "faults": lambda kind: [(fault, fault) for fault in faults_of(kind)],
        "beyond": lambda kind: [(f"{x:g}", x) for x in kind.beyond],
        "frozen": lambda kind: [(f"after {n}", n) for n in range(CONVERSIONS) if "inputs" in kind.wired],
    }[of]
    return [pytest.param(name, row, id=f"{name}: {label}") for name, kind in KINDS.items() for label, row in rows(kind)]


@pytest.mark.parametrize(("name", "point"), each("points"))
def test_outside_values_are_read_within_the_error(name: str, point: tuple[float, float]) -> None:
    x, number = point
    watched = Watched(name, x)
    value = watched.scans()
    within = watched.kind.within
    assert value.status is Status.GOOD, value
    assert value.number == pytest.approx(number, abs=watched.signal.error if within is None else within)


@pytest.mark.parametrize("name", KINDS)
def test_in_good_running_nothing_is_said(name: str) -> None:
    watched = Watched(name)
    watched.scans()
    assert not watched.a_word_is_said(), watched.value


@pytest.mark.parametrize(("name", "fault"), each("faults"))
def test_a_broken_sensor_never_gives_a_plausible_number_without_a_word(name: str, fault: str) -> None:
    """But for what the table says that nothing in the reading can show."""
    watched = Watched(name)
    watched.scans()
    watched.bench.fault(*faults_of(watched.kind)[fault], 50.0)
    watched.scans()
    assert watched.a_word_is_said() is (fault not in watched.kind.silent), watched.value


@pytest.mark.parametrize(("name", "x"), each("beyond"))
def test_a_quantity_beyond_the_end_of_its_instrument_is_bad_or_on_the_trip_side(name: str, x: float) -> None:
    watched = Watched(name)
    watched.scans()
    watched.plant.now["x"] = x
    watched.scans()
    assert watched.a_word_is_said(), watched.value


@pytest.mark.parametrize(("name", "conversions"), each("frozen"))
def test_a_chip_that_shows_one_result_for_ever_is_found_whenever_it_froze(name: str, conversions: int) -> None:
    watched = Watched(name)
    watched.scans()
    watched.bench.fault(EXTRA, "frozen", float(conversions))
    watched.scans()
    assert watched.value.status is Status.FAILURE, watched.value


def test_the_table_has_every_sensor_and_every_scaling_that_a_rig_file_knows() -> None:
    tables = [kind.table for kind in KINDS.values()]
    assert {table["sensor"] for table in tables} == set(measured.SENSORS) - set(WORKED_OUT)
    assert {key for table in tables for key in table} >= set(SCALINGS)
    twins, made = {"pressure_oxygen", "level_oxygen", "level_not_high"}, {"cell_spread", "off_the_curve"}
    assert {kind.signal for kind in KINDS.values()} >= STANDARD.keys() - twins - made


def test_what_a_sensor_cannot_show_by_itself_says_what_does() -> None:
    for name, kind in KINDS.items():
        assert kind.silent.keys() <= faults_of(kind).keys(), name
        assert all(kind.silent.values()), name
