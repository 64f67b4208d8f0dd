"""The link as a process of its own, to be killed: `python -m tests.link.link_process RIG FOLDER HOST PORT`."""

from __future__ import annotations

import signal
import sys
import threading
from pathlib import Path

from controller.link.broker import Address
from controller.link.process import Places, run
from tests.core.bench import rig


def places(folder: Path, durable: bool = True) -> Places:
    return Places.beside(folder, folder / "guard", folder / "state" if durable else None)


def main(name: str, folder: str, host: str, port: str) -> None:
    ended = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: ended.set())
    run(rig(name=name), places(Path(folder)), Address(host, int(port)), ended.wait)


if __name__ == "__main__":
    main(*sys.argv[1:])
