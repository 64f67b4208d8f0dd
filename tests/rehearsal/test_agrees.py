"""A wrong scaling in a rig file is found before any fault is played, because the bench is wired apart from it."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache

import pytest

from controller.config.load import compile_text
from controller.config.problems import RigFileError
from controller.config.rigs import names, shipped
from simulator.rehearsal.agrees import disagreements
from simulator.rehearsal.rigs import find
from simulator.rehearsal.world import Physical

TODAY = date(2026, 6, 1)
APART = ("voltage-knob", "fixed-voltage", "drooping", "uncooled")
# What a tired hand writes: factors of two, resistors and points changed over, a channel or a probe mistaken.
SLIPS: dict[str, tuple[str, str, str]] = {  # signal, what stands there, what is written instead
    "amperes for each volt halved": ("current", r"V_per_A = ([\d.]+)", "{0.5}"),
    "amperes for each volt doubled": ("current", r"V_per_A = ([\d.]+)", "{2}"),
    "stack volts halved": ("voltage", r"V_per_V = ([\d.]+)", "{2}"),
    "stack volts doubled": ("voltage", r"V_per_V = ([\d.]+)", "{0.5}"),
    "pressure by another data sheet": ("pressure_hydrogen", r"means_mbar = \[-50.0, 150.0\]", "means_mbar = [0, 100]"),
    "points changed over": ("pressure_oxygen", r"means_mbar = \[-50.0, 150.0\]", "means_mbar = [150, -50]"),
    "pulses of another meter": ("coolant_flow", r"pulses_per_L = ([\d.]+)", "{2}"),
    "pull-up of another size": ("cell_temperature", r"pull_up_ohm = ([\d.]+)", "{0.47}"),
    "B of another thermistor": ("cell_temperature", r"ohm_at_25_C = ([\d.]+)", "{10}"),
    "tap halved": ("cell_2", r"V_per_V = ([\d.]+)", "{2}"),
}


def changed(rig: str, slip: str) -> str | None:
    """The rig file with that slip in it; None where it has nothing to slip on."""
    signal, written, instead = SLIPS[slip]
    text = shipped(rig).read_text(encoding="utf-8")
    line = re.search(rf"(?m)^{signal} = .*$", text)
    found = line and re.search(written, line[0])
    if line is None or not found:
        return None
    if instead.startswith("{"):
        number = float(found[1]) * float(instead.strip("{}"))
        instead = found[0].replace(found[1], f"{number:g}")
    return text.replace(line[0], line[0].replace(found[0], instead))


CASES = [(rig, slip) for rig in APART for slip in SLIPS if changed(rig, slip)]


@lru_cache(maxsize=8)
def physical(rig: str) -> Physical:
    return find(rig, TODAY)


@pytest.mark.parametrize(("rig", "slip"), CASES)
def test_a_slip_in_a_scaling_is_refused_or_found_with_its_signal_before_any_fault(rig: str, slip: str) -> None:
    text = changed(rig, slip)
    assert text is not None
    try:
        words = disagreements(physical(rig)._replace(rig=compile_text(text.encode(), "slip.toml", TODAY)))
    except RigFileError as refusal:
        words = (str(refusal),)
    assert any(SLIPS[slip][0] in each for each in words), words


def test_each_rig_meets_the_slips_that_its_parts_allow() -> None:
    assert {slip for _, slip in CASES} == set(SLIPS)
    assert all(sum(name == rig for name, _ in CASES) >= 4 for rig in APART)


@pytest.mark.parametrize("rig", names())
def test_what_ships_reads_what_is_on_its_bench(rig: str) -> None:
    assert disagreements(physical(rig)) == ()
