"""Writes a rig file from the answers to fifteen questions: at most sixty lines, each limit with its reason beside it.

The file is compiled twice, once to learn its limits and once as it will stand: what `check` would refuse is never
written, and its refusal, which says what would do, is the answer instead.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from typing import Any

from controller.chemistry.lye import Lye, density_kg_m3
from controller.config.defaults import MBAR_PER_MM_AT_1_G_ML
from controller.config.limits import ATTENDED_LOWER
from controller.config.load import CompiledRig, compile_text
from controller.config.questions import Answers
from controller.config.units import as_written
from controller.core.limits import Effect, Limit

MOST_LINES = 60
FILE_NAME = "the answers"
ESTIMATED_L_PER_CM2 = 0.95 / (3 * 90)  # gas space of the boathouse's cell: large, which only makes venting longer
WATER_L_MIN = 2.0
SEAL_MM = 25.0
Row = dict[str, Any]


def rig_file(answers: Answers, today: date) -> tuple[str, CompiledRig]:
    """The text of a rig file, and what it means. Raises RigFileError when no rig of these answers could run."""
    head = "\n".join(_head(answers)) + "\n"
    compiled = compile_text(head.encode(), FILE_NAME, today)
    text = head + "\n".join(_limits(compiled)) + "\n"
    return text, compile_text(text.encode(), FILE_NAME, today)


# ---- how things are written


def _value(thing: Any) -> str:
    if isinstance(thing, dict):
        pairs = (f"{key} = {f'{inner:#x}' if key == 'address' else _value(inner)}" for key, inner in thing.items())
        return "{ " + ", ".join(pairs) + " }"
    if isinstance(thing, float):
        return f"{thing:.6g}"
    return json.dumps(thing, ensure_ascii=False)


def _line(name: str, thing: Any, why: str = "") -> str:
    return f"{name} = {_value(thing)}" + (f"  # {why}" if why else "")


# ---- the parts of the file


def _head(a: Answers) -> Iterator[str]:
    yield f"# {a.name}: written by `lyewatch new`. Each limit has its reason beside it; `lyewatch check` prints all."
    yield "# Pins are BCM numbers. Measure what is estimated. (cp): common practice; (p): proposal, to be proven."
    yield _line("name", a.name)
    yield _line("title", a.name)
    yield _line("drivers", "bench", 'everything emulated, to rehearse on; "pi" once the wires are there')
    yield from _surroundings(a)
    yield "[power]"
    yield from _power(a)
    signals = dict(_signals(a))
    used = {s["converter"] for s in signals.values() if "converter" in s}
    if used:
        yield "[converters]"
        chips = {
            "power": {"address": 0x48, "supply_V": 3.3, "reference": {"input": 3, "volts_V": 1.65}},
            "gas": {"address": 0x49, "supply_V": 3.3, "reference": {"input": 3, "volts_V": 2.5}},
        }
        yield from (_line(name, chip) for name, chip in chips.items() if name in used)
    yield "[signals]"
    yield from (_line(name, row, "`lyewatch find` tells its number" * ("id" in row)) for name, row in signals.items())
    yield "[outputs]"
    yield from (_line(name, row) for name, row in _outputs(a))


def _surroundings(a: Answers) -> Iterator[str]:
    hydroxide, percent = a.lye
    cells, area_cm2 = a.cells
    glued = a.touches == "glued"
    cell: Row = {
        "electrolyte": hydroxide,
        "mass_percent": percent,
        "lye_g_mL": round(density_kg_m3(Lye[hydroxide.upper()], percent / 100.0, 40.0) / 1000.0, 3),
        "cells_in_series": cells,
        "electrode_area_cm2": area_cm2,
        "seal_depth_mm": a.seal_mm,
        "wetted": "glued PVC or acrylic" if glued else "polypropylene",
        "weakest_part_C": 65.0 if glued else 95.0,
    }
    yield _line("cell", cell)
    rated_a, open_v = a.amps_volts
    yield _line("supply", {"kind": a.supply, "rated_A": rated_a, "open_circuit_V": open_v, "start_lag_s": 1.0})
    yield _line("cooling", {"kind": a.cooling} | ({"normal_L_min": WATER_L_MIN} if a.cooling == "water" else {}))
    gas: Row = {
        "goes_to": {"vent": "vent outdoors", "by hand": "by hand", "valve": "vent or collect valve"}[a.gas],
        "headspace_L": round(ESTIMATED_L_PER_CM2 * area_cm2 * cells + 0.05, 2),
        "line_L": 0.5,
    } | ({"water_seal_mm": SEAL_MM} if "water seal" in a.parts else {})
    yield _line("gas", gas, "estimated, and rather large")
    if a.supply == "settable":
        set_point: Row = {"pin": 18, "full_scale_A": rated_a, "behind_watchdog": True}
        yield _line("set_point", set_point, "its interface is fed through the watchdog relay")
    if a.water_l > 0.0:
        yield _line("water", {"usable_L": a.water_l})
    if "dead man" in a.parts:
        yield _line("notice", {"dead_man": "say here who is told, and how"})


def _power(a: Answers) -> Iterator[str]:
    low = {"active": "low"} if a.board == "low" else {}

    def contact(pin: int) -> Row:
        return {"contact": {"pin": pin}} if "contacts" in a.parts else {}

    close = {"close_pin": 22} if "seal-in" in a.parts else {}
    yield _line("main", {"switched_at": "dc", "pin": 27} | low | close | contact(7))
    if "second contactor" in a.parts:
        yield _line("second", {"switched_at": "mains", "pin": 23} | low | contact(8))
    yield _line("watchdog", {"pin": 17, "drops_after_s": 1.0} | contact(24))
    if "stop button" in a.parts:
        yield _line("stop_button", "in the coil circuit")
    if "thermostat" in a.parts:
        yield _line("thermostat_C", 60.0 if a.touches == "glued" else 80.0)


def _not_there(instead: str) -> Row:
    return {"fitted": False, "because": instead}


def _signals(a: Answers) -> Iterator[tuple[str, Row]]:
    rated_a, _ = a.amps_volts
    yield "current", _current(a.current, rated_a)
    yield "cell_temperature", _temperature(a)
    if a.cooling == "water":
        yield "coolant_flow", {
            "sensor": "pulse meter", "pin": 5, "pulses_per_L": 450.0, "least_L_min": 0.5, "range_low_L_min": 0.0,
            "range_high_L_min": 10.0, "error_L_min": 0.1, "normal_L_min": WATER_L_MIN,
        }  # fmt: skip
    elif a.cooling == "fan":
        yield "cooling_air", {"sensor": "switch", "pin": 5}
    for side, pin in (("hydrogen", 6), ("oxygen", 16)):
        fitted = a.floats in ("both", side)
        by_eye = _not_there("looked at by eye, as long as somebody stands beside it")
        yield f"level_{side}", {"sensor": "switch", "pin": pin} if fitted else by_eye
    contacts = (
        ("high float", "level_not_high", 20), ("leak", "dry_floor", 21), ("air vane", "air_flow", 19),
        ("stop button", "stop_chain", 26),
    )  # fmt: skip
    yield from ((signal, {"sensor": "switch", "pin": pin}) for part, signal, pin in contacts if part in a.parts)
    if "stack volts" in a.parts:
        most_v = max(16.0, 4.0 * a.cells[0])
        amplified: Row = {"V_per_V": round(1.6 / most_v, 6), "isolated": True}
        yield "voltage", {"sensor": "ADS1115", "converter": "power", "plus": 2} | (
            {"minus": 3, "middle_V": 1.65, "range_V": 2.048} | amplified
            | {"range_low_V": -most_v, "range_high_V": most_v, "error_V": 0.05}
        )  # fmt: skip
    if "pressure" in a.parts:
        normal_mbar = 1.0 + (SEAL_MM * MBAR_PER_MM_AT_1_G_ML if "water seal" in a.parts else 0.0)
        for side, plus in (("hydrogen", 0), ("oxygen", 1)):
            yield f"pressure_{side}", {
                "sensor": "ADS1115", "converter": "gas", "plus": plus, "range_V": 4.096,
                "two_points": {"at_V": [0.5, 2.5], "means_mbar": [-50.0, 150.0], "live_zero": True},
                "range_low_mbar": -55.0, "range_high_mbar": 155.0, "error_mbar": 1.0,
                "normal_mbar": round(normal_mbar, 1),
            }  # fmt: skip


def _current(kind: str, rated_a: float) -> Row:
    if kind == "none":
        return _not_there("the supply's own ammeter is watched, as long as somebody stands beside it")
    on_converter: Row = {"sensor": "ADS1115", "converter": "power", "plus": 0}
    most_a = next(step for step in (50.0, 100.0, 200.0) if 1.6 * rated_a <= step)  # what such parts are sold for
    ends: Row = {"range_low_A": -1.02 * most_a, "range_high_A": 1.02 * most_a, "error_A": 0.004 * most_a}
    if kind == "amplifier":
        range_v = next(v for v in (0.512, 1.024, 2.048) if 0.010 * most_a < v)
        ends |= {"V_per_A": 0.010 if most_a <= 100.0 else 0.0075, "isolated": True}
        return on_converter | {"minus": 3, "middle_V": 1.65, "range_V": range_v} | ends
    if kind == "hall":
        hall = {"V_per_A": round(2.0 / 3.0 * 2.0 / most_a, 5), "rail_V": 3.333}
        return on_converter | {"minus": 1, "middle_V": 1.667, "range_V": 2.048} | ends | {"hall": hall}
    return on_converter | {"minus": 1, "middle_V": 0.0, "range_V": 0.256, "V_per_A": 0.075 / most_a} | ends


def _temperature(a: Answers) -> Row:
    if a.temperature == "none":
        return _not_there("a thermometer is read by eye, as long as somebody stands beside it")
    if a.temperature == "thermistor":
        return {
            "sensor": "ADS1115", "converter": "gas", "plus": 2, "range_V": 4.096,
            "thermistor": {"pull_up_ohm": 10000.0, "ohm_at_25_C": 10000.0, "beta_K": 3950.0},
            "range_low_C": -10.0, "range_high_C": 110.0, "error_C": 1.5,
        }  # fmt: skip
    mounted = "outside plastic" if a.temperature == "outside" else "dry well"
    return {"sensor": "DS18B20", "id": "28-000000000001", "mounted": mounted}


def _outputs(a: Answers) -> Iterator[tuple[str, Row]]:
    low = {"active": "low"} if a.board == "low" else {}
    if a.cooling != "none":
        yield "coolant", {"pin": 10} | low
    yield "ventilation", {
        "pin": 9, "active": "low", "safe": "on", "wiring": "on the mains through a relay's break contact",
    }  # fmt: skip
    if a.gas == "valve":
        yield "collect", {"pin": 25, "behind_watchdog": True} | low
    if "horn" in a.parts:
        yield "horn", {"pin": 13} | low


# ---- limits


def _limits(compiled: CompiledRig) -> Iterator[str]:
    shown = [limit for limit in compiled.core.limits if limit.effect in (Effect.TRIP, Effect.STOP)]
    follows = [limit for limit in shown if limit.name in ATTENDED_LOWER]
    yield "[limits]"
    if follows:
        numbers = ", ".join(f"{limit.name} {limit.threshold:g} A" for limit in follows)
        yield f"# {numbers}: these follow what the rig may run at, a third of it while somebody has to stand there"
    yield from (_limit(compiled, limit) for limit in shown if limit not in follows)


def _limit(compiled: CompiledRig, limit: Limit) -> str:
    signal = compiled.core.signals[limit.members[0]]
    row: Row = {}
    if not limit.is_switch:
        row[as_written("above" if limit.rises else "below", signal.quantity)] = round(limit.threshold, 6)
    row["delay_s"] = limit.delay_s
    return _line(json.dumps(limit.name), row, _short(compiled.reasons[limit.name]))


def _short(reason: str) -> str:
    """The first thought of a reason, and whether it is common practice or a proposal."""
    mark = reason[reason.rfind(" (") :] if reason.endswith(")") else ""
    return reason.removesuffix(mark).split(";")[0].rstrip(".") + mark
