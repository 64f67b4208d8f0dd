"""One jig, several ways to have it: what the conformance suite plugs its drivers into.

The jig is small enough to be built on a real Pi: an ADS1115 at 0x48 on bus 1 with inputs 0 and 3 at 1.65 V, 1 at ground
and 2 at 0.5 V; a wire from GPIO 12 to GPIO 16; a DS18B20. With LYEWATCH_JIG set to the sensor's name (28-...) the same
tests run on it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from controller.hardware.linux_ports import LinuxPorts
from controller.hardware.ports import Clock, Ports, Wait
from simulator.boards.bench import Asked, Bench
from simulator.boards.client import LinkPorts
from simulator.boards.clock import VirtualClock
from simulator.boards.gpio import SimFactory
from simulator.boards.link import BenchServer
from simulator.boards.transfers import Transfers
from simulator.boards.wiring import read_wiring

OUT, IN = 12, 16
SENSOR = "28-0b0a7e110009"
HERE = Path(__file__).resolve().parent
READY_S = 20.0


@dataclass
class Jig:
    name: str
    open: Callable[[], Ports]  # a new process would open them so
    clock: Clock
    wait: Wait
    sensor_id: str = SENSOR


class Room:
    """A plant that is only a room."""

    def advance(self, asked: Asked, dt_s: float) -> None:
        pass

    def quantities(self) -> Mapping[str, float]:
        return {"ambient_c": 21.3}


def jig_bench(clock: Clock) -> Bench:
    bench = Bench(read_wiring(HERE / "jig.wiring.toml"), Room(), clock)
    others = bench.board.changed

    def wire(pin: int, level: bool, at_s: float) -> None:
        others(pin, level, at_s)
        if pin == OUT:
            bench.board.drive(IN, level, at_s)

    bench.board.changed = wire
    return bench


def boottime() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@contextmanager
def in_process(folder: Path) -> Iterator[Jig]:
    """The emulated boards in this process, on a virtual clock."""
    clock = VirtualClock()
    bench = jig_bench(clock)
    yield Jig("boards in this process", bench.ports, clock, clock.wait)


@contextmanager
def other_process(folder: Path) -> Iterator[Jig]:
    """The emulated boards in a bench process, over its sockets, in real time."""
    server = subprocess.Popen([sys.executable, "-m", "tests.conformance.jigs", str(folder)], cwd=HERE.parent.parent)
    try:
        until_s = boottime() + READY_S
        while not (folder / "ready").exists():
            assert boottime() < until_s, "the jig's process did not come up"
            time.sleep(0.02)
        yield Jig("boards in a process of their own", lambda: LinkPorts(folder, boottime), boottime, time.sleep)
    finally:
        server.terminate()
        server.wait(10.0)


class PlainBus(Transfers):
    """The least that can pass for a converter: it remembers the configuration, and answers at once."""

    VOLTS = (1.65, 0.0, 0.5, 1.65)
    FULL_SCALE = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256)

    def __init__(self) -> None:
        self._config, self._pointer, self._locked = 0x8583, 0, False

    def try_lock(self) -> bool:
        free, self._locked = not self._locked, True
        return free

    def unlock(self) -> None:
        self._locked = False

    def transfer(self, address: int, written: bytes | None, to_read: int) -> bytes:
        if address != 0x48:
            raise OSError(121, "remote I/O error")
        if written:
            self._pointer = written[0]
            if len(written) == 3 and self._pointer == 1:
                self._config = int.from_bytes(written[1:], "big") | 0x8000
        word = self._config if self._pointer == 1 else self._code() & 0xFFFF
        return word.to_bytes(2, "big")[:to_read]

    def _code(self) -> int:
        mux, gain = self._config >> 12 & 7, self._config >> 9 & 7
        positive, negative = ((0, 1), (0, 3), (1, 3), (2, 3))[mux] if mux < 4 else (mux - 4, None)
        volts = self.VOLTS[positive] - (0.0 if negative is None else self.VOLTS[negative])
        return max(-32768, min(32767, round(volts / self.FULL_SCALE[gain] * 32768)))


class PlainPins:
    """Two wires, one of them looped back."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._level = [False] * 28
        self._seen: dict[int, Callable[[float, bool], None]] = {}

    def claim_in(self, pin: int, pull: str) -> None:
        if pin == OUT:
            self.write(pin, False)

    def claim_out(self, pin: int, level: bool) -> None:
        self.write(pin, level)

    def read(self, pin: int) -> bool:
        return self._level[pin]

    def write(self, pin: int, level: bool) -> None:
        if level is self._level[pin]:
            return
        self._level[pin] = level
        if pin == OUT:
            self._level[IN] = level
            if IN in self._seen:
                self._seen[IN](self._clock(), level)

    def pulse_width(self, pin: int, share: float) -> None:
        pass

    def watch(self, pin: int, seen: Callable[[float, bool], None]) -> None:
        self._seen[pin] = seen

    def unwatch(self, pin: int) -> None:
        self._seen.pop(pin, None)


class PlainKernel:
    def read(self, path: str) -> str:
        if SENSOR not in path:
            raise FileNotFoundError(2, "no such file or directory")
        return "55 01 4b 46 7f ff 0b 10 d0 : crc=d0 YES\n55 01 4b 46 7f ff 0b 10 d0 t=21312\n"

    def names(self, folder: str) -> tuple[str, ...]:
        return ()


class PlainPorts:
    simulated = True

    def __init__(self, clock: Clock, pins: PlainPins) -> None:
        self.i2c = {1: PlainBus()}
        self.pins = SimFactory(pins, clock)
        self.kernel = PlainKernel()

    def close(self) -> None:
        self.pins.close()


@contextmanager
def plain_fake(folder: Path) -> Iterator[Jig]:
    """No emulation: the least that answers. What passes here asks nothing of the emulation."""
    clock = VirtualClock()
    pins = PlainPins(clock)
    yield Jig("plain fake", lambda: PlainPorts(clock, pins), clock, clock.wait)


@contextmanager
def real_pi(folder: Path) -> Iterator[Jig]:
    yield Jig("a Pi", lambda: LinuxPorts([1], folder), boottime, time.sleep, os.environ["LYEWATCH_JIG"])


JIGS = [in_process, other_process, plain_fake] + ([real_pi] if "LYEWATCH_JIG" in os.environ else [])


def serve(folder: Path) -> None:
    """The bench process: until it is told to end."""
    import signal

    going_on = True

    def end(number: int, frame: object) -> None:
        nonlocal going_on
        going_on = False

    signal.signal(signal.SIGTERM, end)
    server = BenchServer(jig_bench(boottime), folder, boottime)
    (folder / "ready").touch()
    server.run(lambda: going_on)
    server.close()


if __name__ == "__main__":
    serve(Path(sys.argv[1]))
