"""`lyewatch link`: carries telemetry to the broker and commands back."""

from __future__ import annotations

import json
import signal
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.broker import broker_options
from controller.cli.problems import RUN_DIR, STATE_DIR, Problem, examples, run_dir_option

if TYPE_CHECKING:
    from controller.link.broker import Address


@click.command(
    context_settings={"auto_envvar_prefix": "LYEWATCH_LINK"},
    epilog=examples("link /etc/lyewatch/boathouse.toml --broker 192.168.1.20", "link boathouse --bench /tmp/bench"),
)
@click.argument("rig")
@broker_options
@click.option(
    "--state-dir",
    type=click.Path(path_type=Path, file_okay=False),
    envvar=["LYEWATCH_LINK_STATE_DIR", "STATE_DIRECTORY"],
    help="Folder of the record. Without it the record is in memory and ends with the link.",
)
@click.option(
    "--guard-state-dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=STATE_DIR,
    show_default=True,
    help="The guard's folder, for its incidents and the keys enrolled.",
)
@click.option("--interface", is_flag=True, help="Print the interface as an AsyncAPI 3 document, and end.")
@click.option("--bench", type=click.Path(path_type=Path), help="Folder of a running bench.")
@run_dir_option
def link(
    rig: str,
    address: Address,
    state_dir: Path | None,
    guard_state_dir: Path,
    interface: bool,
    bench: Path | None,
    run_dir: Path,
) -> None:
    """Tell the broker what the guard of RIG does, and pass on what is asked of it. Decides nothing.

    RIG is the rig file that the guard runs with. Without a broker, or without a guard, it waits for them.
    """
    from controller.cli.rigs import load, load_for
    from controller.link.process import Places, run
    from controller.record.schema import WrongDatabase

    if interface:
        from controller.link.interface import document

        click.echo(json.dumps(document(load(rig).core), indent=2, ensure_ascii=False))
        return
    if bench is not None:  # a bench never shares folders with a rig
        run_dir = bench if run_dir == RUN_DIR else run_dir
        guard_state_dir = bench / "state" if guard_state_dir == STATE_DIR else guard_state_dir
        state_dir = state_dir or bench / "link"
    ended = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    if state_dir is None:
        click.echo("lyewatch link: no --state-dir: the record is in memory and ends with this process", err=True)
    core = load_for(rig, bench).core
    try:
        run(core, Places.beside(run_dir, guard_state_dir, state_dir), address, ended.wait)
    except (WrongDatabase, OSError) as error:
        raise Problem(str(error)) from None
