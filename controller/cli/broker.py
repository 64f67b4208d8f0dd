"""Where the broker is and who we are to it: the options of every command that speaks MQTT, as one argument."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from controller.cli.problems import Problem

_FILE = click.Path(path_type=Path, exists=True, dir_okay=False)
_OPTIONS = (
    click.option("--broker", default="127.0.0.1", show_default=True, help="Host of the broker."),
    click.option(
        "--broker-port",
        default=1883,
        show_default=True,
        type=click.IntRange(1, 65535),
        help="Its port; encrypted usually 8883.",
    ),
    click.option("--broker-user", default="", help="Name at the broker."),
    click.option("--broker-password-file", type=_FILE, help="Its password, in a file."),
    click.option("--broker-ca", type=_FILE, help="Authority of the broker's certificate; turns TLS on."),
    click.option("--broker-certificate", type=_FILE, help="Our own certificate at the broker."),
    click.option("--broker-key", type=_FILE, help="Its key."),
)


def broker_options(command: Callable[..., None]) -> Callable[..., None]:
    """Gives `command` the options above as `address`, a controller.link.broker.Address."""

    @wraps(command)
    def with_address(
        *arguments: Any,
        broker: str,
        broker_port: int,
        broker_user: str,
        broker_password_file: Path | None,
        broker_ca: Path | None,
        broker_certificate: Path | None,
        broker_key: Path | None,
        **given: Any,
    ) -> None:
        from controller.link.broker import Address

        if (broker_certificate is None) != (broker_key is None):
            raise Problem("give --broker-certificate and --broker-key together", 2)
        if broker_certificate is not None and broker_ca is None:
            raise Problem("--broker-certificate is shown over TLS only: give --broker-ca too", 2)
        password = _password(broker_password_file)
        address = Address(broker, broker_port, broker_user, password, broker_ca, broker_certificate, broker_key)
        command(*arguments, address=address, **given)

    for option in reversed(_OPTIONS):
        with_address = option(with_address)
    return with_address


def _password(file: Path | None) -> str:
    if file is None:
        return ""
    try:
        return file.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        raise Problem(f"{file}: no password can be read from it; give a text file with the password alone", 2) from None
