"""The emulated 1-Wire files against the datasheet of the DS18B20 and Maxim's application note 27."""

from __future__ import annotations

import pytest

from simulator.boards.onewire import LINE_FAULTS, crc8, kernel_text, scratchpad, slave_text


def test_the_checksum_agrees_with_the_application_note() -> None:
    """Maxim AN27, example 2, in the order on the wire; and over the message with its checksum it is zero."""
    assert crc8(bytes.fromhex("021cb801000000")) == 0xA2
    assert crc8(bytes.fromhex("021cb801000000a2")) == 0x00


def test_the_checksum_agrees_with_the_common_check_string() -> None:
    """CRC-8/MAXIM-DOW over 123456789 is A1 (crc 8.0.0, crcmod 1.7)."""
    assert crc8(b"123456789") == 0xA1


@pytest.mark.parametrize(
    ("celsius", "code"),
    [
        (125.0, 0x07D0),
        (85.0, 0x0550),
        (25.0625, 0x0191),
        (10.125, 0x00A2),
        (0.5, 0x0008),
        (0.0, 0x0000),
        (-0.5, 0xFFF8),
        (-10.125, 0xFF5E),
        (-25.0625, 0xFE6F),
        (-55.0, 0xFC90),
    ],
)
def test_temperatures_have_the_codes_of_the_datasheet(celsius: float, code: int) -> None:
    """Maxim DS18B20, table 1."""
    pad = scratchpad(celsius)
    assert pad[1] << 8 | pad[0] == code
    assert crc8(pad) == 0


def test_the_power_on_scratchpad_is_the_recalled_one() -> None:
    """50 05 4B 46 7F FF 0C 10 with checksum 1C: checksum by crc 8.0.0; the bytes from memory."""
    assert scratchpad(85.0, power_on=True).hex() == "50054b467fff0c101c"


def test_lines_read_as_the_kernel_prints_them() -> None:
    """Case A08: 63.5 C, and a true 85 C, whose byte 6 is 10."""
    assert slave_text(63.5) == "f8 03 4b 46 7f ff 08 10 b9 : crc=b9 YES\nf8 03 4b 46 7f ff 08 10 b9 t=63500\n"
    assert slave_text(85.0).startswith("50 05 4b 46 7f ff 10 10 bd : crc=bd YES")


def test_nine_zeros_pass_the_checksum_and_nine_ones_do_not() -> None:
    """Why a line shorted low looks like 0.0 C."""
    assert crc8(bytes(9)) == 0
    assert crc8(b"\xff" * 9) != 0
    assert "YES" in slave_text(20.0, "all_zeros")
    assert "NO" in slave_text(20.0, "all_ones")


@pytest.mark.parametrize(("bits", "step"), [(9, 0.5), (10, 0.25), (11, 0.125), (12, 0.0625)])
def test_resolution_is_coded_and_kept(bits: int, step: float) -> None:
    """Maxim DS18B20, figure 8 and table 2: configuration 1F, 3F, 5F, 7F."""
    pad = scratchpad(21.1, bits=bits)
    assert pad[4] == {9: 0x1F, 10: 0x3F, 11: 0x5F, 12: 0x7F}[bits]
    assert int.from_bytes(pad[:2], "little") / 16 % step == 0


def test_every_fault_differs_from_health() -> None:
    healthy = slave_text(85.0)
    for fault in LINE_FAULTS:
        if fault in ("absent", "io_error", "hang"):
            with pytest.raises(OSError):
                slave_text(85.0, fault)
        else:
            assert slave_text(85.0, fault) != healthy, fault


def test_negative_temperatures_print_negative_millidegrees() -> None:
    assert kernel_text(scratchpad(-10.125)).endswith("t=-10125\n")
