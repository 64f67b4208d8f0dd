"""What a rig is plugged into: an I2C bus, pins, and the kernel's text files. Real ones and the bench's look alike."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Protocol

Clock = Callable[[], float]  # seconds, monotonic, counting through a suspend (CLOCK_BOOTTIME)
Wait = Callable[[float], None]  # seconds


class I2CBus(Protocol):
    """The five methods of a CircuitPython bus that a driver uses. Every failure is an OSError."""

    def try_lock(self) -> bool: ...
    def unlock(self) -> None: ...
    def writeto(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None: ...
    def readfrom_into(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None: ...
    def writeto_then_readfrom(
        self,
        address: int,
        buffer_out: Any,
        buffer_in: Any,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None: ...


class KernelText(Protocol):
    """Text files under /sys by their path below it. Absence and failure are OSErrors, as from the kernel."""

    def read(self, path: str) -> str: ...
    def names(self, folder: str) -> tuple[str, ...]: ...  # sorted; none when the folder is absent


class Ports(Protocol):
    """Everything a rig is plugged into. All of it is real or none of it: a mixture cannot be made."""

    @property
    def i2c(self) -> Mapping[int, I2CBus]: ...  # by bus number
    @property
    def pins(self) -> Any: ...  # a gpiozero pin factory
    @property
    def kernel(self) -> KernelText: ...
    @property
    def simulated(self) -> bool: ...
    def close(self) -> None: ...


class TextFolder:
    """Kernel text files in a real folder: /sys on a Pi, a bench's folder elsewhere."""

    def __init__(self, root: Path) -> None:
        self._root = root

    def read(self, path: str) -> str:
        return (self._root / path).read_text(encoding="ascii", errors="replace")

    def names(self, folder: str) -> tuple[str, ...]:
        try:
            return tuple(sorted(entry.name for entry in (self._root / folder).iterdir()))
        except OSError:
            return ()
