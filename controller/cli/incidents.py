"""`lyewatch incidents` and `lyewatch replay`: the full-rate record around a trip, told, drawn, exported,
decided again."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.problems import STATE_DIR, Problem, examples

if TYPE_CHECKING:
    from controller.config.load import CompiledRig
    from controller.guard.incidents import Incident

json_flag = click.option("--json", "as_json", is_flag=True, help="For a program.")
dir_option = click.option(
    "--dir",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="LYEWATCH_INCIDENTS",
    default=STATE_DIR / "incidents",
    show_default=True,
    help="Folder of the incidents.",
)
rig_option = click.option("--rig", help="Rig file that the guard ran with; else the one the incident names.")


def _path(name: str, folder: Path) -> Path:
    from controller.guard.incidents import SUFFIX

    path = Path(name)
    if path.exists():
        return path
    found = sorted(folder.glob(f"*{name}*{SUFFIX}"))
    if name == "last":
        found = sorted(folder.glob(f"*{SUFFIX}"))[-1:]
    if len(found) == 1:
        return found[0]
    if not found:
        raise Problem(f"no incident {name!r} in {folder}: see lyewatch incidents", 2)
    raise Problem(f"{name!r} is one of {', '.join(p.stem for p in found)}: say which", 2)


def _read(path: Path) -> Incident:
    from simulator.rehearsal.replay import Unreadable, read_incident

    try:
        return read_incident(path)
    except Unreadable as error:
        raise Problem(str(error), 2) from None


def _day(incident: Incident) -> date:
    """The day of the record: proof tests were judged by it."""
    from simulator.rehearsal.replay import times_of

    return datetime.fromtimestamp(times_of(incident)[0][1], UTC).date()


def _compile(incident: Incident, rig: str | None, change: dict[str, object] | None = None) -> CompiledRig:
    from controller.config.load import load
    from controller.config.problems import RigFileError
    from controller.config.rigs import names, shipped

    header = incident.header
    named = str(header.get("rig_file", ""))
    chosen = rig or (named if named and Path(named).exists() else header["rig"])
    if not rig and chosen not in names() and not Path(chosen).exists():
        raise Problem(f"the incident was made with {named or 'a rig file'} that is not here: give it with --rig", 2)
    try:
        return load(shipped(chosen), _day(incident), change)
    except RigFileError as error:
        raise Problem(str(error), 2) from None


@click.command(
    epilog=examples("incidents", "incidents last", "incidents last --plot trip.png", "incidents last --csv t.csv")
)
@click.argument("name", required=False)
@click.option("--plot", type=click.Path(path_type=Path, dir_okay=False), help="Draw it into this file.")
@click.option("--csv", "csv_file", type=click.Path(path_type=Path, dir_okay=False), help="One row a scan.")
@click.option("--parquet", type=click.Path(path_type=Path, dir_okay=False), help="The same as Parquet.")
@dir_option
@rig_option
@json_flag
def incidents(
    name: str | None,
    plot: Path | None,
    csv_file: Path | None,
    parquet: Path | None,
    folder: Path,
    rig: str | None,
    as_json: bool,
) -> None:
    """What happened around each trip: ten minutes before and two after, every scan of it.

    Without NAME, all of them; with the NAME of one (or part of it, or `last`), its story and why.
    """
    from simulator.rehearsal import shown
    from simulator.rehearsal.replay import Unreadable, frames_of

    if name is None:
        found = shown.listed(folder)
        if as_json:
            click.echo(json.dumps([line._asdict() for line in found], indent=2))
        elif not found:
            click.echo(f"No incidents in {folder}.")
        for line in found if not as_json else ():
            rest = line.trouble or f"{line.when} UTC  {line.rig}  {', '.join(line.causes)}"
            cut = "" if line.complete or line.trouble else "  (cut short)"
            click.echo(f"{line.name}  {line.seconds:6.0f} s  {line.kilobytes:5d} kB  {rest}{cut}")
        return
    incident = _read(_path(name, folder))
    compiled = _compile(incident, rig)
    try:
        frames = frames_of(compiled.core, incident)
    except Unreadable as error:
        raise Problem(str(error), 2) from None
    if not frames:
        raise Problem("this incident holds no frames", 1)
    if csv_file:
        csv_file.write_text(shown.as_csv(compiled.core, incident, frames), encoding="utf-8")
    if parquet:
        try:
            shown.write_parquet(compiled.core, incident, frames, parquet)
        except ImportError:
            raise Problem("Parquet needs pyarrow: pip install pyarrow", 2) from None
    if plot:
        try:
            shown.picture(compiled.core, incident, frames).savefig(plot, dpi=130)
        except ImportError:
            raise Problem("pictures need matplotlib: pip install matplotlib", 2) from None
    lines = shown.story(compiled.core, incident, frames)
    click.echo(json.dumps(incident.header | {"story": lines}, indent=2) if as_json else "\n".join(lines))


@click.command(epilog=examples("replay last", """replay trip.incident --set 'limits."coolant flow low".delay_s=5'"""))
@click.argument("file")
@click.option("--set", "changes", multiple=True, metavar="KEY=VALUE", help="A setting of the rig file to decide with.")
@dir_option
@rig_option
@json_flag
def replay(file: str, changes: tuple[str, ...], folder: Path, rig: str | None, as_json: bool) -> None:
    """Decide an incident again: identical, scan by scan, or with other settings.

    FILE is an incident file, or part of its name. Answers 0 when every decision is the same (or when a changed rig was
    asked for), 1 when one differs: the first scan and what differs.
    """
    from simulator.rehearsal.replay import NOT_IN_A_RECORDING, Unreadable, frames_of, replay_changed, settings
    from simulator.rehearsal.replay import replay as decide

    incident = _read(_path(file, folder))
    compiled = _compile(incident, rig)
    try:
        frames = frames_of(compiled.core, incident)
        if changes:
            changed = _compile(incident, rig, settings(changes))
            answer = replay_changed(compiled.core, changed.core, frames)
            if as_json:
                click.echo(json.dumps(answer._asdict() | {"note": NOT_IN_A_RECORDING}, indent=2))
            else:
                click.echo(answer.sentence)
                click.echo(NOT_IN_A_RECORDING)
            return
        result = decide(compiled.core, frames)
    except (Unreadable, ValueError) as error:
        raise Problem(str(error), 2) from None
    found = result.difference
    if as_json:
        plain = {"scans": result.scans, "gaps": result.gaps, "same": found is None}
        click.echo(json.dumps(plain | ({} if found is None else {"difference": found._asdict()}), indent=2))
    elif found is None:
        click.echo(
            f"{result.scans} scans decided again, all the same" + (f"; {result.gaps} gaps" if result.gaps else "")
        )
    else:
        click.echo(f"scan {found.scan} differs: {found.what}")
    if found is not None:
        raise SystemExit(1)
