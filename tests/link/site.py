"""Broker, guard's stand-in, link and onlooker together."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Any

from controller.link import messages as m
from controller.link.broker import Address
from controller.link.process import Places, run
from tests.broker import Mosquitto, Onlooker, until
from tests.core.bench import Bench, rig
from tests.link.guard_stand_in import StandIn

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
    ) -> None:
        self.broker, self.folder = broker, folder
        folder.mkdir(parents=True, exist_ok=True)
        self.bench = Bench(rig(name=name, scan_s=dt_s), start_s=time.clock_gettime(time.CLOCK_BOOTTIME))
        self.bench.run(1.0)
        self.places = Places.beside(folder, folder / "guard", folder / "state" if durable else None)
        self.address = address or Address(port=broker.port)
        self.guard = StandIn(self.places.guard_socket, self.bench, scan_s, dt_s)
        self.start_link()
        self.onlooker = onlooker or Onlooker(broker.port)

    def start_link(self) -> None:
        self._ended = threading.Event()
        arguments = (self.bench.rig, self.places, self.address, self._ended.wait)
        self._thread = threading.Thread(target=run, args=arguments, daemon=True)
        self._thread.start()

    def end_link(self) -> None:
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
