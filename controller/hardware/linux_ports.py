"""The ports of a Raspberry Pi: I2C buses, one named pin library, /sys. Nothing is tried in turn: this or an error.

gpiozero would otherwise fall back from library to library with mere warnings, and an environment variable could change
the choice unseen.
"""

from __future__ import annotations

import errno
import fcntl
import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from controller.hardware.linux_i2c import LinuxI2CBus
from controller.hardware.ports import KernelText, TextFolder

GPIO_GET_CHIPINFO = 0x8044B401  # linux/gpio.h: char name[32], char label[32], u32 lines
HEADER_LABELS = ("pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835")


class NoPinsError(OSError):
    """The pin library or the chip of the header is not there. The text says what to do."""


def header_chip(folder: Path = Path("/dev"), ioctl: Callable[[int, int, Any], Any] = fcntl.ioctl) -> int:
    """Number of the chip that carries the header: by its label, since kernels have renumbered it."""
    found: dict[int, str] = {}
    for path in sorted(folder.glob("gpiochip*")):
        file = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        try:
            info = bytearray(68)
            ioctl(file, GPIO_GET_CHIPINFO, info)
        finally:
            os.close(file)
        found[int(path.name.removeprefix("gpiochip"))] = info[32:64].split(b"\0")[0].decode("ascii", "replace")
    for number, label in found.items():
        if label in HEADER_LABELS:
            return number
    seen = ", ".join(f"gpiochip{number} is {label}" for number, label in found.items()) or "there is no chip at all"
    raise NoPinsError(errno.ENODEV, f"no chip of a Raspberry Pi's header: {seen}. Is this a Pi?")


def pin_factory(chip: int, work: Path) -> Any:
    """gpiozero on lgpio, whose errors become OSErrors. `work` is where lgpio may put the FIFO it makes on import."""
    os.environ["LG_WD"] = str(work)
    try:
        import lgpio
        from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin
    except ImportError as error:
        raise NoPinsError(errno.ENOPKG, "lgpio is not installed. Install lyewatch[pi], or python3-lgpio.") from error
    except AttributeError as error:  # an empty package of that name exists
        raise NoPinsError(errno.ENOPKG, "this lgpio is an empty stub. Install lgpio 0.2.2 or newer.") from error

    class Pin(LGPIOPin):  # type: ignore[misc] # the library is not typed
        _pwm: Any  # frequency in Hz and share in percent, or None

        def _get_state(self) -> Any:
            try:
                return super()._get_state()
            except lgpio.error as error:
                raise OSError(errno.EIO, f"{self!r} cannot be read: {error}") from error

        def _set_state(self, value: Any) -> None:
            try:
                if self._pwm:  # the library would cut a pulse width to whole percents
                    self._pwm = (self._pwm[0], 100.0 * value)
                    lgpio.tx_pwm(self.factory._handle, self._number, *self._pwm)
                else:
                    super()._set_state(value)
            except lgpio.error as error:
                raise OSError(errno.EIO, f"{self!r} cannot be driven: {error}") from error

    try:
        factory = LGPIOFactory(chip=chip)
    except lgpio.error as error:
        raise NoPinsError(errno.ENODEV, f"gpiochip{chip} cannot be opened: {error}") from error
    factory.pin_class = Pin
    return factory


class LinuxPorts:
    """What a rig on a Pi is plugged into. `chip` is found by its label unless a number is given."""

    simulated = False

    def __init__(self, buses: Sequence[int], work: Path, chip: int | None = None) -> None:
        opened: dict[int, LinuxI2CBus] = {}
        try:
            for number in buses:
                opened[number] = LinuxI2CBus(number)
            self.pins: Any = pin_factory(header_chip() if chip is None else chip, work)
        except OSError:
            for bus in opened.values():
                bus.close()
            raise
        self._buses = opened
        self.i2c: Mapping[int, LinuxI2CBus] = opened
        self.kernel: KernelText = TextFolder(Path("/sys"))

    def close(self) -> None:
        self.pins.close()
        for bus in self._buses.values():
            bus.close()
