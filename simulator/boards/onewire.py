"""DS18B20 sensors as the kernel shows them: nine bytes and a checksum in a text file, and what goes wrong with it."""

from __future__ import annotations

import errno

# What a 1-Wire sensor or its line can do wrong; `amount` means nothing.
LINE_FAULTS = {
    "absent": "the sensor's folder is gone",
    "empty": "the file is empty, as after a failed read",
    "io_error": "the read fails",
    "bad_checksum": "the line is disturbed: the kernel says NO",
    "all_zeros": "the line is shorted low; the checksum of nine zeros is valid",
    "all_ones": "nobody answers on the line",
    "power_on": "the sensor lost power: 85 C, byte 6 as before any conversion",
    "clone": "a copy that shows byte 6 as before any conversion, at any temperature",
    "cut": "the text ends early",
    "hang": "the read never returns",
}


def crc8(data: bytes) -> int:
    """CRC-8/MAXIM-DOW by the book: polynomial x^8 + x^5 + x^4 + 1 over the bits as they come, lowest first."""
    register = 0
    for byte in data:
        for bit in range(8):
            feedback = (register ^ (byte >> bit)) & 1
            register >>= 1
            if feedback:
                register ^= 0b10001100
    return register


def scratchpad(celsius: float, *, power_on: bool = False, clone: bool = False, bits: int = 12) -> bytes:
    """The nine bytes. Byte 6 counts down from 0x10 with the low bits of the temperature on genuine parts."""
    step = 1 << (12 - bits)
    raw = 0x0550 if power_on else round(max(-55.0, min(125.0, celsius)) * 16.0 / step) * step
    byte_6 = 0x0C if power_on or clone else 0x10 - (raw & 0x0F)
    configuration = (bits - 9) << 5 | 0x1F
    pad = (raw & 0xFFFF).to_bytes(2, "little") + bytes((0x4B, 0x46, configuration, 0xFF, byte_6, 0x10))
    return pad + bytes((crc8(pad),))


def kernel_text(pad: bytes, valid: bool = True) -> str:
    """`w1_slave` as the kernel prints nine bytes."""
    line = pad.hex(" ")
    millidegrees = int.from_bytes(pad[:2], "little", signed=True) * 1000 // 16
    return f"{line} : crc={pad[8]:02x} {'YES' if valid else 'NO'}\n{line} t={millidegrees}\n"


def slave_text(celsius: float, fault: str = "") -> str:
    """What a read of the file gives. Raises OSError where the kernel would."""
    match fault:
        case "absent":
            raise FileNotFoundError(errno.ENOENT, "no such file or directory")
        case "io_error":
            raise OSError(errno.EIO, "input/output error")
        case "hang":  # nothing in this process may block: whoever reads on a virtual clock asks again
            raise BlockingIOError(errno.EAGAIN, "resource temporarily unavailable")
        case "empty":
            return ""
        case "all_zeros":
            return kernel_text(bytes(9))
        case "all_ones":
            return kernel_text(b"\xff" * 9, valid=False)
        case "bad_checksum":
            pad = bytearray(scratchpad(celsius))
            pad[0] ^= 0x40
            return kernel_text(bytes(pad), valid=False)
        case "cut":
            return kernel_text(scratchpad(celsius))[:20]
        case "power_on":
            return kernel_text(scratchpad(85.0, power_on=True))
        case _:
            return kernel_text(scratchpad(celsius, clone=fault == "clone"))
