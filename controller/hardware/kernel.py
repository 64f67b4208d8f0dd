"""What the kernel knows about the controller itself. Each question has three answers: yes, no, and not known."""

from __future__ import annotations

from controller.core.signals import Code, Reading
from controller.hardware.ports import Clock, KernelText

_PERSIST = "parameters/persist_gpio_outputs"
_THROTTLED = "devices/platform/soc/soc:firmware/get_throttled"
_UNDER_VOLTAGE_NOW = 1 << 0
_ZONE = "class/thermal/thermal_zone0/temp"


def _text(kernel: KernelText, path: str) -> str | None:
    try:
        return kernel.read(path).strip()
    except OSError:
        return None


def keeps_outputs(kernel: KernelText) -> bool | None:
    """Whether an output keeps its level when its process dies: the default of Raspberry Pi kernels.

    `dtparam=strict_gpiod` in config.txt makes it the other way: the pin becomes an input and falls.
    """
    for module in kernel.names("module"):
        if module.startswith("pinctrl_") and (text := _text(kernel, f"module/{module}/{_PERSIST}")) is not None:
            return text in ("Y", "y", "1")
    return None


def supply_sags(kernel: KernelText) -> bool | None:
    """Whether the Pi's supply is too low now. Such a supply corrupts buses and timing before it stops the Pi."""
    for monitor in kernel.names("class/hwmon"):
        folder = f"class/hwmon/{monitor}"
        if _text(kernel, f"{folder}/name") == "rpi_volt" and (text := _text(kernel, f"{folder}/in0_lcrit_alarm")):
            return text != "0"
    if (text := _text(kernel, _THROTTLED)) is not None:
        try:
            return bool(int(text, 16) & _UNDER_VOLTAGE_NOW)
        except ValueError:
            return None
    return None


def core_c(kernel: KernelText) -> float | None:
    """Temperature of the processor, C."""
    try:
        return int(kernel.read(_ZONE)) / 1000.0
    except (OSError, ValueError):
        return None


class SupplyMonitor:
    """1 while the supply is known to be good, 0 while it sags."""

    def __init__(self, kernel: KernelText, clock: Clock) -> None:
        self._kernel, self._clock = kernel, clock

    def read_once(self) -> Reading:
        stamp_s = self._clock()
        sags = supply_sags(self._kernel)
        return Reading(None, stamp_s, Code.ABSENT) if sags is None else Reading(float(not sags), stamp_s)


class CoreMonitor:
    """Processor temperature, C."""

    def __init__(self, kernel: KernelText, clock: Clock) -> None:
        self._kernel, self._clock = kernel, clock

    def read_once(self) -> Reading:
        stamp_s = self._clock()
        celsius = core_c(self._kernel)
        return Reading(celsius, stamp_s, Code.ABSENT if celsius is None else Code.OK)
