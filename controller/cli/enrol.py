"""`lyewatch enrol`: which keys the rig obeys from afar. Only at the rig, by hand: nothing on the network can do it."""

from __future__ import annotations

import hashlib
import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import click

from controller.cli.problems import STATE_DIR, Problem, examples, json_option
from controller.guard.challenge import SUFFIX

NAMES = ".json"  # beside a key's file: whose it is, since when
_RESTART = "The guard takes it up when it starts: sudo systemctl restart lyewatch-guard, while the rig is off."


class Enrolled(NamedTuple):
    id: str
    whose: str
    since: str


def key_id(public: bytes) -> str:
    """The name under which the page signs."""
    return hashlib.sha256(public).hexdigest()[:16]


def pairing_code(ident: str) -> str:
    """What is compared by eye: the same key, the same code.

    >>> pairing_code("0123456789abcdef")
    '0123-4567-89ab-cdef'
    """
    return "-".join(ident[at : at + 4] for at in range(0, 16, 4))


def enrolled(folder: Path) -> list[Enrolled]:
    """Every key in the folder, the oldest first."""
    found = []
    for path in sorted(folder.glob(f"*{SUFFIX}"), key=lambda p: p.stat().st_mtime):
        ident = path.name.removesuffix(SUFFIX)
        try:
            about = json.loads((folder / f"{ident}{NAMES}").read_text())
            found.append(Enrolled(ident, str(about["whose"]), str(about["since"])))
        except (OSError, ValueError, KeyError, TypeError):
            found.append(Enrolled(ident, "", ""))
    return found


def _write(path: Path, text: str) -> None:
    """Whole or not at all, on the disk when this returns."""
    part = path.with_suffix(".part")
    with part.open("w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def _public(text: str) -> bytes:
    if not re.fullmatch(r"[0-9a-fA-F]{64}", text):
        raise Problem("that is no public key: 64 hexadecimal digits, as `lyewatch page key` prints them", 2)
    return bytes.fromhex(text)


@click.command(
    epilog=examples("enrol", "enrol 5f3c...9d --whose 'phone page, boathouse'", "enrol --revoke 3fa1c2d4e5f60718")
)
@click.argument("public", required=False)
@click.option("--whose", default="", help="Whose key it is, in your words.")
@click.option("--code", help="The pairing code, if you would rather not be asked for it.")
@click.option("--revoke", metavar="ID", help="Obey this key no more.")
@click.option(
    "--state-dir",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="LYEWATCH_STATE_DIR",
    default=STATE_DIR,
    show_default=True,
    help="The guard's folder.",
)
@json_option
def enrol(public: str | None, whose: str, code: str | None, revoke: str | None, state_dir: Path, as_json: bool) -> None:
    """Let a phone page ask this rig for more than a stop; without arguments, list who may.

    PUBLIC is the page's public key: `lyewatch page key` prints it where the page runs, with its id. This terminal shows
    the key's pairing code: enrol it only if the page's id is the same. What it may ask, the rig file says; a start
    from afar needs the local enable besides.
    """
    folder = state_dir / "keys"
    try:
        if revoke is not None:
            _revoke(folder, revoke)
        elif public is not None:
            _enrol(folder, _public(public), whose, code)
        else:
            _list(folder, as_json)
    except OSError as error:
        raise Problem(f"{folder} cannot be used: {error.strerror}. Are you root, at the rig?") from None


def _enrol(folder: Path, public: bytes, whose: str, code: str | None) -> None:
    ident = key_id(public)
    click.echo(f"Pairing code: {pairing_code(ident)}")
    if code is None:
        code = click.prompt("Type the id that the page shows, or its last four digits")
    typed = re.sub(r"[^0-9a-f]", "", code.lower())
    if typed not in (ident, ident[-4:]):
        raise Problem("that is not this key's code: nothing was enrolled. Was the key copied whole?")
    folder.mkdir(parents=True, exist_ok=True)
    since = datetime.now(UTC).isoformat(timespec="seconds")
    _write(folder / f"{ident}{NAMES}", json.dumps({"whose": whose, "since": since}))
    _write(folder / f"{ident}{SUFFIX}", public.hex() + "\n")
    click.echo(f"Enrolled {ident}. {_RESTART}")


def _revoke(folder: Path, ident: str) -> None:
    path = folder / f"{ident}{SUFFIX}"
    if not re.fullmatch(r"[0-9A-Za-z-]{1,64}", ident) or not path.exists():
        known = ", ".join(one.id for one in enrolled(folder)) or "none"
        raise Problem(f"no key {ident!r} is enrolled; enrolled: {known}")
    path.unlink()
    (folder / f"{ident}{NAMES}").unlink(missing_ok=True)
    click.echo(f"Revoked {ident}: from now on guard and link refuse it.")


def _list(folder: Path, as_json: bool) -> None:
    found = enrolled(folder)
    if as_json:
        click.echo(json.dumps([one._asdict() for one in found]))
    elif not found:
        click.echo("No key is enrolled: from afar this rig can be stopped, and nothing else.")
    for one in () if as_json else found:
        click.echo(f"{pairing_code(one.id)}  {one.since or 'unknown since when'}  {one.whose}")
