"""`lyewatch bench` and `lyewatch fault`: simulated hardware as a process of its own, and what can go wrong on it."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path
from typing import Any

import click

from controller.cli.problems import Problem, examples, json_option

DEFAULT_DIR = Path("/tmp/lyewatch-bench")  # made for its owner alone
dir_option = click.option(
    "--dir",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="LYEWATCH_BENCH",
    default=DEFAULT_DIR,
    show_default=True,
    help="Folder of the bench.",
)


def clock() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@click.command(epilog=examples("bench boathouse", "bench minimal --dir /tmp/b --seed 7"))
@click.argument("rig")
@dir_option
@click.option("--seed", default=1, show_default=True, help="Of all noise.")
@click.option("--at", "temperature_c", default=20.0, show_default=True, help="Temperature of the lye at the start, C.")
def bench(rig: str, folder: Path, seed: int, temperature_c: float) -> None:
    """Simulated hardware of a rig, in real time: cell, sensors, pins, contactors, watchdog relay.

    RIG is boathouse or minimal, or a wiring file. Start a guard on it with `lyewatch guard RIG --bench DIR`.
    """
    from simulator.boards.link import BenchServer, owner_only
    from simulator.boards.wiring import WiringError, read_wiring, shipped_wiring
    from simulator.whole import WholeBench

    try:
        wiring = read_wiring(Path(rig)) if "/" in rig or rig.endswith(".toml") else shipped_wiring(rig)
    except WiringError as error:
        raise Problem(str(error), 2) from None
    ended: list[int] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda n, _: ended.append(n))
    made = WholeBench(wiring, clock, seed, temperature_c)
    server = BenchServer(made, owner_only(folder), clock)
    click.echo(f"{wiring.title}: running in {folder}")
    try:
        server.run(lambda: not ended)
    finally:
        server.close()


def control(folder: Path, do: str, **given: Any) -> Any:
    """Ask the bench itself. Raises Problem."""
    from simulator.boards.client import control as ask

    try:
        return ask(folder, do, **given)
    except OSError as error:
        raise Problem(f"no bench answers in {folder} ({error.strerror}): start one with `lyewatch bench`") from None
    except ValueError as error:
        raise Problem(str(error), 2) from None


@click.command(
    epilog=examples("fault --list", "fault coolant-lost", "fault cell_temperature drift 60", "fault --clear")
)
@click.argument("name", required=False)
@click.argument("kind", required=False)
@click.argument("amount", type=float, default=0.0)
@click.option("--clear", is_flag=True, help="Make one part well again, or all.")
@click.option("--list", "listed", is_flag=True, help="Everything that can go wrong here.")
@dir_option
@json_option
def fault(
    name: str | None, kind: str | None, amount: float, clear: bool, listed: bool, folder: Path, as_json: bool
) -> None:
    """Make something go wrong on a running bench: a fault by NAME, or a part, a kind and an amount."""
    from controller.cli.faults import FAULTS

    if listed:
        known = control(folder, "faults")
        if as_json:
            click.echo(json.dumps({"named": sorted(FAULTS), "parts": known}))
            return
        click.echo("By name:")
        for named, one in FAULTS.items():
            click.echo(f"  {named:<18}{one.title}")
        click.echo("By part and kind (the number after it is the amount):")
        for part, kinds in known.items():
            if not part.startswith("pin "):
                click.echo(f"  {part:<22}{', '.join(kinds)}")
        return
    if clear:
        parts = [part for part, _, _ in FAULTS[name].parts] if name in FAULTS else [name or ""]
        for part in parts:
            control(folder, "clear", part=part)
    elif name in FAULTS:
        for part, what, much in FAULTS[name].parts:
            control(folder, "fault", part=part, kind=what, amount=much)
    elif name and kind:
        control(folder, "fault", part=name, kind=kind, amount=amount)
    else:
        raise click.UsageError(f"name a fault ({', '.join(FAULTS)}), or a part and a kind; see --list")
    if as_json:
        click.echo(json.dumps({"ok": True}))
    else:
        click.echo("Well again." if clear else "It is broken now.")
