"""An I2C bus of Linux, bounded: the usual libraries leave the kernel's default of a second for each transfer.

The kernel's time-out belongs to the adapter, so it holds for every process that uses this bus.
"""

from __future__ import annotations

import ctypes
import fcntl
import os
import threading
from collections.abc import Callable
from typing import Any

# linux/i2c-dev.h, linux/i2c.h
I2C_RETRIES, I2C_TIMEOUT, I2C_RDWR = 0x0701, 0x0702, 0x0707
I2C_M_RD = 0x0001
TIMEOUT_10_MS = 2
LOCK_S = 0.02


class Message(ctypes.Structure):
    _fields_ = (
        ("addr", ctypes.c_uint16),
        ("flags", ctypes.c_uint16),
        ("len", ctypes.c_uint16),
        ("buf", ctypes.POINTER(ctypes.c_ubyte)),
    )


class Transfer(ctypes.Structure):
    _fields_ = (("msgs", ctypes.POINTER(Message)), ("nmsgs", ctypes.c_uint32))


class LinuxI2CBus:
    """`/dev/i2c-N`. Raises OSError with the kernel's number; 121 is a chip that does not acknowledge."""

    def __init__(self, number: int, ioctl: Callable[[int, int, Any], Any] = fcntl.ioctl, folder: str = "/dev") -> None:
        self._ioctl = ioctl
        self._lock = threading.Lock()
        self._file = os.open(f"{folder}/i2c-{number}", os.O_RDWR | os.O_CLOEXEC)
        try:
            ioctl(self._file, I2C_TIMEOUT, TIMEOUT_10_MS)
            ioctl(self._file, I2C_RETRIES, 0)  # whoever reads decides about trying again
        except OSError:
            os.close(self._file)
            raise

    def close(self) -> None:
        os.close(self._file)

    def try_lock(self) -> bool:
        return self._lock.acquire(timeout=LOCK_S)

    def unlock(self) -> None:
        self._lock.release()

    def writeto(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        self._transfer(address, bytes(buffer[start:end]), 0)

    def readfrom_into(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        end = len(buffer) if end is None else end
        buffer[start:end] = self._transfer(address, None, end - start)

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
        buffer_in[in_start:in_end] = self._transfer(address, bytes(buffer_out[out_start:out_end]), in_end - in_start)

    def _transfer(self, address: int, written: bytes | None, to_read: int) -> bytes:
        """One transaction of the kernel: bytes written, then bytes read, with nobody in between."""
        read = (ctypes.c_ubyte * to_read)()
        messages: list[Message] = []
        if written is not None:
            out = (ctypes.c_ubyte * len(written)).from_buffer_copy(written)
            messages.append(Message(address, 0, len(written), out))
        if to_read:
            messages.append(Message(address, I2C_M_RD, to_read, read))
        array = (Message * len(messages))(*messages)
        self._ioctl(self._file, I2C_RDWR, Transfer(array, len(messages)))
        return bytes(read)
