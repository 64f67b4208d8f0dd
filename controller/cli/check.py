"""`lyewatch check`: what a rig file means, whether the rig may be left, and what it would need for that."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from typing import Any

import click

from controller.config import rigs
from controller.config.load import CompiledRig, load
from controller.config.problems import RigFileError
from controller.config.schema import rig_schema
from controller.core.limits import Effect, Limit
from controller.core.permissives import UNMEASURED
from controller.core.rig import Grade

_EFFECT = {
    Effect.TRIP: "Trips: power is cut and stays cut until a reset",
    Effect.STOP: "Stops: orderly, and no start while it stands",
    Effect.DERATE: "Folds the current back",
    Effect.ALARM: "Alarms",
}
UNBROKEN = 10_000  # into a file or a pipe: a thought stays one line


@click.command()
@click.argument("rig", required=False)
@click.option("--json", "as_json", is_flag=True, help="For a program.")
@click.option("--schema", is_flag=True, help="JSON Schema of a rig file, for an editor.")
def check(rig: str | None, as_json: bool, schema: bool) -> None:
    """What RIG, a rig file or one that ships (boathouse, minimal), means, and whether it may be left alone.

    Exit 0: it may be left. 1: it may run with somebody beside it, or not yet. 2: it cannot be used.
    """
    if schema:
        click.echo(json.dumps(rig_schema(), indent=2))
        return
    if rig is None:
        click.echo(f"Which rig? Give the path of a rig file, or one that ships: {', '.join(rigs.names())}.", err=True)
        sys.exit(2)
    try:
        compiled = load(rigs.shipped(rig))
    except RigFileError as error:
        if as_json:
            click.echo(json.dumps({"usable": False, "problems": [p._asdict() for p in error.problems]}, indent=2))
        else:
            click.echo(str(error), err=True)
        sys.exit(2)
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else UNBROKEN
    click.echo(json.dumps(as_data(compiled), indent=2) if as_json else page(compiled, width))
    sys.exit(0 if compiled.core.grade is Grade.UNATTENDED else 1)


def as_data(compiled: CompiledRig) -> dict[str, Any]:
    core = compiled.core
    return {
        "usable": True,
        "name": core.name,
        "rig_hash": core.rig_hash,
        "simulated": core.simulated,
        "grade": core.grade.name.lower(),
        "may_start": core.roles.current >= 0,
        "may_be_left": core.grade is Grade.UNATTENDED,
        "missing": list(core.missing),
        "warnings": list(compiled.warnings),
        "limits": [
            {
                "name": limit.name,
                "title": limit.title,
                "effect": limit.effect.name.lower(),
                "signals": [core.signals[m].name for m in limit.members],
                "threshold": None if limit.is_switch else limit.threshold,
                "unit": core.signals[limit.members[0]].unit,
                "rises": limit.rises,
                "delay_s": limit.delay_s,
                "grace_s": limit.grace_s,
                "far_grace_s": limit.far_grace_s or None,
                "armed": limit.armed.name.lower(),
                "reset": limit.kind.name.lower().replace("_", "-") if limit.effect is Effect.TRIP else None,
                "may_be_bypassed": limit.bypassable,
                "because": compiled.reasons[limit.name],
            }
            for limit in core.limits
        ],
    }


def page(compiled: CompiledRig, width: int = UNBROKEN) -> str:
    """One readable page; no line is wider, and none is broken within a word."""
    core, file = compiled.core, compiled.file
    cell = file.cell
    lines = [
        f"{file.title}{'  (every driver emulated)' if core.simulated else ''}",
        f"{cell.cells_in_series} x {cell.electrode_area_cm2:g} cm2 in {cell.mass_percent:g} % {cell.electrolyte}, "
        f"{file.minimum_a:g} to {core.most_a:g} A, {len(core.signals)} signals, {len(core.limits)} limits, "
        f"settings {core.rig_hash}",
        "",
    ]
    if core.grade is Grade.UNATTENDED:
        lines.append("May I leave it?  Yes, as far as this file goes. The rig itself is proven by its proof tests.")
    elif core.roles.current < 0:
        lines += [f"May it run?  Not yet: {UNMEASURED}.", "To leave it, it would need:"]
        lines += [f"  - {what}" for what in core.missing]
    else:
        timing = core.timing
        lines += [
            "May I leave it?  No. It may run with somebody beside it: "
            f"at most {core.most_a:g} A, {timing.attended_at_most_s / 60:g} min, "
            f"a press at the bench every {timing.presence_s / 60:g} min.",
            "To leave it, it would need:",
            *(f"  - {what}" for what in core.missing),
        ]
    if compiled.warnings:
        lines += ["", "Worth knowing:", *(f"  - {warning}" for warning in compiled.warnings)]
    for effect, words in _EFFECT.items():
        limits = [limit for limit in core.limits if limit.effect is effect]
        if limits:
            by_hand = effect is Effect.DERATE and not core.supply.settable
            lines += ["", "Asks a hand to turn the current down, and stops after a minute" if by_hand else words]
            for limit in limits:
                lines += [f"  {limit.name:<34}{_when(compiled, limit)}", f"      {compiled.reasons[limit.name]}"]
    return "\n".join(_broken(line, width) for line in lines)


def _broken(line: str, width: int) -> str:
    """A line too wide for the terminal goes on below, a little further in than it began."""
    if len(line) <= width:
        return line
    further = " " * (len(line) - len(line.lstrip(" ")) + 2)
    return textwrap.fill(line, width, subsequent_indent=further, break_on_hyphens=False)


def _when(compiled: CompiledRig, limit: Limit) -> str:
    signal = compiled.core.signals[limit.members[0]]
    if limit.is_switch:
        what = "not proven"
    else:
        size = "either way " if limit.magnitude else ""
        what = f"{size}{'>=' if limit.rises else '<='} {limit.threshold:g} {signal.unit}"
        if limit.effect is Effect.DERATE:
            what += f" to {limit.derate_to:g} {signal.unit}"
    parts = [what, f"for {limit.delay_s:g} s" if limit.delay_s else "at once"]
    if limit.effect is not Effect.DERATE:
        far = f" ({limit.far_grace_s:g} s while far away)" if limit.far_grace_s else ""
        parts.append(f"unseen for {limit.grace_s:g} s{far}")
    if limit.effect is Effect.TRIP:
        parts.append(limit.kind.name.lower().replace("_", "-"))
    if limit.bypassable:
        parts.append("may be bypassed")
    return ", ".join(parts)


COMMANDS: list[click.Command] = [check]
