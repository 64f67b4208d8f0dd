"""`lyewatch watch` and `lyewatch status`: the rig on the terminal."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from controller.cli.problems import (
    RUN_DIR,
    STATE_DIR,
    Problem,
    examples,
    json_option,
    run_dir_option,
    to_the_guard,
)
from controller.cli.rigs import load
from controller.cli.screen import View, fitting, plain
from controller.cli.told import event_of
from controller.core.explain import explain_event
from controller.core.frame import NotAFrame, unpack
from controller.core.margins import Trend, follow
from controller.core.rig import Rig
from controller.guard.client import Client, NoGuard
from controller.record.wear import Wear, wear

DRAWN_EVERY_S = 0.5
HINT = "Make something go wrong: lyewatch fault coolant-lost   (all of them: lyewatch fault --list)   Ctrl-C ends"


def rig_of(status: dict[str, Any]) -> Rig:
    """The compiled rig that the guard runs with."""
    rig = load(status["rig_file"]).core
    if rig.rig_hash != status["rig_hash"]:
        raise Problem(f"{status['rig_file']} has changed since the guard started: restart the guard to use it")
    return rig


def newest_events(client: Client, after: int) -> list[dict[str, Any]]:
    events: list[dict[str, Any]] = []
    while some := client.events(after)["events"]:
        events += some
        after = some[-1]["number"]
    return events


class Watcher:
    """Follows one guard through two connections: frames come on one, questions go on the other."""

    def __init__(self, run_dir: Path, hint: str = "") -> None:
        self._run_dir, self._hint = run_dir, hint

    def views(self) -> Iterator[View]:
        """A view each half second, until the guard ends."""
        with to_the_guard(self._run_dir) as asking, to_the_guard(self._run_dir) as frames:
            status = asking.status()
            rig = rig_of(status)
            trend: Trend = ()
            events: list[dict[str, Any]] = []
            drawn_s = 0.0
            for data in frames.frames():
                try:
                    memory = unpack(rig, data).memory
                except NotAFrame as error:
                    raise Problem(f"the guard's frames cannot be read: {error}") from None
                trend = follow(rig, trend, memory)
                if memory.now_s - drawn_s < DRAWN_EVERY_S:
                    continue
                drawn_s = memory.now_s
                status = asking.status()
                if memory.events > (events[-1]["number"] if events else 0):
                    events = (events + newest_events(asking, events[-1]["number"] if events else 0))[-100:]
                yield View(rig, memory, trend, status, events, self._hint)


@click.command(epilog=examples("watch", "watch --plain", "watch | cat"))
@click.option(
    "--plain", "as_lines", is_flag=True, help="Lines instead of a screen: one for each event and each change."
)
@click.option("--seconds", type=click.FloatRange(min=0, min_open=True), help="End after so long.")
@run_dir_option
def watch(as_lines: bool, seconds: float | None, run_dir: Path) -> None:
    """The rig on this terminal: what it does, how far each limit is, what happened last."""
    show(run_dir, as_lines or not sys.stdout.isatty(), seconds)


def show(run_dir: Path, as_lines: bool, seconds: float | None = None, hint: str = "") -> None:
    """Until Ctrl-C, the end of the guard, or so many seconds. hint: stands under a simulated rig."""
    until_s = time.monotonic() + seconds if seconds is not None else float("inf")
    try:
        if as_lines:
            _lines(run_dir, until_s)
        else:
            _screen(run_dir, until_s, hint or HINT)
    except KeyboardInterrupt:
        return
    except NoGuard as error:
        raise Problem(str(error)) from None


def _screen(run_dir: Path, until_s: float, hint: str) -> None:
    from rich.live import Live

    with Live(auto_refresh=False, screen=True) as live:
        for view in Watcher(run_dir, hint if _simulated(run_dir) else "").views():
            live.update(fitting(view, live.console), refresh=True)
            if time.monotonic() >= until_s:
                return
    raise Problem("the guard has ended")


def _simulated(run_dir: Path) -> bool:
    with to_the_guard(run_dir) as client:
        return bool(client.status()["simulated"])


def _lines(run_dir: Path, until_s: float) -> None:
    last = 0
    said = ""
    for view in Watcher(run_dir).views():
        for told in view.events:
            if told["number"] > last:
                last = told["number"]
                clock = time.strftime("%H:%M:%S", time.localtime(told["time_s"]))
                click.echo(f"{clock}  {explain_event(view.rig, event_of(told))}")
        state = view.memory.sequence.state.name
        if state != said:
            said = state
            click.echo(plain(view)[0])
        sys.stdout.flush()
        if time.monotonic() >= until_s:
            return
    raise Problem("the guard has ended")


def _card(run_dir: Path) -> Wear | None:
    """What the card has been written on which guard and record are; of a bench, the disk of its folder."""
    folder = STATE_DIR if run_dir == RUN_DIR else run_dir
    return wear(folder, time.clock_gettime(time.CLOCK_BOOTTIME))


@click.command(epilog=examples("status", "status --json"))
@run_dir_option
@json_option
def status(run_dir: Path, as_json: bool) -> None:
    """What the rig does, whether it may be left alone, and every signal. Ends with 1 while a trip stands."""
    if as_json:
        with to_the_guard(run_dir) as client:
            found = client.status()
        worn = _card(run_dir)
        card = worn and {**worn._asdict(), "bytes_a_day": worn.bytes_a_day}
        click.echo(json.dumps(found | {"card": card}, indent=2))
        tripped = bool(found["causes"])
    else:
        view = next(Watcher(run_dir).views())
        click.echo("\n".join(plain(view)))
        if worn := _card(run_dir):
            click.echo(f"Card: {worn.sentence}")
        tripped = bool(view.memory.latch.causes)
    if tripped:
        raise click.exceptions.Exit(1)
