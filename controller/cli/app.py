"""All commands in one table, loaded when asked for, and the one place where errors become sentences.

Exit codes: 0 good, 1 the answer is no, 2 the input is wrong, 3 a mistake of the program itself.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import NamedTuple

import click

from controller.cli.problems import Problem


class Entry(NamedTuple):
    name: str
    where: str  # module:attribute
    short: str
    section: str


EVERY_DAY = "Every day"
BEFORE = "Before the first run"
FAULTS = "Trying out and finding faults"
SUMS = "Sums by hand"
PROCESSES = "Processes, started by the system"

TABLE: tuple[Entry, ...] = (
    Entry("watch", "controller.cli.watch:watch", "The rig on this terminal: state, margins, events.", EVERY_DAY),
    Entry("status", "controller.cli.watch:status", "The same once, in sentences; --json for programs.", EVERY_DAY),
    Entry("start", "controller.cli.orders:start", "Start a run that ends after litres, hours or at a time.", EVERY_DAY),
    Entry("stop", "controller.cli.orders:stop", "Stop now.", EVERY_DAY),
    Entry("reset", "controller.cli.orders:reset", "Leave a trip whose cause is gone.", EVERY_DAY),
    Entry("acknowledge", "controller.cli.orders:acknowledge", "Silence the horn: somebody has heard it.", EVERY_DAY),
    Entry("present", "controller.cli.orders:present", "Somebody is at the bench.", EVERY_DAY),
    Entry("confirm", "controller.cli.orders:confirm", "Answer the card before an unattended start.", EVERY_DAY),
    Entry("enable", "controller.cli.orders:enable", "Let plan and phone start it, for some hours.", EVERY_DAY),
    Entry("disable", "controller.cli.orders:disable", "Take that back.", EVERY_DAY),
    Entry("current", "controller.cli.orders:current", "Set the current of a run.", EVERY_DAY),
    Entry("topped-up", "controller.cli.orders:topped_up", "The level has been seen: water added, or full.", EVERY_DAY),
    Entry("hold", "controller.cli.orders:hold", "Out of service, with your name on it.", EVERY_DAY),
    Entry("lift", "controller.cli.orders:lift", "Back in service.", EVERY_DAY),
    Entry("release", "controller.cli.orders:release", "Leave a lock-out: a written reason, a self-test.", EVERY_DAY),
    Entry("bypass", "controller.cli.orders:bypass", "Run without one limit for half an hour.", EVERY_DAY),
    Entry("accept", "controller.cli.orders:accept", "Accept a changed rig file.", EVERY_DAY),
    Entry("service", "controller.cli.orders:service", "Outputs by hand, supply isolated.", EVERY_DAY),
    Entry("drive", "controller.cli.orders:drive", "Switch one output in service.", EVERY_DAY),
    Entry("new", "controller.cli.new:new", "Questions in plain words, and the rig file of your rig.", BEFORE),
    Entry("log", "controller.cli.log:log", "Write into the logbook, or show it.", EVERY_DAY),
    Entry("export", "controller.cli.log:export", "The record as a table: CSV or Parquet.", EVERY_DAY),
    Entry("find", "controller.cli.find:find", "Which chip, probe and wire is which, by touch.", BEFORE),
    Entry("enrol", "controller.cli.enrol:enrol", "Which phone page may ask for more than a stop.", BEFORE),
    Entry("check", "controller.cli.check:check", "What a rig file means, and whether the rig may be left.", BEFORE),
    Entry("demo", "controller.cli.demo:demo", "A whole rig, simulated, on this machine.", FAULTS),
    Entry("rehearse", "controller.cli.rehearse:rehearse", "Play faults on a rig before they happen.", FAULTS),
    Entry("incidents", "controller.cli.incidents:incidents", "What happened around each trip.", FAULTS),
    Entry("replay", "controller.cli.incidents:replay", "Decide an incident again, with other settings too.", FAULTS),
    Entry("study", "controller.cli.rehearse:study", "Is each limit fast enough for its hazard?", FAULTS),
    Entry("campaign", "controller.cli.rehearse:campaign", "Thousands of rehearsals, drawn from distributions.", FAULTS),
    Entry("fault", "controller.cli.bench:fault", "Make something go wrong on a bench.", FAULTS),
    Entry("measure", "controller.cli.measure:measure", "What the program costs on this machine.", FAULTS),
    Entry("lye", "controller.cli.arithmetic:lye", "Mix, strengthen, dilute and read lye.", SUMS),
    Entry("gas", "controller.cli.arithmetic:gas", "Gas, water, heat and efficiency at a current.", SUMS),
    Entry("room", "controller.cli.arithmetic:room", "Air that a room needs.", SUMS),
    Entry("curve", "controller.cli.curve:curve", "Volts and efficiency of the demo cell, with a picture.", SUMS),
    Entry("guard", "controller.cli.guard:guard", "Watch and drive a rig.", PROCESSES),
    Entry("outputs-off", "controller.cli.outputs_off:outputs_off", "Every output safe, after a guard.", PROCESSES),
    Entry("link", "controller.cli.link:link", "Telemetry to the broker, commands back.", PROCESSES),
    Entry("notify", "controller.cli.notify:notify", "Tell people what happens; best on another machine.", PROCESSES),
    Entry("page", "controller.cli.page:page", "Serve the phone page; who may log in; HTTPS.", PROCESSES),
    Entry("bench", "controller.cli.bench:bench", "Simulated hardware of a rig.", PROCESSES),
)  # fmt: skip
ENTRIES = {entry.name: entry for entry in TABLE}


class Lazy(click.Group):
    """Imports a command when it is asked for; its list of commands needs none of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(ENTRIES)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        entry = ENTRIES.get(name)
        if entry is None:
            return None
        module, _, attribute = entry.where.partition(":")
        command: click.Command = getattr(import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for section in dict.fromkeys(entry.section for entry in TABLE):
            with formatter.section(section):
                formatter.write_dl([(e.name, e.short) for e in TABLE if e.section == section])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            from difflib import get_close_matches

            near = get_close_matches(args[0], ENTRIES, n=1)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise click.UsageError(f"no command {args[0]!r}.{hint} All of them: lyewatch --help", ctx) from None


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.option("--debug", is_flag=True, envvar="LYEWATCH_DEBUG", help="Show where in the program an error arose.")
@click.version_option(package_name="lyewatch", message="lyewatch %(version)s")
def lyewatch(debug: bool) -> None:
    """Watches a home-built electrolyser, cuts its power before harm, and says why.

    \b
    Try it without any hardware:   lyewatch demo
    """


def run() -> None:
    """The command as called from a shell."""
    debug = "--debug" in sys.argv or bool(os.environ.get("LYEWATCH_DEBUG"))
    try:
        code = lyewatch.main(standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        code = 2
    except click.Abort:
        code = 130
    except Problem as problem:
        click.echo(f"lyewatch: {problem}", err=True)
        code = problem.code
    except BrokenPipeError:  # whoever read us has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    except Exception as error:
        if debug:
            raise
        click.echo(
            f"lyewatch: a mistake in the program itself, not in your input ({type(error).__name__}: {error}).\n"
            "Please report it with what `lyewatch --debug ...` says about it.",
            err=True,
        )
        code = 3
    sys.exit(code if isinstance(code, int) else 0)
