"""`lyewatch outputs-off`: the second line of an ended guard, run by the system after it.

A Pi's kernel keeps the level of an output whose process has died. Opening every output in its safe state and closing it
again takes that level away. It touches nothing while a guard runs.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from controller.cli.problems import RUN_DIR, Problem, examples
from controller.guard.lock import LOCKS, Locks, Taken
from controller.hardware.description import Hardware
from controller.hardware.outputs import Drives


def put_off(hardware: Hardware, pins: Callable[[], Any], locks: Path) -> bool:
    """Open every output in its safe state and let it go again; false, and nothing touched, while a guard runs."""
    try:
        held = Locks(locks, ("machine", "pins"))
    except Taken:
        return False
    try:
        Drives(hardware, pins()).close()
    finally:
        held.release()
    return True


@click.command("outputs-off", epilog=examples("outputs-off /etc/lyewatch/rig.toml"))
@click.argument("rig")
def outputs_off(rig: str) -> None:
    """Put every output of RIG into its safe state, where no guard is running."""
    from controller.cli.rigs import load
    from controller.hardware.linux_ports import header_chip, pin_factory

    compiled = load(rig)
    if compiled.core.simulated:
        raise Problem(f'{rig} says drivers = "bench": it has no outputs of its own', 2)
    try:
        done = put_off(compiled.hardware, lambda: pin_factory(header_chip(), RUN_DIR), LOCKS)
    except (OSError, ValueError) as error:
        raise Problem(f"not every output could be reached: {error}. The watchdog relay opens the contactor") from None
    click.echo("Every output is in its safe state." if done else "A guard is running; nothing was touched.")
