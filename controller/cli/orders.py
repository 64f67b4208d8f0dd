"""Commands that ask the guard for something, from the rig's own terminal. The guard decides, and says why not."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from pathlib import Path

import click

from controller.cli.problems import Problem, examples, json_option, login, run_dir_option, to_the_guard
from controller.core.commands import Verb

WHO = click.option("--who", default=login, show_default="your login", help="Who asks.")
S_PER_H = 3600.0


def ask(run_dir: Path, as_json: bool, verb: Verb, done: str, **fields: object) -> None:
    """Ask, print the answer, and end with 1 when it is no."""
    with to_the_guard(run_dir) as client:
        answer = client.do(verb, **fields)
    if as_json:
        click.echo(json.dumps(answer._asdict()))
    elif answer.accepted:
        click.echo(done)
    else:
        click.echo(f"No: {answer.why}.", err=True)
    if not answer.accepted:
        raise click.exceptions.Exit(1)


def clock_time(text: str, now: datetime) -> datetime:
    """The next time it is so late, such as 17:30. Raises ValueError.

    >>> clock_time("17:30", datetime(2026, 5, 1, 18, 0)).isoformat()
    '2026-05-02T17:30:00'
    """
    match = re.fullmatch(r"(\d{1,2}):(\d{2})", text)
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise ValueError(f"{text!r} is not a time of day such as 17:30")
    then = now.replace(hour=int(match[1]), minute=int(match[2]), second=0, microsecond=0)
    return then if then > now else then + timedelta(days=1)


@click.command(
    epilog=examples("start --litres 10", "start --hours 2 --amps 20", "start --until 17:30", "start --unlimited")
)
@click.option("--amps", type=click.FloatRange(min=0, min_open=True), help="Current, A; without it the most allowed.")
@click.option(
    "--litres", type=click.FloatRange(min=0, min_open=True), help="Ends after so much hydrogen, dry, 25 C, 1 atm."
)
@click.option("--hours", type=click.FloatRange(min=0, min_open=True), help="Ends after so many hours.")
@click.option("--until", metavar="HH:MM", help="Ends at this time of day.")
@click.option("--unlimited", is_flag=True, help="Runs until somebody stops it.")
@WHO
@run_dir_option
@json_option
def start(
    amps: float | None,
    litres: float | None,
    hours: float | None,
    until: str | None,
    unlimited: bool,
    who: str,
    run_dir: Path,
    as_json: bool,
) -> None:
    """Start a run. It says everything that is missing at once, if something is."""
    if (litres, hours, until).count(None) + (not unlimited) != 3:
        raise click.UsageError("name one end of the run: --litres, --hours, --until or --unlimited")
    seconds = hours * S_PER_H if hours is not None else None
    charge_c = None
    if until is not None:
        now = datetime.now()
        try:
            seconds = (clock_time(until, now) - now).total_seconds()
        except ValueError as error:
            raise click.UsageError(str(error)) from None
    if litres is not None:
        charge_c = _charge_c(run_dir, litres)
    ask(run_dir, as_json, Verb.START, "Starting: first the self-test, then power.", number=amps, seconds=seconds,
        charge_c=charge_c, who=who)  # fmt: skip


def _charge_c(run_dir: Path, litres: float) -> float:
    from controller.chemistry import faraday

    with to_the_guard(run_dir) as client:
        cells = int(client.status()["cells"])
    return faraday.charge_c(litres / faraday.room_litres(1.0), cells)


def _order(name: str, verb: Verb, done: str, page: str, example: str) -> click.Command:
    """A command without options of its own."""

    @click.command(name=name, help=page, epilog=examples(example))
    @WHO
    @run_dir_option
    @json_option
    def order(who: str, run_dir: Path, as_json: bool) -> None:
        ask(run_dir, as_json, verb, done, who=who)

    return order


stop = _order("stop", Verb.STOP, "Stopping.", "Stop now. Anybody may, at any time.", "stop")
reset = _order(
    "reset", Verb.RESET, "Reset.", "Leave a trip once its cause is gone. Power stays off until the next start.", "reset"
)
acknowledge = _order(
    "acknowledge", Verb.SILENCE, "Horn silenced.", "Silence the horn: somebody has heard it.", "acknowledge"
)
present = _order(
    "present", Verb.PRESENT, "Noted.", "Say that somebody is at the bench, as an attended run asks for.", "present"
)
disable = _order(
    "disable", Verb.DISABLE, "Plan and phone can no longer start it.", "Take the local enable back.", "disable"
)
accept = _order(
    "accept", Verb.ACCEPT_SETTINGS, "Accepted.", "Accept the rig file as it now is, after it was changed.", "accept"
)

CARD = (
    "Gas outlets free, nothing kinked or iced?",
    "Seals and bubblers filled?",
    "Lye level within its marks, colour as usual?",
    "Hands, tools and flames away from cell and leads?",
)


@click.command(epilog=examples("confirm", "confirm --yes"))
@click.option("--yes", is_flag=True, help="All of it is so: do not ask.")
@WHO
@run_dir_option
@json_option
def confirm(yes: bool, who: str, run_dir: Path, as_json: bool) -> None:
    """Answer the card before a start that nobody will watch. Go and look first."""
    if not yes:
        for question in CARD:
            if not click.confirm(question):
                raise Problem("then see to that first: nothing was confirmed")
    ask(run_dir, as_json, Verb.CONFIRM, "The card is answered, for a day.", who=who)


@click.command(name="topped-up", epilog=examples("topped-up --full", "topped-up --litres 0.6"))
@click.option("--litres", type=click.FloatRange(min=0, min_open=True, max=100), help="Water added, L.")
@click.option("--full", is_flag=True, help="The level stands at its upper mark: you have looked.")
@WHO
@run_dir_option
@json_option
def topped_up(litres: float | None, full: bool, who: str, run_dir: Path, as_json: bool) -> None:
    """Tell the water account what you add, or that the level is full. Water only: no lye, no tap water.

    On a rig that runs, say it before you pour: a level that rises unannounced means coolant in the lye, and trips. Ten
    minutes are yours then.
    """
    if full == (litres is not None):
        raise click.UsageError("say --litres, how much was added, or --full, the level stands at its upper mark")
    ask(run_dir, as_json, Verb.TOPPED_UP, "Noted in the water account.", number=litres, who=who)


@click.command(epilog=examples("enable --hours 8"))
@click.option(
    "--hours", type=click.FloatRange(min=0, min_open=True, max=12), default=12.0, show_default=True, help="For so long."
)
@WHO
@run_dir_option
@json_option
def enable(hours: float, who: str, run_dir: Path, as_json: bool) -> None:
    """Let run plan and phone start it for some hours. Without this, nothing from afar can."""
    ask(run_dir, as_json, Verb.ENABLE, f"Plan and phone may start it for {hours:g} h.", number=hours, who=who)


@click.command(epilog=examples("current 18"))
@click.argument("amps", type=click.FloatRange(min=0, min_open=True))
@WHO
@run_dir_option
@json_option
def current(amps: float, who: str, run_dir: Path, as_json: bool) -> None:
    """Set the current of the run that is going on, A."""
    ask(run_dir, as_json, Verb.SET_CURRENT, f"{amps:g} A asked for.", number=amps, who=who)


@click.command(epilog=examples('hold "gasket out" --who Ada'))
@click.argument("reason")
@WHO
@run_dir_option
@json_option
def hold(reason: str, who: str, run_dir: Path, as_json: bool) -> None:
    """Take the rig out of service. Only you can lift it again, at the rig."""
    ask(run_dir, as_json, Verb.HOLD, f"Out of service, held by {who}.", text=reason, who=who)


@click.command(epilog=examples("lift --who Ada"))
@WHO
@run_dir_option
@json_option
def lift(who: str, run_dir: Path, as_json: bool) -> None:
    """Put the rig back in service."""
    ask(run_dir, as_json, Verb.LIFT, "Back in service.", who=who)


@click.command(epilog=examples('release "contact 2 was welded, contactor replaced"'))
@click.argument("reason")
@WHO
@run_dir_option
@json_option
def release(reason: str, who: str, run_dir: Path, as_json: bool) -> None:
    """Leave a lock-out: what was found and what was done. A self-test follows and must pass."""
    ask(run_dir, as_json, Verb.RELEASE, "The self-test runs now.", text=reason, who=who)


@click.command(epilog=examples('bypass "level high" "float sticks, watching the glass"'))
@click.argument("limit")
@click.argument("reason")
@WHO
@run_dir_option
@json_option
def bypass(limit: str, reason: str, who: str, run_dir: Path, as_json: bool) -> None:
    """Run without one limit for half an hour. Few limits allow it, and none that protects people from gas or fire."""
    ask(run_dir, as_json, Verb.BYPASS, f"{limit} is bypassed for 30 min.", subject=limit, text=reason, who=who)


@click.command(epilog=examples('service "supply unplugged, lead in my pocket"', "service --leave"))
@click.argument("isolated", required=False)
@click.option("--leave", is_flag=True, help="Leave service again.")
@WHO
@run_dir_option
@json_option
def service(isolated: str | None, leave: bool, who: str, run_dir: Path, as_json: bool) -> None:
    """Switch outputs by hand, once you have said how the supply is isolated."""
    if leave:
        ask(run_dir, as_json, Verb.LEAVE_SERVICE, "Service is over.", who=who)
        return
    if not isolated:
        raise click.UsageError("say how the supply is isolated, or --leave")
    ask(run_dir, as_json, Verb.SERVICE, "In service: drive outputs with `lyewatch drive`.", text=isolated, who=who)


@click.command(epilog=examples("drive coolant on", "drive coolant off"))
@click.argument("output")
@click.argument("to", type=click.Choice(["on", "off"]))
@WHO
@run_dir_option
@json_option
def drive(output: str, to: str, who: str, run_dir: Path, as_json: bool) -> None:
    """Switch one output in service."""
    ask(run_dir, as_json, Verb.DRIVE, f"{output} is {to}.", subject=output, number=float(to == "on"), who=who)
