"""`lyewatch guard`: reads the rig file, then becomes the guard.

What reads the file (and its 12 MB of libraries) is gone by then: the compiled rig is handed over in memory to a fresh
interpreter in the same process, which imports only what a scan needs.
"""

from __future__ import annotations

import os
import pickle
import sys
from pathlib import Path
from typing import NamedTuple

import click

from controller.cli.problems import RUN_DIR, STATE_DIR, Problem, examples, run_dir_option
from controller.core.rig import Rig
from controller.guard.lock import LOCKS, names_of
from controller.guard.main import Places
from controller.hardware.description import Ads1115Channel, Hardware


class Handed(NamedTuple):
    """What the fresh interpreter is given. Written and read by this program alone, through memory of its own."""

    rig: Rig
    hardware: Hardware
    places: Places
    bench: Path | None


def in_memory(handed: Handed) -> int:
    """A descriptor that a process made from here, or put in the place of this one, can read."""
    descriptor = os.memfd_create("rig", 0)
    os.write(descriptor, pickle.dumps(handed))
    os.lseek(descriptor, 0, os.SEEK_SET)
    return descriptor


@click.command(
    epilog=examples("guard /etc/lyewatch/boathouse.toml", "guard boathouse --bench /tmp/bench --run-dir /tmp/run")
)
@click.argument("rig")
@click.option(
    "--bench", type=click.Path(path_type=Path), help="Folder of a running bench: its hardware instead of real."
)
@click.option(
    "--state-dir",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="LYEWATCH_STATE_DIR",
    default=STATE_DIR,
    show_default=True,
    help="Folder of latch, incidents and keys.",
)
@run_dir_option
def guard(rig: str, bench: Path | None, state_dir: Path, run_dir: Path) -> None:
    """Watch and drive a rig until told to end (SIGTERM). Outputs are off first and off last.

    RIG is a rig file, or the name of one that comes with the program. A first start, like any start whose record of
    the last run is missing or damaged, comes up tripped and is reset at the rig.
    """
    from controller.cli.rigs import load_for, path_of

    if bench is not None:  # a bench never shares folders with a rig
        run_dir = bench if run_dir == RUN_DIR else run_dir
        state_dir = bench / "state" if state_dir == STATE_DIR else state_dir
    compiled = load_for(rig, bench)
    file = path_of(rig).resolve()
    if bench is None:
        buses = [s.chip.bus for _, s in compiled.hardware.signals if isinstance(s, Ads1115Channel)]
        places = Places(file, run_dir, state_dir, LOCKS, names_of(buses, "pins"))
    elif bench.is_dir():
        places = Places(file, run_dir, state_dir, bench, ("bench",))
    else:
        raise Problem(f"no bench in {bench}: start one with `lyewatch bench {rig} --dir {bench}`", 2)
    for warning in compiled.warnings:
        click.echo(f"lyewatch guard: {warning}", err=True)
    handed = in_memory(Handed(compiled.core, compiled.hardware, places, bench))
    sys.stdout.flush()
    os.execv(sys.executable, [sys.executable, "-m", "controller.cli.guard_process", str(handed)])
