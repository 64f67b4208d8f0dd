"""An I2C bus with emulated chips on it, and the ways in which a bus fails."""

from __future__ import annotations

import errno
import threading
from random import Random

from simulator.boards.ads1115 import Ads1115Chip, Chip
from simulator.boards.transfers import Transfers

GENERAL_CALL, RESET = 0x00, 0x06

# What a bus can do wrong, and what `amount` means.
BUS_FAULTS = {
    "errors": "share of the transfers that fail with errno 121",
    "dead": "every transfer fails with errno 121",
    "one_error": "the next transfer fails with errno 5",
    "held": "somebody else holds the bus",
}


class SimBus(Transfers):
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

    def transfer(self, address: int, written: bytes | None, to_read: int) -> bytes:
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
