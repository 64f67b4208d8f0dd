"""What the kernel says of the controller itself: yes, no, or not known."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.signals import Code
from controller.hardware.kernel import CoreMonitor, SupplyMonitor, core_c, keeps_outputs, supply_sags
from controller.hardware.ports import TextFolder
from simulator.boards.clock import VirtualClock


def put(root: Path, path: str, text: str) -> None:
    (root / path).parent.mkdir(parents=True, exist_ok=True)
    (root / path).write_text(text)


@pytest.mark.parametrize(
    ("module", "text", "answer"), [("pinctrl_rp1", "Y\n", True), ("pinctrl_bcm2835", "N\n", False)]
)
def test_whether_outputs_outlive_their_process_is_read_from_the_pin_driver(
    tmp_path: Path, module: str, text: str, answer: bool
) -> None:
    put(tmp_path, "module/kvm/parameters/other", "Y\n")
    put(tmp_path, f"module/{module}/parameters/persist_gpio_outputs", text)
    assert keeps_outputs(TextFolder(tmp_path)) is answer


def test_on_a_machine_that_does_not_say_nothing_is_known(tmp_path: Path) -> None:
    kernel = TextFolder(tmp_path / "none")
    assert (keeps_outputs(kernel), supply_sags(kernel), core_c(kernel)) == (None, None, None)


@pytest.mark.parametrize(("alarm", "answer"), [("0\n", False), ("1\n", True)])
def test_a_sagging_supply_is_read_from_its_monitor(tmp_path: Path, alarm: str, answer: bool) -> None:
    put(tmp_path, "class/hwmon/hwmon0/name", "cpu_thermal\n")
    put(tmp_path, "class/hwmon/hwmon1/name", "rpi_volt\n")
    put(tmp_path, "class/hwmon/hwmon1/in0_lcrit_alarm", alarm)
    assert supply_sags(TextFolder(tmp_path)) is answer


@pytest.mark.parametrize(
    ("flags", "answer"), [("0", False), ("0x50005", True), ("0x50000", False), ("4", False), ("rubbish", None)]
)
def test_or_from_the_firmwares_flags_of_which_only_the_one_that_stands_now_counts(
    tmp_path: Path, flags: str, answer: bool | None
) -> None:
    """Bit 0: under-voltage now; bit 16: it has occurred since boot."""
    put(tmp_path, "devices/platform/soc/soc:firmware/get_throttled", flags + "\n")
    assert supply_sags(TextFolder(tmp_path)) is answer


def test_the_processors_temperature_is_in_millidegrees(tmp_path: Path) -> None:
    put(tmp_path, "class/thermal/thermal_zone0/temp", "48312\n")
    assert core_c(TextFolder(tmp_path)) == 48.312


def test_as_signals_unknown_is_absent_and_known_is_a_number(tmp_path: Path) -> None:
    kernel, clock = TextFolder(tmp_path), VirtualClock(5.0)
    assert SupplyMonitor(kernel, clock).read_once() == (None, 5.0, Code.ABSENT)
    assert CoreMonitor(kernel, clock).read_once() == (None, 5.0, Code.ABSENT)
    put(tmp_path, "devices/platform/soc/soc:firmware/get_throttled", "0\n")
    put(tmp_path, "class/thermal/thermal_zone0/temp", "51000\n")
    assert SupplyMonitor(kernel, clock).read_once() == (1.0, 5.0, Code.OK)
    assert CoreMonitor(kernel, clock).read_once() == (51.0, 5.0, Code.OK)
