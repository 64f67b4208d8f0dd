"""`lyewatch log`: what people do and measure at the rig, written down and shown; and the record as a table.

The link alone writes the record. A line is dropped beside it as a file, which the link takes in, now or when it runs
again: so writing never fails for want of a link, and nothing is lost.
"""

from __future__ import annotations

import json
import re
import time
import uuid
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from controller.cli.problems import Problem, examples, json_option, login

if TYPE_CHECKING:
    from controller.record.history import History, LogLine
    from controller.record.logbook import Entry

LINK_STATE_DIR = Path("/var/lib/lyewatch-link")
RECORD = "record.db"
SHOWN = 20
_AMOUNT = re.compile(r"^([0-9]+(?:[.,][0-9]+)?)\s*([A-Za-z%/]*)$")

state_option = click.option(
    "--state-dir",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="LYEWATCH_LINK_STATE_DIR",
    default=LINK_STATE_DIR,
    show_default=True,
    help="The link's folder, where the record is.",
)


@click.command(
    epilog=examples(
        "log",
        "log topped-up 250 mL --side hydrogen",
        "log density-read 1.27 --who Ada",
        "log gas-collected 0.52 --text '500 mL in 58 s'",
        "log note 'seal refilled' --when '2026-05-01 14:30'",
    )
)
@click.argument("kind", required=False)
@click.argument("rest", nargs=-1)
@click.option("--side", type=click.Choice(["hydrogen", "oxygen", "both"]), help="Which side of the cell.")
@click.option("--who", default="", help="Who did it; by default whoever is logged in.")
@click.option("--when", default="", help="When, by the clock on the wall: '2026-05-01 14:30'; by default now.")
@click.option("--text", default="", help="Anything to add.")
@click.option("--number", "shown", default=SHOWN, show_default=True, type=click.IntRange(1), help="Lines to show.")
@state_option
@json_option
def log(
    kind: str | None,
    rest: tuple[str, ...],
    side: str | None,
    who: str,
    when: str,
    text: str,
    shown: int,
    state_dir: Path,
    as_json: bool,
) -> None:
    """Write a line into the logbook, or show the newest.

    KIND is topped-up, density-read, lye-changed, gasket, separator, additive, gas-collected, cleaned or note. A number
    with its unit may follow, then words.
    """
    from controller.record import spool

    if kind is None:
        _show(state_dir, shown, as_json)
        return
    entry = _entry(kind, rest, side or "", who, when, text)
    try:
        spool.drop(state_dir / spool.FOLDER, entry)
    except OSError as error:
        raise Problem(
            f"{state_dir / spool.FOLDER}: {error.strerror}; give the link's folder with --state-dir"
        ) from None
    line = _sentence(entry.kind, entry.number, entry.unit, entry.side, entry.text)
    click.echo(json.dumps({"id": entry.id, "line": line}) if as_json else f"Written down: {line}")


def _entry(kind: str, rest: tuple[str, ...], side: str, who: str, when: str, text: str) -> Entry:
    from controller.guard.realtime import clock_synchronised
    from controller.link.clock import machine_boot
    from controller.record.logbook import KINDS, Entry, WrongEntry

    name = kind.replace("-", " ")
    known = KINDS.get(name)
    if known is None:
        raise Problem(f"no kind {kind!r}; known: {', '.join(k.replace(' ', '-') for k in KINDS)}", 2)
    number, unit, words = _amount(rest, known.units) if known.units else (None, "", " ".join(rest))
    try:
        return Entry(
            id=uuid.uuid4().hex,
            kind=name,
            who=who or login(),
            number=number,
            unit=unit,
            side=side,
            text=" ".join(part for part in (words, text) if part),
            time_s=_moment(when) if when else None,
            machine_boot=machine_boot(),
            mono_s=time.clock_gettime(time.CLOCK_BOOTTIME),
            wall_s=time.time(),
            synchronised=clock_synchronised(),
        )
    except WrongEntry as error:
        raise Problem(str(error), 2) from None


def _amount(rest: tuple[str, ...], units: tuple[str, ...]) -> tuple[float | None, str, str]:
    """A number, its unit (the usual one where none is given), and the words after them."""
    found = _AMOUNT.match(rest[0]) if rest else None
    if found is None:
        return None, "", " ".join(rest)
    number, unit, words = float(found[1].replace(",", ".")), found[2], list(rest[1:])
    by_lower = {u.lower(): u for u in units}
    if not unit and words and words[0].lower() in by_lower:
        unit = words.pop(0)
    return number, by_lower.get(unit.lower(), unit) if unit else units[0], " ".join(words)


def _moment(when: str) -> float:
    try:
        moment = datetime.fromisoformat(when)
    except ValueError:
        raise Problem(f"{when!r} is not a time; write it like '2026-05-01 14:30'", 2) from None
    if moment.timestamp() > time.time() + 60.0:
        raise Problem(f"{when!r} lies ahead", 2)
    return moment.timestamp()


def _sentence(kind: str, number: float | None, unit: str, side: str, text: str) -> str:
    parts = [kind]
    if number is not None:
        parts.append(f"{number:g} {unit}".strip())
    if side:
        parts.append("both sides" if side == "both" else f"{side} side")
    return ", ".join(parts) + (f": {text}" if text else "")


def _waiting(state_dir: Path) -> list[Entry]:
    """Lines that the link has not taken in yet."""
    from controller.record import spool
    from controller.record.logbook import WrongEntry

    return [e for _, e in spool.waiting(state_dir / spool.FOLDER) if not isinstance(e, WrongEntry)]


def asking(state_dir: Path, question: Callable[[History], Any]) -> Any:
    """An answer from the record. Raises Problem."""
    import sqlite3

    from controller.record.history import History
    from controller.record.lending import Busy, borrow
    from controller.record.schema import WrongDatabase

    try:
        with History(borrow(state_dir / RECORD, time.monotonic, time.sleep)) as history:
            return question(history)
    except FileNotFoundError:
        raise Problem(f"no record in {state_dir} yet; name the link's folder with --state-dir") from None
    except (Busy, WrongDatabase, sqlite3.Error) as error:
        raise Problem(f"the record cannot be read: {error}") from None


class Shown(NamedTuple):
    """One line as it is shown; the names are those of the JSON."""

    time_s: float
    clock_synchronised: bool
    kind: str
    who: str
    number: float | None
    unit: str
    side: str
    text: str
    stored: bool


def _show(state_dir: Path, shown: int, as_json: bool) -> None:
    waiting = _waiting(state_dir)
    lines: list[LogLine] = (
        []
        if not (state_dir / RECORD).exists() and waiting
        else asking(state_dir, lambda history: history.logbook(limit=shown))
    )
    rows = [
        Shown(
            e.time_s or e.wall_s,
            bool(e.time_s) or e.synchronised,
            e.kind,
            e.who,
            e.number,
            e.unit,
            e.side,
            e.text,
            False,
        )
        for e in waiting
    ]
    rows += [Shown(x.time_s, x.synchronised, x.kind, x.who, x.amount, x.unit, x.side, x.text, True) for x in lines]
    rows = sorted(rows, key=lambda row: row.time_s, reverse=True)[:shown]
    if as_json:
        click.echo(json.dumps([row._asdict() for row in rows], indent=2))
        return
    if not rows:
        click.echo("Nothing is written down yet. For example: lyewatch log topped-up 250 mL --side hydrogen")
    for row in reversed(rows):
        when = datetime.fromtimestamp(row.time_s).strftime("%Y-%m-%d %H:%M")
        doubt = "" if row.clock_synchronised else " (?)"
        line = _sentence(row.kind, row.number, row.unit, row.side, row.text)
        later = "" if row.stored else "  [not taken in yet: the link does not run]"
        click.echo(f"{when}{doubt}  {row.who:<10} {line}{later}")


@click.command(epilog=examples("export day.csv --since 2026-05-01", "export run.parquet --signals current,voltage"))
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--since", default="", help="From when, by the clock on the wall; by default the last 24 hours.")
@click.option("--until", default="", help="To when; by default now.")
@click.option("--signals", default="", help="Names with commas between; by default all.")
@click.option("--every", default=10.0, show_default=True, type=click.FloatRange(min=0.1), help="Seconds between rows.")
@state_option
def export(file: Path, since: str, until: str, signals: str, every: float, state_dir: Path) -> None:
    """Write the record as a table: FILE.csv, or FILE.parquet. One column for each signal, its unit in the heading."""
    from controller.record import export as tables

    if file.suffix not in (".csv", ".parquet"):
        raise Problem(f"{file}: give a name that ends in .csv or .parquet", 2)
    to_s = _moment(until) if until else time.time()
    from_s = _moment(since) if since else to_s - 86400.0
    if from_s >= to_s:
        raise Problem("--since is not before --until", 2)
    names = [name.strip() for name in signals.split(",") if name.strip()]

    def write(history: History) -> int:
        try:
            wanted = tables.columns(history, names)
        except KeyError as error:
            raise Problem(str(error.args[0]), 2) from None
        table = tables.parts(history, wanted, from_s, to_s, every)
        if file.suffix == ".parquet":
            return tables.to_parquet(file, wanted, table)
        with open(file, "w", newline="", encoding="utf-8") as out:
            return tables.to_csv(out, wanted, table)

    try:
        rows = asking(state_dir, write)
    except ImportError:
        raise Problem(
            "Parquet needs pyarrow: pip install 'lyewatch[export]', or give a name that ends in .csv"
        ) from None
    except OSError as error:
        raise Problem(f"{file}: {error.strerror}") from None
    click.echo(f"{rows} rows in {file}")
