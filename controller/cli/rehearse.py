"""`lyewatch rehearse`, `study`, `campaign`: what a rig does when things go wrong, before they do."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from controller.cli.problems import Problem, examples

if TYPE_CHECKING:
    from rich.console import Console

    from simulator.rehearsal.runner import Record
    from simulator.rehearsal.stock import Line
    from simulator.rehearsal.world import Physical

TABLE_WIDTH = 150  # where nobody's terminal sets it
json_flag = click.option("--json", "as_json", is_flag=True, help="For a program.")
report_option = click.option(
    "--report", type=click.Path(path_type=Path, dir_okay=False), help="Write one HTML page, complete in itself."
)
workers_option = click.option("--workers", type=click.IntRange(1), help="Processes; as many as cores unless given.")


def cores() -> int:
    return len(os.sched_getaffinity(0))


def find_rig(rig: str) -> Physical:
    """Raises Problem with everything that is wrong."""
    from controller.config.problems import RigFileError
    from simulator.boards.wiring import WiringError
    from simulator.rehearsal.rigs import find

    try:
        return find(rig)
    except (RigFileError, WiringError) as error:
        raise Problem(str(error), 2) from None


@click.command(
    epilog=examples("rehearse --all boathouse", "rehearse my-fault.toml --plot pictures", "rehearse --stock boathouse")
)
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--all", "all_on", metavar="RIG", help="Every fault of the library, on this rig.")
@click.option("--stock", metavar="RIG", help="The scenarios that come with the program, on this rig.")
@click.option("--rig", help="Play the files on this rig, whatever they say.")
@click.option("--drivers", is_flag=True, help="Through the real drivers and emulated chips, five times slower.")
@click.option("--plot", type=click.Path(path_type=Path, file_okay=False), help="Draw each timeline into this folder.")
@report_option
@workers_option
@json_flag
def rehearse(
    files: tuple[Path, ...],
    all_on: str | None,
    stock: str | None,
    rig: str | None,
    drivers: bool,
    plot: Path | None,
    report: Path | None,
    workers: int | None,
    as_json: bool,
) -> None:
    """Play faults on a rig and judge what its guard does: a virtual clock, the real decisions, a simulated cell.

    Answers 0 when all went as it should, 1 when something did not, 2 when a file cannot be played.
    """
    from simulator.rehearsal.world import Level

    level = Level.DRIVERS if drivers else Level.SIGNALS
    if all_on is not None:
        if files or stock:
            raise click.UsageError("--all plays the whole library: give no files with it")
        _rehearse_all(all_on, level, workers or cores(), report, as_json)
        return
    if stock is not None:
        from simulator.rehearsal.scenario import shipped

        files, rig = files + shipped(), stock
    if not files:
        raise click.UsageError("name scenario files, or --all RIG for every fault of the library")
    _rehearse_files(files, rig, level, plot, report, as_json, only_fitting=stock is not None)


def _rehearse_files(
    files: tuple[Path, ...], rig: str | None, level: Any, plot: Path | None, report: Path | None, as_json: bool,
    only_fitting: bool,
) -> None:  # fmt: skip
    from simulator.rehearsal.judge import as_dict, failures, verdict
    from simulator.rehearsal.runner import play
    from simulator.rehearsal.scenario import ScenarioError, read_scenario
    from simulator.rehearsal.world import CannotStart

    scenarios = []
    wrong: list[str] = []
    for path in files:
        try:
            scenarios.append((path, read_scenario(path)))
        except ScenarioError as error:
            wrong.append(str(error))
    if wrong:
        raise Problem("\n".join(wrong), 2)
    total_s = sum(scenario.duration_s for _, scenario in scenarios)
    results: list[dict[str, Any]] = []
    records: list[tuple[Record, list[str]]] = []
    with bar(total_s, quiet=as_json) as (move, _):
        for path, scenario in scenarios:
            own = scenario.rig if scenario.rig != "any" else None
            if only_fitting and own is not None and own != rig:
                move(scenario.duration_s)
                continue
            beside = path.parent / own if own is not None and (path.parent / own).is_file() else own
            physical = find_rig(str(rig or beside or "boathouse"))
            every_s = 1.0 if plot or report else None
            try:
                record = play(scenario, physical, level, every_s=every_s, progress=move)
            except (CannotStart, ValueError) as error:
                raise Problem(f"{path.name} cannot be played on {physical.rig.core.name}: {error}", 2) from None
            failed = failures(record)
            results.append(as_dict(record, failed))
            if not as_json:
                click.echo(verdict(record, failed))
            if plot:
                _draw(record, plot / f"{path.stem}.png")
            if report:
                records.append((record, failed))
    if as_json:
        click.echo(json.dumps(results, indent=2))
    if report:
        from simulator.rehearsal.report import of_rehearsals

        report.write_text(of_rehearsals(records), encoding="utf-8")
    failed_count = sum(not r["passed"] for r in results)
    if not as_json and len(results) > 1:
        click.echo(f"{len(results) - failed_count} of {len(results)} went as they should")
    if failed_count:
        raise SystemExit(1)


def _draw(record: Record, path: Path) -> None:
    try:
        from simulator.rehearsal.plot import save
    except ImportError:
        raise Problem("pictures need matplotlib: pip install matplotlib", 2) from None
    save(record, path)


def _rehearse_all(rig: str, level: Any, workers: int, report: Path | None, as_json: bool) -> None:
    from simulator.rehearsal.agrees import disagreements
    from simulator.rehearsal.stock import Fate, cases, play_all, sorted_lines

    physical = find_rig(rig)
    if wrong := disagreements(physical):
        each = "\n".join(f"  - {words}" for words in wrong)
        raise Problem(f"the rig file does not say what is on its bench, and nothing was rehearsed:\n{each}", 1)
    lines: list[Line] = []
    with bar(len(cases(physical)), quiet=as_json) as (move, _):
        for line in play_all(rig, physical, level, workers):
            lines.append(line)
            move(1.0)
    lines = sorted_lines(lines)
    if as_json:
        click.echo(json.dumps([line._asdict() | {"fate": line.fate.value} for line in lines], indent=2))
    else:
        _table(lines, physical)
    if report:
        from simulator.rehearsal.report import of_stock

        report.write_text(of_stock(lines, physical), encoding="utf-8")
    alone = {line.name for line in cases(physical) if not line.two}
    if any(line.fate in (Fate.NOT_CAUGHT, Fate.LATE, Fate.NEEDLESS) and line.name in alone for line in lines):
        raise SystemExit(1)


def _table(lines: list[Line], physical: Physical) -> None:
    from rich.table import Table

    from simulator.rehearsal.stock import Fate, cases

    two = {case.name for case in cases(physical) if case.two}
    console = wide()
    if physical.note:
        console.print(f"Note: {physical.note}.", style="yellow")
    colours = {Fate.NOT_CAUGHT: "bold red", Fate.LATE: "red", Fate.HARD_WIRED: "yellow", Fate.NEEDLESS: "yellow"}
    for title, chosen in (
        ("One thing goes wrong", [x for x in lines if x.name not in two]),
        ("Something hidden, and then the fault that needs it", [x for x in lines if x.name in two]),
    ):
        table = Table(title=f"{title} on {physical.rig.file.title}", title_justify="left", header_style="bold")
        for name in ("what goes wrong", "outcome", "by", "after", "what would help"):
            table.add_column(name, overflow="fold")
        for line in chosen:
            after = "" if line.off_s is None else f"{line.off_s:.1f} s"
            by = line.by if line.fate not in (Fate.NOT_CAUGHT, Fate.LATE) else f"{line.by or 'nothing'}; {line.harm}"
            help_ = line.remedy if line.fate in (Fate.NOT_CAUGHT, Fate.LATE) else line.note
            style = colours.get(line.fate, "")
            table.add_row(line.title, f"[{style}]{line.fate.value}[/]" if style else line.fate.value, by, after, help_)
        console.print(table)
    counted = {fate: sum(line.fate is fate for line in lines) for fate in Fate}
    console.print(", ".join(f"{count} {fate.value}" for fate, count in counted.items() if count))


def wide() -> Console:
    """The terminal as wide as it is; a file or a pipe wide enough for a table."""
    from rich.console import Console

    console = Console()
    return console if console.is_terminal else Console(width=TABLE_WIDTH)


class bar:  # noqa: N801 - used like a function
    """A progress bar that knows how long it has and stays away where nobody looks."""

    def __init__(self, total: float, quiet: bool) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        console = Console(stderr=True)
        self._progress = Progress(
            TextColumn("rehearsing"), BarColumn(), TimeRemainingColumn(), console=console, transient=True,
            disable=quiet or not console.is_terminal,
        )  # fmt: skip
        self._task = self._progress.add_task("", total=total)

    def __enter__(self) -> tuple[Any, Any]:
        self._progress.start()
        return (lambda amount: self._progress.advance(self._task, amount)), self._progress

    def __exit__(self, *_: object) -> None:
        self._progress.stop()


@click.command(epilog=examples("study boathouse", "study my-rig.toml --plot study.png --report study.html"))
@click.argument("rig")
@click.option("--plot", type=click.Path(path_type=Path, dir_okay=False), help="Draw it into this file.")
@report_option
@json_flag
def study(rig: str, plot: Path | None, report: Path | None, as_json: bool) -> None:
    """Is each limit fast enough for its hazard? Worked out from the rig file and the simulated cell.

    For each harm the fastest faults are played without protection; two whole responses of a limit must fit between it
    and the harm. Answers 1 when one is too slow, or a harm is watched by nothing.
    """
    from simulator.rehearsal import study as made_by
    from simulator.rehearsal.harm import HARMS

    physical = find_rig(rig)
    with bar(sum(len(harm.faults) for harm in HARMS), quiet=as_json) as (move, _):
        made = made_by.study(physical, move)
    if as_json:
        plain = {"rows": [r._asdict() for r in made.rows], "tight": [t._asdict() for t in made.tight],
                 "useless": made.useless, "note": made.note}  # fmt: skip
        click.echo(json.dumps(plain, indent=2))
    else:
        _study_table(made, physical)
    if plot:
        try:
            made_by.picture(made).savefig(plot, dpi=130)
        except ImportError:
            raise Problem("pictures need matplotlib: pip install matplotlib", 2) from None
    if report:
        from simulator.rehearsal.report import of_study

        report.write_text(of_study(made, physical), encoding="utf-8")
    if any(row.verdict.isupper() for row in made.rows):
        raise SystemExit(1)


def _study_table(made: Any, physical: Physical) -> None:
    from rich.table import Table

    from simulator.rehearsal.study import GOOD, READ_AS, faults_in_words, worst_first

    console = wide()
    table = Table(title=f"Limits of {physical.rig.file.title} against harm", title_justify="left", header_style="bold")
    for name in ("limit", "verdict", "fault", "harm", "limit after", "harm after", "response", "fits", "proposal"):
        table.add_column(name, overflow="fold")
    colours = {GOOD: "green"}
    for row in worst_first(made.rows):
        style = "bold red" if row.verdict.isupper() else colours.get(row.verdict, "")
        shown = f"[{style}]{row.verdict}[/]" if style else row.verdict
        ratio = "" if row.ratio is None else f"{row.ratio:.1f} x"
        times = ["" if s is None else f"{s:.1f} s" for s in (row.limit_s, row.harm_s, row.response_s)]
        table.add_row(row.limit, shown, faults_in_words(row.fault), row.harm, *times, ratio, row.proposal)
    console.print(table)
    console.print(READ_AS)
    for tight in made.tight:
        console.print(
            f"{tight.limit}: {tight.verdict}; the sensor's error of {tight.error:g} takes {tight.share:.0%} of the way "
            f"from normal ({tight.normal:g}) to the limit ({tight.threshold:g})"
        )
    if made.useless:
        console.print(f"Never reached in any of these faults: {', '.join(made.useless)}")
    if made.note:
        console.print(f"Note: {made.note}.")


@click.command(
    epilog=examples("campaign boathouse --count 500 --into run1", "campaign boathouse --into run1   (goes on)")
)
@click.argument("rig")
@click.option("--count", type=click.IntRange(2, 1_000_000), default=200, show_default=True, help="Rehearsals.")
@click.option("--seed", type=int, default=1, show_default=True)
@click.option("--sobol", is_flag=True, help="A Sobol sequence instead of a Latin hypercube.")
@click.option("--fault", "faults", multiple=True, help="Draw only from these faults.")
@click.option(
    "--into", type=click.Path(path_type=Path, file_okay=False), required=True, help="Folder; resumes what is there."
)
@click.option("--drivers", is_flag=True, help="Through the real drivers and emulated chips.")
@click.option("--dask", default="", metavar="ADDRESS", help="A Dask scheduler instead of own processes.")
@workers_option
@report_option
@json_flag
def campaign(
    rig: str,
    count: int,
    seed: int,
    sobol: bool,
    faults: tuple[str, ...],
    into: Path,
    drivers: bool,
    dask: str,
    workers: int | None,
    report: Path | None,
    as_json: bool,
) -> None:
    """Many rehearsals drawn from distributions: fault, size, onset, load, weather, sensor error, wear.

    Results go into a folder, as they come; the worst of each kind are written there as scenario files. Answers 1 when a
    fault was missed or caught late, or a trip was needless.
    """
    try:
        from simulator.rehearsal import campaign as made_by
    except ImportError:
        raise Problem("a campaign needs scipy: pip install scipy", 2) from None
    from simulator.faults.library import fault_kind

    physical = find_rig(rig)
    try:
        chosen = tuple(fault_kind(name).name for name in faults) or made_by.faults_for(physical)
        plan = made_by.Plan(rig, count, seed, "sobol" if sobol else "latin", chosen, drivers)
        with bar(count, quiet=as_json) as (move, _):
            outcomes = made_by.play_campaign(plan, into, workers or cores(), dask, move)
    except ValueError as error:
        raise Problem(str(error), 2) from None
    except ImportError as error:
        raise Problem(f"{error.name} is missing: pip install {error.name}", 2) from None
    made = made_by.summary(outcomes)
    table = made_by.write_table(outcomes, into)
    worst = into / "worst"
    worst.mkdir(exist_ok=True)
    for number in made_by.worst(made):
        text = made_by.as_toml(made_by.scenario_of(plan, number, physical))
        (worst / f"number-{number:06d}.toml").write_text(text, encoding="utf-8")
    if report:
        from simulator.rehearsal.report import of_campaign

        report.write_text(of_campaign(plan, outcomes, physical), encoding="utf-8")
    if as_json:
        plain = {"counts": made.counts, "smallest_margin": made.smallest_margin, "table": str(table)}
        click.echo(json.dumps(plain, indent=2))
    else:
        click.echo(", ".join(f"{n} {fate}" for fate, n in sorted(made.counts.items())))
        for harm, (margin, number) in sorted(made.smallest_margin.items(), key=lambda x: x[1]):
            click.echo(f"  smallest margin to {harm!r}: {margin:.0%} of the way left, in number {number}")
        click.echo(f"{table}; the worst as scenarios in {worst}")
    if made.missed or made.late or made.needless:
        raise SystemExit(1)
