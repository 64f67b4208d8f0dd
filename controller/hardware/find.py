"""What is plugged in, and which of it moves when somebody touches it.

Only looks: no pin is ever driven, and of pins only those are opened that the rig file names as inputs, with the pull it
names; a pull-up on the pin of a coil could energise it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from typing import NamedTuple

from controller.hardware.ds18b20 import FOLDER, Scratchpad, parse
from controller.hardware.edges import EdgeLog
from controller.hardware.ports import Clock, KernelText, Ports, Wait

ADDRESSES = (0x48, 0x49, 0x4A, 0x4B)  # an ADS1115 can have
INPUTS = range(4)
CONVERSION_S = 0.010  # at 128 conversions a second: 7.8 ms
LOOKS = 10
READY = 0x80  # in the upper byte of the configuration
CONFIG, RESULT = 1, 0
SINGLE_SHOT = 0x8000 | 0x0100 | 0x0080 | 0x0003  # begin, one conversion, 128 a second, no comparator
FULL_SCALE_V = 4.096
WARMER_K = 1.0
OTHER_V = 0.02
SEVERAL_EDGES = 4  # a meter that turns, not a float that moves

Chip = tuple[int, int]  # bus, address


class Seen(NamedTuple):
    """Everything as it stands now."""

    celsius: Mapping[str, float]  # by the name of the thermometer
    silent: tuple[str, ...]  # thermometers that are on the bus and cannot be read
    volts: Mapping[tuple[int, int, int], float]  # by bus, address, input
    levels: Mapping[int, bool]  # by pin
    edges: Mapping[int, int]  # by pin, since it was opened


class Moved(NamedTuple):
    """One thing that is not as it was, in words, and how strongly: the largest comes first."""

    what: str
    name: str
    times: float  # of the smallest change that counts


class Finder:
    """Open as long as somebody looks. `inputs`: pins to watch, and the pull of each."""

    def __init__(self, ports: Ports, inputs: Mapping[int, str], clock: Clock, wait: Wait) -> None:
        self._ports, self._clock, self._wait = ports, clock, wait
        self._edges: dict[int, int] = dict.fromkeys(inputs, 0)
        with ExitStack() as undo:
            self._logs = {}
            for pin, pull in inputs.items():
                self._logs[pin] = log = EdgeLog(ports.pins, pin, pull, clock)
                undo.callback(log.close)
            self._opened = undo.pop_all()

    def close(self) -> None:
        self._opened.close()

    def chips(self) -> list[Chip]:
        """Converters that answer."""
        buses = sorted(self._ports.i2c)
        return [(bus, address) for bus in buses for address in ADDRESSES if self._answers(bus, address)]

    def _answers(self, bus: int, address: int) -> bool:
        try:
            self._register(bus, address, CONFIG)
        except OSError:
            return False
        return True

    def look(self) -> Seen:
        celsius, silent = _thermometers(self._ports.kernel)
        volts = {}
        for bus, address in self.chips():
            for number in INPUTS:
                try:
                    volts[bus, address, number] = self._volts(bus, address, number)
                except OSError:
                    continue  # it has just been pulled out, or the bus is noisy: the next look will tell
        now_s = self._clock()
        for pin, log in self._logs.items():
            self._edges[pin] += sum(1 for _ in log.until(now_s))
        levels = {pin: level for pin, log in self._logs.items() if (level := log.level()) is not None}
        return Seen(celsius, silent, volts, levels, dict(self._edges))

    def _volts(self, bus: int, address: int, number: int) -> float:
        config = SINGLE_SHOT | (4 + number) << 12 | 1 << 9  # against ground, +-4.096 V
        self._transfer(bus, address, bytes((CONFIG, *config.to_bytes(2, "big"))), 0)
        for _ in range(LOOKS):  # the result before it is over is that of another input
            self._wait(CONVERSION_S)
            if self._register(bus, address, CONFIG)[0] & READY:
                break
        else:
            raise OSError(110, "the conversion does not end")
        return int.from_bytes(self._register(bus, address, RESULT), "big", signed=True) * FULL_SCALE_V / 32768.0

    def _register(self, bus: int, address: int, register: int) -> bytes:
        return self._transfer(bus, address, bytes((register,)), 2)

    def _transfer(self, bus: int, address: int, out: bytes, size: int) -> bytes:
        port = self._ports.i2c[bus]
        if not port.try_lock():
            raise OSError(16, "the bus is in use")
        try:
            answer = bytearray(size)
            if size:
                port.writeto_then_readfrom(address, out, answer)
            else:
                port.writeto(address, out)
            return bytes(answer)
        finally:
            port.unlock()


def _thermometers(kernel: KernelText) -> tuple[dict[str, float], tuple[str, ...]]:
    celsius: dict[str, float] = {}
    silent = []
    for name in kernel.names(FOLDER):
        if not name.startswith("28-"):
            continue
        try:
            found = parse(kernel.read(f"{FOLDER}/{name}/w1_slave"))
        except OSError:
            silent.append(name)
            continue
        if isinstance(found, Scratchpad):
            celsius[name] = found.celsius
        else:
            silent.append(name)
    return celsius, tuple(silent)


def moved(before: Seen, after: Seen, taken: Iterable[str] = ()) -> list[Moved]:
    """What has changed, the strongest first. taken: names that are known already."""
    found = []
    for name, celsius in after.celsius.items():
        rise_k = celsius - before.celsius.get(name, celsius)
        found.append(Moved(f"thermometer {name}, {rise_k:+.1f} K", name, abs(rise_k) / WARMER_K))
    for pin, level in after.levels.items():
        edges = after.edges[pin] - before.edges.get(pin, 0)
        if edges >= SEVERAL_EDGES:
            found.append(Moved(f"pin {pin}, {edges} edges: a meter that turns", f"pin {pin}", float(edges)))
        elif level != before.levels.get(pin, level) or edges:
            found.append(Moved(f"pin {pin}, now {'high' if level else 'low'}", f"pin {pin}", 2.0))
    for (bus, address, number), volts in after.volts.items():
        change_v = volts - before.volts.get((bus, address, number), volts)
        name = f"input {number} of {address:#x} on bus {bus}"
        found.append(Moved(f"{name}, {change_v:+.3f} V", name, abs(change_v) / OTHER_V))
    known = set(taken)
    return sorted((m for m in found if m.times >= 1.0 and m.name not in known), key=lambda m: -m.times)
