"""The methods of a CircuitPython bus over one call, `transfer`, for every bus of the bench.

`controller.hardware.linux_i2c` says the same of the kernel's bus and is not imported: the bench stands below the
drivers, and must not take a slip of theirs for right.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any


class Transfers(ABC):
    """A bus on which every reading and writing is one transfer. Failures are OSErrors."""

    @abstractmethod
    def transfer(self, address: int, written: bytes | None, to_read: int) -> bytes:
        """One transaction: bytes written (None: none at all), then bytes read, with nobody in between."""

    def writeto(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        self.transfer(address, bytes(buffer[start:end]), 0)

    def readfrom_into(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        end = len(buffer) if end is None else end
        buffer[start:end] = self.transfer(address, None, end - start)

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
    ) -> None:
        in_end = len(buffer_in) if in_end is None else in_end
        buffer_in[in_start:in_end] = self.transfer(address, bytes(buffer_out[out_start:out_end]), in_end - in_start)
