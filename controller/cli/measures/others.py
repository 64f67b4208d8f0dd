"""Figures that other parts of the program take of themselves, brought into one form."""

from __future__ import annotations

from importlib.util import find_spec

from controller.cli.measures.row import Effort, NotHere, Row, row


def plant(effort: Effort) -> list[Row]:
    """One step of the physics, beside a general solver begun anew at every scan, as it must be where inputs change."""
    if find_spec("scipy") is None:
        raise NotHere("scipy, whose solver is the baseline: pip install 'lyewatch[rehearse]'")
    from simulator.plant.benchmark import SCAN_S, against_solver

    seconds = max(1.0, 60.0 * effort.share)
    ours_s, solver_s, _ = against_solver(seconds, SCAN_S)
    steps = seconds / SCAN_S
    return [row("plant_step", 1e6 * ours_s / steps, "us", 1e6 * solver_s / steps, "scipy's LSODA, as exact")]


def record(effort: Effort) -> list[Row]:
    """A trend out of the record."""
    from controller.record.speed import DAYS, figures

    return [
        row(figure.name.replace(" ", "_").replace("'", ""), figure.value, figure.unit, figure.baseline, "bare SQL")
        for figure in figures(effort.times(DAYS))
    ]
