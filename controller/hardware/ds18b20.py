"""DS18B20 from the text of the kernel's `w1_slave` file: the nine bytes, not the number the kernel makes of them.

The number alone cannot tell a line shorted low (nine zeros, a valid checksum, 0.0 C) or a sensor that lost power for a
moment (85.0 C, a valid checksum) from a temperature. Reading blocks for the conversion: never call it from the scan.
"""

from __future__ import annotations

import errno
import re
from typing import NamedTuple

from controller.core.signals import Code, Reading
from controller.hardware.description import Ds18b20
from controller.hardware.ports import Clock, KernelText

FOLDER = "bus/w1/devices"

_LINE = re.compile(r"^((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)", re.ASCII)
_POWER_ON = 0x0550  # 85 C
_NO_POWER = 0x07FF  # 127.9375 C: the conversion found too little current
_UNUSED_BITS = {0x1F: 3, 0x3F: 2, 0x5F: 1, 0x7F: 0}  # by configuration byte: 9 to 12 bit


class Scratchpad(NamedTuple):
    celsius: float
    as_after_power_on: bool  # the bytes that a sensor shows before any conversion; a clone may show them at 85 C


def crc8(data: bytes) -> int:
    """CRC-8 of Maxim's application note 27: x^8 + x^5 + x^4 + 1, reflected (0x8C), from zero.

    >>> hex(crc8(bytes.fromhex("021cb801000000")))
    '0xa2'
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def parse(text: str) -> Scratchpad | Code:
    """What the nine bytes say, or why they say nothing."""
    if not text.strip():
        return Code.ABSENT  # the kernel's way to say that the read failed
    match = _LINE.match(text)
    if match is None:
        return Code.BAD_CHECKSUM  # cut short
    pad = bytes.fromhex(match[1])
    if pad == bytes(9):
        return Code.ALL_ZERO  # its checksum is valid
    if pad == b"\xff" * 9:
        return Code.ABSENT  # nobody pulls the line low
    if match[2] != "YES" or crc8(pad[:8]) != pad[8]:
        return Code.BAD_CHECKSUM
    unused = _UNUSED_BITS.get(pad[4])
    if unused is None or pad[5] != 0xFF:
        return Code.WRONG_CONFIGURATION
    raw = int.from_bytes(pad[:2], "little", signed=True)
    no_conversion = pad[6] == 0x0C
    if no_conversion and raw == _NO_POWER:
        return Code.POWER_ON_VALUE
    celsius = (raw >> unused << unused) / 16.0
    if not -55.0 <= celsius <= 125.0:
        return Code.WRONG_CONFIGURATION
    return Scratchpad(celsius, no_conversion and raw == _POWER_ON)


class Thermometer:
    """One sensor. `read_once` blocks for as long as the kernel does, 0.75 s and more."""

    def __init__(self, sensor: Ds18b20, kernel: KernelText, clock: Clock) -> None:
        self._sensor, self._kernel, self._clock = sensor, kernel, clock
        self._path = f"{FOLDER}/{sensor.sensor_id}/w1_slave"
        self._last: tuple[float, float] | None = None  # the last good one: C, stamp in s

    def read_once(self) -> Reading:
        stamp_s = self._clock()  # the kernel starts the conversion when the file is opened
        try:
            seen = parse(self._kernel.read(self._path))
        except BlockingIOError:
            raise  # not there yet, on a virtual clock
        except OSError as error:
            gone = error.errno in (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR)
            seen = Code.ABSENT if gone else Code.BUS_ERROR
        if isinstance(seen, Code):
            return Reading(None, stamp_s, seen)
        if seen.as_after_power_on and not self._could_be(seen.celsius, stamp_s):
            return Reading(None, stamp_s, Code.POWER_ON_VALUE)
        self._last = (seen.celsius, stamp_s)
        return Reading(seen.celsius, stamp_s)

    def _could_be(self, celsius: float, stamp_s: float) -> bool:
        """Whether the temperature can have got there since the last good reading."""
        if self._last is None:
            return False
        last_c, last_s = self._last
        return abs(celsius - last_c) <= self._sensor.step_c + self._sensor.rate_c_per_s * (stamp_s - last_s)
