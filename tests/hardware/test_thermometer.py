"""The 1-Wire driver reads nine bytes, and believes a temperature only when they can be one."""

from __future__ import annotations

import errno

import pytest

from controller.core.signals import Code, Reading
from controller.hardware.description import Ds18b20
from controller.hardware.ds18b20 import Scratchpad, Thermometer, crc8, parse
from simulator.boards.clock import VirtualClock
from simulator.boards.onewire import kernel_text, scratchpad, slave_text

TRUE_85 = "50 05 4b 46 7f ff 10 10 bd : crc=bd YES\n50 05 4b 46 7f ff 10 10 bd t=85000\n"
POWER_ON = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
AT_63_5 = "f8 03 4b 46 7f ff 08 10 b9 : crc=b9 YES\nf8 03 4b 46 7f ff 08 10 b9 t=63500\n"


class Files:
    """Kernel files whose content a test sets."""

    def __init__(self) -> None:
        self.text: str | OSError = AT_63_5

    def read(self, path: str) -> str:
        assert path == "bus/w1/devices/28-0b0a7e110001/w1_slave"
        if isinstance(self.text, OSError):
            raise self.text
        return self.text

    def names(self, folder: str) -> tuple[str, ...]:
        return ()


class Rig:
    def __init__(self) -> None:
        self.clock = VirtualClock()
        self.files = Files()
        self.thermometer = Thermometer(Ds18b20("28-0b0a7e110001"), self.files, self.clock)

    def read(self, text: str | OSError) -> Reading:
        self.clock.now_s += 1.0
        self.files.text = text
        return self.thermometer.read_once()


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        (AT_63_5, Scratchpad(63.5, False)),
        (TRUE_85, Scratchpad(85.0, False)),
        (POWER_ON, Scratchpad(85.0, True)),
        (slave_text(-10.125), Scratchpad(-10.125, False)),
        (slave_text(-55.0), Scratchpad(-55.0, False)),
        (slave_text(40.0, "clone"), Scratchpad(40.0, False)),
        ("", Code.ABSENT),
        ("\n", Code.ABSENT),
        (slave_text(40.0, "all_ones"), Code.ABSENT),
        (slave_text(40.0, "all_zeros"), Code.ALL_ZERO),
        (slave_text(40.0, "bad_checksum"), Code.BAD_CHECKSUM),
        (AT_63_5.replace("YES", "NO"), Code.BAD_CHECKSUM),
        (AT_63_5.replace("f8 03", "f9 03"), Code.BAD_CHECKSUM),
        (AT_63_5[:25], Code.BAD_CHECKSUM),
        ("rubbish", Code.BAD_CHECKSUM),
    ],
)
def test_a_text_is_a_temperature_or_a_reason(text: str, seen: Scratchpad | Code) -> None:
    assert parse(text) == seen


def test_too_little_power_for_a_conversion_is_no_127_degrees() -> None:
    """127.9375 C with byte 6 as before any conversion."""
    pad = bytes.fromhex("ff074b467fff0c10")
    assert parse(kernel_text(pad + bytes([crc8(pad)]))) is Code.POWER_ON_VALUE


@pytest.mark.parametrize("at", [4, 5])
def test_bytes_that_no_ds18b20_has_are_refused_though_their_checksum_is_right(at: int) -> None:
    pad = bytearray(scratchpad(40.0)[:8])
    pad[at] = 0x00
    assert parse(kernel_text(bytes(pad) + bytes([crc8(pad)]))) is Code.WRONG_CONFIGURATION


def test_a_temperature_beyond_the_part_is_refused_though_its_checksum_is_right() -> None:
    pad = (16 * 130).to_bytes(2, "little") + bytes.fromhex("4b467fff1010")
    assert parse(kernel_text(pad + bytes([crc8(pad)]))) is Code.WRONG_CONFIGURATION


def test_one_power_on_value_is_rejected_and_the_next_reading_is_good() -> None:
    """Case A08 (a)."""
    rig = Rig()
    assert rig.read(AT_63_5).number == 63.5
    assert rig.read(POWER_ON)[0::2] == (None, Code.POWER_ON_VALUE)
    assert rig.read(AT_63_5)[0::2] == (63.5, Code.OK)


def test_a_sensor_that_keeps_saying_the_power_on_value_stays_rejected_for_longer_than_any_grace() -> None:
    """Case A08 (b): grace is 5 s for a sensor read once a second."""
    rig = Rig()
    rig.read(AT_63_5)
    assert {rig.read(POWER_ON).code for _ in range(60)} == {Code.POWER_ON_VALUE}


@pytest.mark.parametrize("clone", [False, True])
def test_a_true_85_that_was_reached_step_by_step_is_a_temperature(clone: bool) -> None:
    """Case A08 (c) and (d): a copy shows byte 6 as before any conversion."""
    rig = Rig()
    for celsius in (84.8125, 84.875, 84.9375):
        assert rig.read(slave_text(celsius, "clone" if clone else "")).number == celsius
    assert rig.read(POWER_ON if clone else TRUE_85)[0::2] == (85.0, Code.OK)


def test_the_first_reading_of_all_cannot_be_a_power_on_value_that_is_believed() -> None:
    assert Rig().read(POWER_ON).code is Code.POWER_ON_VALUE


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (FileNotFoundError(errno.ENOENT, "gone"), Code.ABSENT),
        (OSError(errno.ENODEV, "gone"), Code.ABSENT),
        (OSError(errno.EIO, "input/output error"), Code.BUS_ERROR),
    ],
)
def test_a_missing_file_and_a_failed_read_have_their_own_reasons(error: OSError, code: Code) -> None:
    """Case A11."""
    assert Rig().read(error)[0::2] == (None, code)


def test_the_stamp_is_the_start_of_the_conversion() -> None:
    rig = Rig()

    class Blocking(Files):
        def read(self, path: str) -> str:
            rig.clock.wait(0.92)
            return super().read(path)

    thermometer = Thermometer(Ds18b20("28-0b0a7e110001"), Blocking(), rig.clock)
    start_s = rig.clock()
    assert thermometer.read_once() == (63.5, start_s, Code.OK)
    assert rig.clock() == pytest.approx(start_s + 0.92)


@pytest.mark.parametrize(
    "name",
    ["28-0B0A7E110001", "22-0b0a7e110001", "0b0a7e11", "28-", "28-../../etc/pw", "28-0b0a7e1100", "28-0b0a7e1100011"],
)
def test_a_name_that_is_no_ds18b20_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="is not the name of a DS18B20"):
        Ds18b20(name)


def test_both_checksums_in_this_project_agree_though_written_apart() -> None:
    from simulator.boards import onewire

    for number in range(512):
        message = number.to_bytes(2, "big") * 4
        assert crc8(message) == onewire.crc8(message)
