"""Rig files by path, or by the name of one that comes with the program."""

from __future__ import annotations

from pathlib import Path

from controller.cli.problems import Problem
from controller.config.load import CompiledRig
from controller.config.load import load as compile_file
from controller.config.problems import RigFileError
from controller.config.rigs import shipped


def path_of(rig: str) -> Path:
    """The file meant by a path or a shipped name."""
    return shipped(rig)


def load(rig: str) -> CompiledRig:
    """The compiled rig. Raises Problem with everything that is wrong with the file."""
    try:
        return compile_file(path_of(rig))
    except RigFileError as error:
        raise Problem(str(error), 2) from None


def load_for(rig: str, bench: Path | None) -> CompiledRig:
    """As `load`; a rig with real drivers never runs on a bench, nor the other way round."""
    compiled = load(rig)
    if compiled.core.simulated and bench is None:
        raise Problem(f'{rig} says drivers = "bench": name a running bench with --bench, or give drivers = "pi"', 2)
    if not compiled.core.simulated and bench is not None:
        raise Problem(f'{rig} says drivers = "pi", so it drives real pins: to rehearse it, copy it and give "bench"', 2)
    return compiled
