"""`lyewatch page`: serves the phone page, and looks after who may log in and what the phone trusts."""

from __future__ import annotations

import asyncio
import logging
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.broker import broker_options
from controller.cli.problems import Problem
from controller.link.messages import ROOT

if TYPE_CHECKING:
    import segno

    from controller.link.broker import Address
    from controller.page.people import People


def _state_folder() -> Path:
    """Where systemd says, or the person's own."""
    given = os.environ.get("STATE_DIRECTORY")
    if given:
        return Path(given.split(":")[0])
    home = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(home) / "lyewatch" / "page"


def _needs_extra(error: ImportError) -> Problem:
    return Problem(f"the page needs packages that are not installed ({error.name}): pip install 'lyewatch[page]'")


@click.group(invoke_without_command=True, context_settings={"auto_envvar_prefix": "LYEWATCH_PAGE"})
@broker_options
@click.option("--listen", default="127.0.0.1", show_default=True, help="Address to serve on; 0.0.0.0 for phones.")
@click.option("--port", default=8080, show_default=True, type=click.IntRange(0, 65535))
@click.option(
    "--name",
    "names",
    multiple=True,
    help="Host name the page is reached by, besides this machine's own. May be repeated.",
)
@click.option(
    "--certificate",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="A certificate of your own (PEM, with chain).",
)
@click.option("--key", type=click.Path(path_type=Path, exists=True, dir_okay=False), help="Its key (PEM).")
@click.option(
    "--own-authority",
    is_flag=True,
    help="Serve with a certificate of the authority that 'lyewatch page authority' made.",
)
@click.option(
    "--authority-port",
    default=8081,
    show_default=True,
    type=click.IntRange(0, 65535),
    help="Where a phone fetches that authority's file.",
)
@click.option("--open-view", is_flag=True, help="Viewing from the home network needs no account.")
@click.option("--open-faults", is_flag=True, help="Who may view may also cause faults, on a simulated rig only.")
@click.option(
    "--bench",
    "benches",
    multiple=True,
    metavar="RIG=FOLDER",
    help="Folder of a simulated rig's bench. May be repeated.",
)
@click.option(
    "--state",
    type=click.Path(path_type=Path, file_okay=False),
    default=_state_folder,
    help="Folder for accounts, sessions and keys.",
)
@click.option(
    "--dist",
    type=click.Path(path_type=Path, file_okay=False),
    hidden=True,
    help="A page built elsewhere, for who works on it.",
)
@click.pass_context
def page(
    context: click.Context,
    address: Address,
    listen: str,
    port: int,
    names: tuple[str, ...],
    certificate: Path | None,
    key: Path | None,
    own_authority: bool,
    authority_port: int,
    open_view: bool,
    open_faults: bool,
    benches: tuple[str, ...],
    state: Path,
    dist: Path | None,
) -> None:
    """Serve the phone page.

    It is a client of the broker and decides nothing; it may run on the Pi or anywhere the broker can be reached.
    With no subcommand it serves until it is ended.
    """
    context.obj = state
    if context.invoked_subcommand is not None:
        return
    try:
        from controller.cli.page_bench import ControlledBench
        from controller.page.app import Settings
        from controller.page.authority import Certificates, certificates
        from controller.page.serve import AlreadyUsed, Listen, serve
        from controller.page.shell import DIST, NotBuilt
    except ImportError as error:
        raise _needs_extra(error) from None
    if (certificate is None) != (key is None):
        raise click.UsageError("--certificate and --key go together")
    if own_authority and certificate is not None:
        raise click.UsageError("give --own-authority or a certificate of your own, not both")
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    own: Certificates | None = None
    try:
        if own_authority:
            own = certificates(state / "authority", names)
            certificate, key = own.certificate, own.key
        settings = Settings(
            folder=state,
            broker=address,
            names=names,
            secure=certificate is not None,
            open_view=open_view,
            open_faults=open_faults,
            benches={rig: ControlledBench(path) for rig, path in map(_bench, benches)},
        )
        where = _address(listen, port, certificate is not None, names)
        asyncio.run(serve(settings, Listen(listen, port, certificate, key, own, authority_port), where, dist or DIST))
    except (NotBuilt, AlreadyUsed, ValueError) as error:
        raise Problem(str(error), 2) from None


def _bench(text: str) -> tuple[str, Path]:
    rig, equals, path = text.partition("=")
    if not (rig and equals and path):
        raise click.UsageError(f"--bench {text!r}: give RIG=FOLDER, such as boathouse=/tmp/lyewatch-bench")
    return rig, Path(path)


def _address(listen: str, port: int, secure: bool, names: tuple[str, ...] = ()) -> str:
    from controller.page.authority import own_addresses

    if listen in ("0.0.0.0", "::"):
        far = [a for a in own_addresses() if a != "127.0.0.1" and ":" not in a]
        host = names[0] if names else (far or ["127.0.0.1"])[0]
    else:
        host = f"[{listen}]" if ":" in listen else listen
    return f"http{'s' if secure else ''}://{host}:{port}/"


@page.command()
@click.argument("name")
@click.option("--role", type=click.Choice(["viewer", "operator"]), default="viewer", show_default=True)
@click.option(
    "--password-file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Read the password from a file instead of asking.",
)
@click.pass_obj
def person(state: Path, name: str, role: str, password_file: Path | None) -> None:
    """Add somebody who may log in, or give a new password and role.

    Asks for the password twice. Whoever was logged in by that name is logged out.
    """
    people = _people(state)
    password = (
        password_file.read_text().strip()
        if password_file
        else click.prompt("Password", hide_input=True, confirmation_prompt=True)
    )
    try:
        people.add(name, role, password)
    except ValueError as error:
        raise Problem(str(error), 2) from None
    click.echo(f"{name} may log in as {role}.")


@page.command()
@click.argument("name")
@click.pass_obj
def remove(state: Path, name: str) -> None:
    """Take somebody's account away, and end their sessions."""
    try:
        _people(state).remove(name)
    except ValueError as error:
        raise Problem(str(error), 2) from None
    click.echo(f"{name} can no longer log in.")


@page.command("log-out")
@click.argument("name")
@click.pass_obj
def log_out(state: Path, name: str) -> None:
    """End all sessions of somebody, such as after a lost phone."""
    try:
        _people(state).log_out_everywhere(name)
    except ValueError as error:
        raise Problem(str(error), 2) from None
    click.echo(f"{name} is logged out everywhere.")


@page.command()
@click.pass_obj
def people(state: Path) -> None:
    """List who may log in."""
    book = _people(state).book()
    for name, entry in sorted(book.people.items()):
        sessions = sum(s.name == name for s in book.sessions.values())
        click.echo(f"{name}\t{entry.role}\t{sessions} session{'' if sessions == 1 else 's'}")
    if not book.people:
        click.echo("Nobody yet. Add somebody with: lyewatch page person NAME --role operator")


def _people(state: Path) -> People:
    try:
        from controller.page.people import People
    except ImportError as error:
        raise _needs_extra(error) from None
    found = People(state)
    try:
        found.book()
    except ValueError as error:
        raise Problem(str(error), 2) from None
    return found


@page.command()
@click.pass_obj
def key(state: Path) -> None:
    """Print the page's public key, to be enrolled at a rig before the rig obeys it."""
    try:
        from controller.page.signing import page_key
    except ImportError as error:
        raise _needs_extra(error) from None
    try:
        found = page_key(state)
    except ValueError as error:
        raise Problem(str(error), 2) from None
    click.echo(f"id      {found.id}\npublic  {found.public.hex()}\nanswers {ROOT}/RIG/reply/page-{found.id}")


@page.command()
@click.option("--name", "names", multiple=True, help="Host name the page is reached by, besides this machine's own.")
@click.option("--port", default=8443, show_default=True, help="Where the page will be served.")
@click.option("--authority-port", default=8081, show_default=True, help="Where the phone fetches the file.")
@click.pass_obj
def authority(state: Path, names: tuple[str, ...], port: int, authority_port: int) -> None:
    """Make a certificate authority of your own and show how a phone comes to trust it.

    It can sign for this machine's names and for private addresses only.
    """
    try:
        import segno

        from controller.page.authority import certificates
    except ImportError as error:
        raise _needs_extra(error) from None
    try:
        found = certificates(state / "authority", names)
    except ValueError as error:
        raise Problem(str(error), 2) from None
    helping = _address("0.0.0.0", authority_port, False)
    click.echo(f"Serve with:  lyewatch page --listen 0.0.0.0 --port {port} --own-authority")
    click.echo(f"Then scan this with the phone, or open {helping}\n")
    click.echo(_square(segno.make(helping, error="m")))
    click.echo(f"Compare on the phone before you agree:\n{found.fingerprint}")
    click.echo(f"The page is then at {_address('0.0.0.0', port, True, names)}")


def _square(code: segno.QRCode) -> str:
    """The code in half blocks: two rows of modules a line, light on dark as phones expect it on a terminal."""
    rows = [list(r) for r in code.matrix_iter(scale=1, border=2)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    blocks = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
    return "\n".join(
        "".join(blocks[bool(a), bool(b)] for a, b in zip(top, low, strict=True))
        for top, low in zip(rows[::2], rows[1::2], strict=True)
    )


@page.command()
def openapi() -> None:
    """Print the OpenAPI document of the page's JSON requests."""
    import json
    from importlib.metadata import version

    try:
        from controller.page.api import openapi as document
    except ImportError as error:
        raise _needs_extra(error) from None
    click.echo(json.dumps(document(version("lyewatch")), indent=1, sort_keys=True))


COMMANDS = [page]
