"""Broker, guard's stand-in, link and onlooker together."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

from controller.link import messages as m
from controller.link.broker import Address
from controller.link.process import run
from tests.broker import Mosquitto, Onlooker, until
from tests.core.bench import Bench, rig
from tests.link.guard_stand_in import StandIn
from tests.link.link_process import places

RIG = "pretend"


class Running:
    """`scan_s` of real time makes `dt_s` of the guard's."""

    def __init__(
        self,
        folder: Path,
        broker: Mosquitto,
        *,
        durable: bool = True,
        address: Address | None = None,
        name: str = RIG,
        scan_s: float = 0.01,
        dt_s: float = 0.1,
        onlooker: Onlooker | None = None,
        apart: bool = False,
    ) -> None:
        """apart: the link is a process of its own, which can be killed."""
        self.broker, self.folder, self._apart = broker, folder, apart
        folder.mkdir(parents=True, exist_ok=True)
        self.bench = Bench(rig(name=name, scan_s=dt_s), start_s=time.clock_gettime(time.CLOCK_BOOTTIME))
        self.bench.run(1.0)
        self.places = places(folder, durable)
        self.address = address or Address(port=broker.port)
        self.guard = StandIn(self.places.guard_socket, self.bench, scan_s, dt_s)
        self.start_link()
        self.onlooker = onlooker or Onlooker(broker.port)

    def start_link(self) -> None:
        if self._apart:
            where = (self.bench.rig.name, str(self.folder), self.address.host, str(self.address.port))
            self._process = subprocess.Popen([sys.executable, "-m", "tests.link.link_process", *where])
            return
        self._ended = threading.Event()
        arguments = (self.bench.rig, self.places, self.address, self._ended.wait)
        self._thread = threading.Thread(target=run, args=arguments, daemon=True)
        self._thread.start()

    def kill_link(self) -> None:
        """As the kernel does when memory is short: no last word, nothing written down. Needs a process of its own."""
        self._process.send_signal(signal.SIGKILL)
        assert self._process.wait(20.0) == -signal.SIGKILL

    def end_link(self) -> None:
        if self._apart:
            self._process.terminate()  # of one that is over: nothing
            assert self._process.wait(30.0) == 0
            return
        self._ended.set()
        self._thread.join(20.0)
        assert not self._thread.is_alive()

    def close(self) -> None:
        self.end_link()
        self.onlooker.close()
        self.guard.close()

    def topic(self, *parts: str) -> str:
        return m.topic(self.bench.rig.name, *parts)

    def state(self) -> dict[str, Any]:
        """The newest one told, once there is one."""
        until(lambda: bool(self.onlooker.of("/state")), what="a state")
        found: dict[str, Any] = self.onlooker.of("/state")[-1]
        return found

    def events(self, boot: str | None = None) -> list[int]:
        """The guard's numbers of the events that came."""
        return [e["number"] for e in self.onlooker.of("/events") if e["boot"] == (boot or self.guard.boot)]
