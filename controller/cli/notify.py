"""`lyewatch notify`: tells people."""

from __future__ import annotations

import signal
import socket
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.broker import broker_options
from controller.cli.problems import Problem, examples

if TYPE_CHECKING:
    from controller.link.broker import Address
    from controller.notify.send import Service


@click.command(
    context_settings={"auto_envvar_prefix": "LYEWATCH_NOTIFY"},
    epilog=examples(
        "notify --example > notify.toml", "notify notify.toml --test", "notify notify.toml --broker 192.168.1.20"
    ),
)
@click.argument("settings", type=click.Path(path_type=Path, dir_okay=False), required=False)
@broker_options
@click.option("--client-id", default="", help="Name of this session at the broker; by default from the machine's name.")
@click.option("--test", is_flag=True, help="Send one message to each service, say which took it, and end.")
@click.option("--example", is_flag=True, help="Print a settings file to start from, and end.")
def notify(
    settings: Path | None,
    address: Address,
    client_id: str,
    test: bool,
    example: bool,
) -> None:
    """Tell people of trips, lost sensors, silence and finished runs, as SETTINGS says.

    It watches every rig that the broker tells of. It runs best on another machine than the rig's: whoever dies with
    the Pi cannot tell that the Pi died.
    """
    from controller.notify import settings as files
    from controller.notify.process import ALONE, on_this_machine, run
    from controller.notify.send import Apprise, Post, WrongService

    if example:
        click.echo(files.EXAMPLE, nl=False)
        return
    if settings is None:
        raise Problem("which settings? Make a file with: lyewatch notify --example > notify.toml", 2)
    try:
        found = files.load(settings)
        people = [Apprise(line) for line in found.services]
        seconds = [Apprise(line) for line in found.second_person]
    except (files.WrongSettings, WrongService) as error:
        raise Problem(str(error), 2) from None
    except ImportError:
        raise Problem("the apprise library is missing; install it with: pip install 'lyewatch[notify]'", 2) from None
    if test:
        _try(people + seconds)
        return
    if on_this_machine(address.host):
        click.echo(ALONE, err=True)
    ended = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    name = client_id or f"lyewatch-notify-{socket.gethostname()}"
    click.echo(f"Telling {', '.join(person.name for person in people)}.", err=True)
    run(found.rules(), address, name, Post(people), Post(seconds), ended.wait)


def _try(people: Sequence[Service]) -> None:
    failed = []
    for person in people:
        taken = person("lyewatch: a test", "You would be told here.\nNothing has happened.\nNothing to do.", False)
        click.echo(f"{person.name}: {'taken' if taken else 'NOT taken'}")
        if not taken:
            failed.append(person.name)
    if failed:
        raise Problem(f"not reached: {', '.join(failed)}", 1)
