"""An invented rig and an invented day, for tests and figures: twenty signals, a run from nine to five, sensor noise."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from pathlib import Path

from controller.record.blocks import Sample
from controller.record.historian import Historian, Keep, Moment, Tracked

NOON_S = 1_780_000_000.0  # some noon, Unix time
GOOD, FAILURE = 0, 4

SIGNALS = (
    Tracked("current", "Current", "A", 0.05),
    Tracked("voltage", "Stack voltage", "V", 0.02),
    Tracked("lye_temperature", "Lye", "C", 0.1),
    Tracked("coolant_inlet", "Coolant in", "C", 0.1),
    Tracked("coolant_outlet", "Coolant out", "C", 0.1),
    Tracked("room_temperature", "Room", "C", 0.1),
    Tracked("coolant_flow", "Coolant", "L/min", 0.05),
    Tracked("level_hydrogen", "Level, hydrogen side", "mm", 1.0),
    Tracked("level_oxygen", "Level, oxygen side", "mm", 1.0),
    Tracked("gas_pressure_hydrogen", "Gas pressure, hydrogen side", "mbar", 0.5),
    Tracked("gas_pressure_oxygen", "Gas pressure, oxygen side", "mbar", 0.5),
    Tracked("room_hydrogen", "Hydrogen in the room", "%", 0.01),
    Tracked("cell_1", "Cell 1", "V", 0.01),
    Tracked("cell_2", "Cell 2", "V", 0.01),
    Tracked("cell_3", "Cell 3", "V", 0.01),
    Tracked("supply", "Pi's own supply", "V", 0.02),
    Tracked("leak", "Floor dry", "", 0.0),
    Tracked("ventilation", "Air moving", "", 0.0),
    Tracked("stop_chain", "Stop chain", "", 0.0),
    Tracked("main_closed", "Main contactor", "", 0.0),
)
# Standard deviation of each sensor's noise, in its unit, after the guard's filter; switches have none.
NOISE = (0.02, 0.008, 0.03, 0.03, 0.03, 0.03, 0.02, 0.4, 0.4, 0.2, 0.2, 0.004, 0.004, 0.004, 0.004, 0.006, 0, 0, 0, 0)


def moment(at_s: float, synchronised: bool = True, offset_s: float = NOON_S) -> Moment:
    return Moment(at_s, at_s + offset_s, synchronised)


def historian(path: Path, boot: str = "machine-1", now: Moment | None = None, keep: Keep | None = None) -> Historian:
    return Historian(path, "boathouse", SIGNALS, boot, now or moment(0.0), keep)


def quiet(*numbers: float) -> tuple[Sample, ...]:
    """The given numbers first, the other signals still."""
    return tuple((n, GOOD) for n in (*numbers, *([1.0] * (len(SIGNALS) - len(numbers)))))


def day(
    seconds: int, seed: int = 7, begin_s: int = 0, step_s: float = 1.0
) -> Iterator[tuple[float, tuple[Sample, ...]]]:
    """Times since power-up and samples: cloud shadows on the current, warming and cooling lye, dosing of water."""
    rng = random.Random(seed)
    lye_c, level_mm = 18.0, 80.0
    count = int(seconds / step_s)
    for nth in range(count):
        at_s = begin_s + nth * step_s
        hour = (at_s / 3600.0) % 24.0
        on = 9.0 <= hour < 17.0
        cloud = 0.75 + 0.25 * math.sin(at_s / 400.0) * math.sin(at_s / 97.0)
        amps = 28.0 * cloud if on else 0.0
        lye_c += (18.0 + 1.5 * amps - lye_c) * step_s / 2400.0
        level_mm -= amps * 3e-5 * step_s
        if level_mm < 76.0:
            level_mm += 4.0
        volts = 4.4 + 0.05 * amps - 0.006 * (lye_c - 18.0) if on else 0.1
        room_c = 16.0 + 4.0 * math.sin((hour - 8.0) / 24.0 * 2.0 * math.pi)
        plain = (
            amps, volts, lye_c, 14.0, 14.0 + 0.1 * amps, room_c, 2.0 if on else 0.0, level_mm, level_mm + 2.0,
            12.0 if on else 0.0, 12.0 if on else 0.0, 0.02, volts / 3, volts / 3, volts / 3, 5.08,
            1.0, 1.0, 1.0, 1.0 if on else 0.0,
        )  # fmt: skip
        yield at_s, tuple((p + rng.gauss(0.0, s) if s else p, GOOD) for p, s in zip(plain, NOISE, strict=True))
