"""`lyewatch bench` and `lyewatch fault`: simulated hardware as a process of its own, and what can go wrong on it."""

from __future__ import annotations

import json
import signal
import time
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from controller.cli.faults import FAULTS, GUARD_KILLED
from controller.cli.problems import Problem, examples, json_option
from controller.config.problems import RigFileError
from controller.guard.realtime import PRIORITY, first_in_line

if TYPE_CHECKING:
    from simulator.boards.wiring import Wiring
    from simulator.whole import PlantBehind

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

    RIG is one that ships (boathouse, minimal ...), a rig file, or a wiring file (its name ends in .wiring.toml).
    Start a guard on it with `lyewatch guard RIG --bench DIR`.
    """
    from simulator.boards.link import BenchServer, owner_only
    from simulator.live import LiveBench

    wiring, behind = _what_is_there(rig, temperature_c)
    ended: list[int] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda n, _: ended.append(n))
    made = LiveBench(wiring, clock, seed, temperature_c, behind)
    server = BenchServer(made, owner_only(folder), clock)
    first_in_line(PRIORITY - 10)  # where it is granted: hardware waits for nobody but, on one machine, the guard
    click.echo(f"{wiring.title}: running in {folder}")
    try:
        server.run(lambda: not ended)
    finally:
        server.close()


def _what_is_there(rig: str, temperature_c: float) -> tuple[Wiring, PlantBehind | None]:
    """The parts and their plant. Of a wiring file alone the plant is a boathouse's."""
    from simulator.boards.wiring import WiringError, read_wiring
    from simulator.plant.start import cold_start
    from simulator.rehearsal.rigs import find
    from simulator.rehearsal.world import allowed_a
    from simulator.whole import PlantBehind

    try:
        if rig.endswith(".wiring.toml"):
            return read_wiring(Path(rig)), None
        physical = find(rig)
    except (WiringError, RigFileError) as error:
        raise Problem(str(error), 2) from None
    if physical.note:
        click.echo(f"Note: {physical.note}.", err=True)
    plant = physical.parameters
    return physical.wiring, PlantBehind(plant, cold_start(plant, temperature_c), allowed_a(physical.rig))


def control(folder: Path, do: str, **given: Any) -> Any:
    """Ask the bench itself. Raises Problem."""
    from simulator.boards.client import control as ask

    try:
        return ask(folder, do, **given)
    except OSError as error:
        raise Problem(f"no bench answers in {folder} ({error.strerror}): start one with `lyewatch bench`") from None
    except ValueError as error:
        raise Problem(str(error), 2) from None


def _parts(name: str, kind: str, amount: float) -> tuple[tuple[str, str, float], ...]:
    """What the bench is asked: the demo's names stand for one of its own."""
    if name == GUARD_KILLED:
        raise Problem("a bench cannot kill the guard: kill its process, or try `lyewatch demo --fault guard-killed`", 2)
    return FAULTS[name].parts if name in FAULTS and not amount else ((name, kind, amount),)


def _list(known: dict[str, dict[str, str]], as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(known))
        return
    wide = max(map(len, known)) + 2
    click.echo("By name:")
    for part, kinds in known.items():
        if "" in kinds:
            click.echo(f"  {part:<{wide}}{kinds['']}")
    click.echo("By part and what befalls it:")
    for part, kinds in known.items():
        if "" not in kinds and not part.startswith("pin "):
            click.echo(f"  {part:<{wide}}{', '.join(kinds)}")


def _known(folder: Path, name: str) -> None:
    """Raises Problem where the bench has no such fault or part, with what was perhaps meant."""
    known = control(folder, "faults")
    if name not in known:
        near = get_close_matches(name, known, n=3)
        meant = f" Did you mean {' or '.join(near)}?" if near else ""
        raise Problem(f"nothing here is called {name!r}.{meant} All of them: lyewatch fault --list", 2)


@click.command(
    epilog=examples(
        "fault --list",
        "fault coolant-lost",
        "fault sensor-stuck cell_temperature",
        "fault cell_temperature drift 60",
        "fault --clear",
    )
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
    """Make something go wrong on a running bench: a fault by NAME (put on a part where it needs one), or a PART and
    what befalls it. The number is how much; without it, as much as is usual."""
    if listed:
        _list(control(folder, "faults"), as_json)
        return
    if name and name not in FAULTS:
        _known(folder, name)
    if clear:
        for part, _, _ in _parts(name or "", "", 0.0):
            control(folder, "clear", part=part)
    elif name:
        for part, what, much in _parts(name, kind or "", amount):
            control(folder, "fault", part=part, kind=what, amount=much)
    else:
        raise click.UsageError("name a fault; all of them: lyewatch fault --list")
    if as_json:
        click.echo(json.dumps({"ok": True}))
    else:
        click.echo("Well again." if clear else "It is broken now.")
