"""The bus and the pins of Linux, on a pretended kernel: the bytes that would go to it, the errors that come back."""

from __future__ import annotations

import ctypes
import errno
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest

from controller.core.outputs import Outputs
from controller.core.signals import Code
from controller.hardware.ads1115 import Converter
from controller.hardware.description import Hardware, Heartbeat, OutputPin, PulseMeter, SetPoint, Switch
from controller.hardware.edges import EdgeLog
from controller.hardware.linux_i2c import I2C_M_RD, I2C_RDWR, I2C_RETRIES, I2C_TIMEOUT, LinuxI2CBus
from controller.hardware.linux_ports import GPIO_GET_CHIPINFO, NoPinsError, header_chip, pin_factory
from controller.hardware.outputs import Drives
from controller.hardware.pulses import FlowMeter
from controller.hardware.switches import Contact
from simulator.boards.ads1115 import Ads1115Chip
from simulator.boards.clock import VirtualClock
from simulator.boards.i2c import SimBus
from simulator.boards.pins import PinBoard

from .pretend_lgpio import PretendLgpio
from .rig import CHIP, single


class Kernel:
    """Answers the ioctls of an I2C bus from an emulated one."""

    def __init__(self) -> None:
        self.clock = VirtualClock()
        self.bus = SimBus(Random(1))
        self.bus.chips[0x48] = Ads1115Chip(lambda at: 0.5 * (at + 1), self.clock)
        self.settings: dict[int, int] = {}

    def ioctl(self, file: int, request: int, argument: Any) -> int:
        if request != I2C_RDWR:
            self.settings[request] = argument
            return 0
        messages = [argument.msgs[i] for i in range(argument.nmsgs)]
        written, to_read = None, 0
        for message in messages:
            if message.flags & I2C_M_RD:
                to_read = message.len
            else:
                written = bytes(message.buf[: message.len])
        answer = self.bus.transfer(messages[0].addr, written, to_read)
        if to_read:
            ctypes.memmove(messages[-1].buf, answer, to_read)
        return len(messages)


@pytest.fixture
def kernel() -> Kernel:
    return Kernel()


@pytest.fixture
def bus(kernel: Kernel, tmp_path: Path) -> Iterator[LinuxI2CBus]:
    (tmp_path / "i2c-1").touch()
    opened = LinuxI2CBus(1, kernel.ioctl, str(tmp_path))
    yield opened
    opened.close()


def test_a_transfer_may_take_twenty_milliseconds_and_is_not_repeated_by_the_kernel(
    bus: LinuxI2CBus, kernel: Kernel
) -> None:
    """linux/i2c-dev.h: I2C_TIMEOUT counts in 10 ms."""
    assert kernel.settings == {I2C_TIMEOUT: 2, I2C_RETRIES: 0}


def test_a_bus_that_is_not_there_is_an_oserror(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        LinuxI2CBus(9, folder=str(tmp_path))


def test_the_converter_driver_reads_through_it(bus: LinuxI2CBus, kernel: Kernel) -> None:
    converter = Converter(CHIP, [single(0), single(2)], bus, kernel.clock, kernel.clock.wait)
    assert [reading.number for reading in converter.read_once()] == [0.5, 1.5]


def test_parts_of_buffers_go_where_they_belong(bus: LinuxI2CBus) -> None:
    answer = bytearray(b"....")
    bus.writeto_then_readfrom(0x48, b"xx\x01", answer, out_start=2, in_start=1, in_end=3)
    assert answer == b".\x85\x83."
    bus.writeto(0x48, b"\x02xx", end=1)
    bus.readfrom_into(0x48, answer, start=2)
    assert answer == b".\x85\x80\x00"


def test_an_address_that_does_not_acknowledge_is_errno_121(bus: LinuxI2CBus) -> None:
    with pytest.raises(OSError) as refused:
        bus.writeto(0x49, b"")
    assert refused.value.errno == errno.EREMOTEIO


def test_a_lock_held_by_another_thread_is_given_up_on(bus: LinuxI2CBus) -> None:
    assert bus.try_lock()
    tried: list[bool] = []
    other = threading.Thread(target=lambda: tried.append(bus.try_lock()))
    other.start()
    other.join(5.0)
    assert tried == [False]
    bus.unlock()
    assert bus.try_lock()


# --- pins


def chip_info(labels: dict[str, str]) -> Any:
    def ioctl(file: int, request: int, info: bytearray) -> int:
        assert request == GPIO_GET_CHIPINFO
        name = Path(f"/proc/self/fd/{file}").readlink().name
        info[:32] = name.encode().ljust(32, b"\0")
        info[32:64] = labels[name].encode().ljust(32, b"\0")
        return 0

    return ioctl


@pytest.mark.parametrize(
    ("labels", "number"),
    [
        ({"gpiochip0": "pinctrl-bcm2711", "gpiochip1": "raspberrypi-exp-gpio"}, 0),
        ({"gpiochip0": "gpio-brcmstb@107d508500", "gpiochip4": "pinctrl-rp1"}, 4),
        ({"gpiochip0": "pinctrl-rp1", "gpiochip10": "gpio-brcmstb@107d508500"}, 0),
    ],
)
def test_the_headers_chip_is_found_by_its_label_whatever_its_number(
    tmp_path: Path, labels: dict[str, str], number: int
) -> None:
    """A kernel update renumbered it on the Pi 5, from 4 to 0."""
    for name in labels:
        (tmp_path / name).touch()
    assert header_chip(tmp_path, chip_info(labels)) == number


def test_a_machine_without_that_chip_is_told_what_it_has(tmp_path: Path) -> None:
    (tmp_path / "gpiochip0").touch()
    with pytest.raises(NoPinsError, match="gpiochip0 is INT3450"):
        header_chip(tmp_path, chip_info({"gpiochip0": "INT3450:00"}))
    with pytest.raises(NoPinsError, match="no chip at all"):
        header_chip(tmp_path / "none")


class Pi:
    """gpiozero on the pretended lgpio."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, work: Path) -> None:
        self.clock = VirtualClock()
        self.board = PinBoard(self.clock)
        self.lgpio = PretendLgpio(self.board)
        monkeypatch.setitem(sys.modules, "lgpio", self.lgpio)
        monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
        monkeypatch.setattr("gpiozero.pins.local.get_pi_revision", lambda: 0xC03114)
        monkeypatch.setenv("LG_WD", "")
        self.factory = pin_factory(0, work)


@pytest.fixture
def pi(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Pi]:
    made = Pi(monkeypatch, tmp_path)
    yield made
    made.factory.close()
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)


def test_lgpio_is_told_where_it_may_put_its_files(pi: Pi, tmp_path: Path) -> None:
    import os

    assert os.environ["LG_WD"] == str(tmp_path)


def test_without_lgpio_the_error_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.setenv("LG_WD", "")
    with pytest.raises(NoPinsError, match=r"lyewatch\[pi\]"):
        pin_factory(0, tmp_path)


def test_a_chip_that_cannot_be_opened_is_named(pi: Pi, tmp_path: Path) -> None:
    with pytest.raises(NoPinsError, match="gpiochip3"):
        pin_factory(3, tmp_path)


def test_outputs_start_safe_and_are_never_for_a_moment_on(pi: Pi) -> None:
    """The library claims an output low and then writes: with an active-high coil that is off twice."""
    changes: list[tuple[int, bool]] = []
    pi.board.changed = lambda pin, level, at_s: changes.append((pin, level))
    hardware = Hardware((), (("main_hold", OutputPin(27)), ("ventilation", OutputPin(9, False, True))))
    drives = Drives(hardware, pi.factory)
    assert changes == []
    assert drives.read_back()[:1] == (False,)
    drives.write(Outputs(main_hold=True, ventilation=False))
    assert changes == [(27, True), (9, True)]
    drives.close()
    assert (pi.board.read(27), pi.board.read(9)) == (False, False)


def test_an_output_that_the_last_process_left_on_drops_when_it_is_claimed(pi: Pi) -> None:
    pi.board.claim_out(27, True)
    pi.board.process_died()
    assert pi.board.read(27)
    Drives(Hardware((), (("main_hold", OutputPin(27)),)), pi.factory)
    assert not pi.board.read(27)


def test_errors_of_lgpio_become_oserrors(pi: Pi) -> None:
    drives = Drives(Hardware((), (("main_hold", OutputPin(27)), ("horn", OutputPin(13)))), pi.factory)
    contact = Contact(Switch(6), EdgeLog(pi.factory, 6, "up", pi.clock))
    pi.lgpio.broken = True
    with pytest.raises(OSError, match="GPIO27 cannot be driven"):
        drives.write(Outputs(main_hold=True))
    assert drives.read_back()[0] is None
    assert contact.poll(pi.clock()).code is Code.BUS_ERROR
    pi.lgpio.broken = False
    drives.write(Outputs(main_hold=True))
    assert drives.read_back()[0] is True


def test_pulses_and_contacts_are_read_through_the_real_library_path(pi: Pi) -> None:
    meter = FlowMeter(PulseMeter(5, 450.0, 0.4, 10.0), EdgeLog(pi.factory, 5, "up", pi.clock))
    for pulse in range(30):
        for at_s, level in ((1000.0 + pulse / 15, True), (1000.0 + pulse / 15 + 0.03, False)):
            pi.clock.now_s = at_s
            pi.board.drive(5, level, at_s)
    pi.clock.now_s = 1002.0
    assert meter.poll(1002.0).number == pytest.approx(2.0, abs=0.14)
    assert meter.total == pytest.approx(30, abs=1)
    assert pi.board._pins[5].pull == "up"


def test_edges_and_set_point_reach_the_pins(pi: Pi) -> None:
    drives = Drives(Hardware((), (), Heartbeat(17), SetPoint(18, 40.0)), pi.factory)
    levels = []
    for _ in range(4):
        drives.edge()
        levels.append(pi.board.read(17))
    assert levels == [True, False, True, False]
    drives.write(Outputs(setpoint_a=30.0))
    assert pi.board.share(18) == pytest.approx(0.75)
    drives.write(Outputs(setpoint_a=9.1))  # 22.75 %
    assert pi.board.share(18) == pytest.approx(0.2275)
    drives.write(Outputs(setpoint_a=-5.0))
    assert pi.board.share(18) == 0.0
    drives.write(Outputs(setpoint_a=99.0))
    assert pi.board.share(18) == 1.0
    drives.close()
    assert pi.board.share(18) == 0.0
