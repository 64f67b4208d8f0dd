"""`lyewatch link`: carries telemetry to the broker and commands back."""

from __future__ import annotations

import signal
import threading
from pathlib import Path

import click

from controller.cli.problems import RUN_DIR, Problem, examples, run_dir_option

_FILE = click.Path(path_type=Path, exists=True, dir_okay=False)


@click.command(
    context_settings={"auto_envvar_prefix": "LYEWATCH_LINK"},
    epilog=examples("link /etc/lyewatch/boathouse.toml --broker 192.168.1.20", "link boathouse --bench /tmp/bench"),
)
@click.argument("rig")
@click.option("--broker", default="127.0.0.1", show_default=True, help="Host of the broker.")
@click.option("--broker-port", default=1883, show_default=True, type=click.IntRange(1, 65535))
@click.option("--broker-user", default="", help="Name at the broker.")
@click.option("--broker-password-file", type=_FILE, help="Its password, in a file.")
@click.option("--broker-ca", type=_FILE, help="Authority of the broker's certificate; turns TLS on.")
@click.option("--broker-certificate", type=_FILE, help="The link's own certificate at the broker.")
@click.option("--broker-key", type=_FILE, help="Its key.")
@click.option("--bench", type=click.Path(path_type=Path), help="Folder of a running bench.")
@run_dir_option
def link(
    rig: str,
    broker: str,
    broker_port: int,
    broker_user: str,
    broker_password_file: Path | None,
    broker_ca: Path | None,
    broker_certificate: Path | None,
    broker_key: Path | None,
    bench: Path | None,
    run_dir: Path,
) -> None:
    """Tell the broker what the guard of RIG does, and pass on what is asked of it. Decides nothing.

    RIG is the rig file that the guard runs with. Without a broker, or without a guard, it waits for them.
    """
    from controller.cli.rigs import load_for
    from controller.link.broker import Address
    from controller.link.process import run

    if bench is not None and run_dir == RUN_DIR:
        run_dir = bench
    if (broker_certificate is None) != (broker_key is None):
        raise Problem("give --broker-certificate and --broker-key together", 2)
    password = broker_password_file.read_text().strip() if broker_password_file else ""
    address = Address(broker, broker_port, broker_user, password, broker_ca, broker_certificate, broker_key)
    ended = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    run(load_for(rig, bench).core, run_dir / "link.sock", address, ended.wait)
