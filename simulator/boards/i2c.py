"""An I2C bus with emulated chips on it: the methods of a CircuitPython bus, and the ways in which a bus fails."""

from __future__ import annotations

import errno
import threading
from random import Random
from typing import Any

from simulator.boards.ads1115 import Ads1115Chip, Chip

GENERAL_CALL, RESET = 0x00, 0x06

# What a bus can do wrong, and what `amount` means.
BUS_FAULTS = {
    "errors": "share of the transfers that fail with errno 121",
    "dead": "every transfer fails with errno 121",
    "one_error": "the next transfer fails with errno 5",
    "held": "somebody else holds the bus",
}


class SimBus:
    """Transfers are atomic. `transfers` counts them, failed ones too."""

    def __init__(self, noise: Random) -> None:
        self.chips: dict[int, Chip] = {}
        self._noise = noise
        self._lock = threading.Lock()
        self.fault = ""
        self.amount = 0.0
        self.transfers = 0

    def try_lock(self) -> bool:
        return self.fault != "held" and self._lock.acquire(blocking=False)

    def unlock(self) -> None:
        self._lock.release()

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

    def transfer(self, address: int, written: bytes | None, to_read: int) -> bytes:
        """One transaction: bytes written (None: none at all), then bytes read."""
        self.transfers += 1
        self._disturb()
        if address == GENERAL_CALL:
            self._general_call(written)
            return b""
        chip = self.chips.get(address)
        if chip is None or getattr(chip, "fault", "") == "absent":
            raise OSError(errno.EREMOTEIO, f"nobody answers at {address:#04x}")
        if written is not None:
            chip.write(written)
        return chip.read(to_read) if to_read else b""

    def _disturb(self) -> None:
        if self.fault == "dead" or (self.fault == "errors" and self._noise.random() < self.amount):
            raise OSError(errno.EREMOTEIO, "no acknowledgement")
        if self.fault == "held":
            raise OSError(errno.EAGAIN, "arbitration lost")
        if self.fault == "one_error":
            self.fault = ""
            raise OSError(errno.EIO, "input/output error")

    def _general_call(self, written: bytes | None) -> None:
        if written and written[0] == RESET:
            for chip in self.chips.values():
                if isinstance(chip, Ads1115Chip):
                    chip.power_on()
