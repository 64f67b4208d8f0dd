"""Outputs: safe when opened, when closed and when forgotten; what is unsafe by wiring is refused."""

from __future__ import annotations

import gc

import pytest

from controller.core.outputs import OFF, PINS, Outputs
from controller.hardware.description import Ds18b20, Hardware, Heartbeat, OutputPin, PulseMeter, SetPoint, Switch
from controller.hardware.outputs import Drives

from .rig import PinRig

HARDWARE = Hardware(
    (),
    (
        ("main_hold", OutputPin(27)),
        ("main_close", OutputPin(22)),
        ("second", OutputPin(23)),
        ("ventilation", OutputPin(9, active_high=False, safe_on=True)),
    ),
    Heartbeat(17),
    SetPoint(18, 40.0),
)
USED = (27, 22, 23, 9, 17, 18)


class OutputRig(PinRig):
    def __init__(self) -> None:
        super().__init__()
        self.changes: list[tuple[int, bool]] = []
        self.board.changed = lambda pin, level, at_s: self.changes.append((pin, level))
        self.drives = Drives(HARDWARE, self.pins)


def test_opening_moves_no_pin() -> None:
    rig = OutputRig()
    assert rig.changes == []
    assert not any(rig.board.read(pin) for pin in USED)


def test_each_output_drives_its_own_pin_and_reads_back_in_the_cores_order() -> None:
    rig = OutputRig()
    for name, pin in (("main_hold", 27), ("main_close", 22), ("second", 23)):
        rig.drives.write(OFF._replace(**{name: True, "ventilation": True}))
        assert [p for p in USED if rig.board.read(p)] == [pin]
        assert rig.drives.read_back()[PINS.index(name)] is True
    assert rig.drives.read_back()[PINS.index("coolant")] is None  # not wired


def test_ventilation_that_is_off_needs_the_pin_high() -> None:
    """So that it runs when nobody drives the pin."""
    rig = OutputRig()
    rig.drives.write(Outputs(ventilation=False))
    assert rig.board.read(9)
    rig.drives.write(Outputs(ventilation=True))
    assert not rig.board.read(9)


def test_closing_leaves_every_output_safe() -> None:
    rig = OutputRig()
    rig.drives.write(Outputs(main_hold=True, main_close=True, second=True, ventilation=False, setpoint_a=30.0))
    rig.drives.edge()
    rig.drives.close()
    assert not any(rig.board.read(pin) for pin in USED)
    assert rig.board.share(18) == 0.0


def test_a_pin_is_driven_safe_before_it_is_let_go() -> None:
    """An input with nothing on it floats; a driver's gate keeps what it last had."""
    rig = OutputRig()
    rig.drives.write(Outputs(main_hold=True, main_close=True, second=True, ventilation=False))
    let_go: list[bool] = []
    claim_in = rig.board.claim_in

    def watched(pin: int, pull: str) -> None:
        let_go.append(rig.board.read(pin))
        claim_in(pin, pull)

    rig.board.claim_in = watched  # type: ignore[method-assign]
    rig.drives.close()
    assert let_go
    assert not any(let_go)


def test_a_collection_of_garbage_does_not_drop_a_pin() -> None:
    """The library closes the pin of a device that nobody holds."""
    rig = OutputRig()
    rig.drives.write(Outputs(main_hold=True))
    gc.collect()
    assert rig.board.read(27)


def test_a_pin_stuck_at_either_level_shows_in_the_read_back() -> None:
    rig = OutputRig()
    rig.board.hold(27, True)
    rig.drives.write(OFF)
    assert rig.drives.read_back()[0] is True
    rig.board.hold(27, False)
    rig.drives.write(Outputs(main_hold=True))
    assert rig.drives.read_back()[0] is False


def test_an_error_at_one_pin_does_not_keep_the_others_from_being_driven() -> None:
    rig = OutputRig()
    rig.drives.write(Outputs(main_hold=True, second=True, setpoint_a=30.0))
    write = rig.board.write

    def broken(pin: int, level: bool) -> None:
        if pin == 27:
            raise OSError(5, "input/output error")
        write(pin, level)

    rig.board.write = broken  # type: ignore[method-assign]
    with pytest.raises(OSError, match="input/output"):
        rig.drives.write(OFF)
    assert not rig.board.read(23)
    assert rig.board.share(18) == 0.0


def test_only_a_changed_set_point_is_written() -> None:
    rig = OutputRig()
    rig.drives.write(Outputs(setpoint_a=10.0))
    rig.board.pulse_width(18, 0.9)  # would show a write
    rig.drives.write(Outputs(setpoint_a=10.0))
    assert rig.board.share(18) == 0.9


@pytest.mark.parametrize("pin", [0, 1, 2, 3, 4, 5, 6, 7, 8, 14, 15, 28, -1])
def test_a_pin_that_is_not_quiet_at_boot_is_refused_for_an_output(pin: int) -> None:
    """Case A26 (a): GPIO 0 to 8 are pulled up at reset, 14 and 15 are the console."""
    with pytest.raises(ValueError, match=f"pin {pin} cannot be an output"):
        OutputPin(pin)


@pytest.mark.parametrize(("active_high", "safe_on"), [(False, False), (True, True)])
def test_an_output_that_a_dead_pi_would_leave_unsafe_is_refused(active_high: bool, safe_on: bool) -> None:
    """Case A26 (b): an active-low coil; and ventilation that stops with the Pi."""
    with pytest.raises(ValueError, match="when the Pi is dead"):
        OutputPin(17, active_high, safe_on)


def test_a_good_pin_for_a_coil_is_accepted() -> None:
    """Case A26 (c)."""
    assert OutputPin(17).pin == 17


def test_two_things_on_one_pin_are_refused_and_both_named() -> None:
    with pytest.raises(ValueError, match="pin 27 is asked for by the watchdog's edge and by main_hold"):
        Hardware((), (("main_hold", OutputPin(27)),), Heartbeat(27))
    with pytest.raises(ValueError, match="pin 5 is asked for by level and by flow"):
        Hardware((("flow", PulseMeter(5, 450.0, 0.4, 8.0)), ("level", Switch(5))))


def test_the_pins_of_the_kernels_buses_are_not_to_be_had() -> None:
    with pytest.raises(ValueError, match="I2C data"):
        Hardware((("level", Switch(2)),))
    with pytest.raises(ValueError, match="1-Wire"):
        Hardware((("t", Ds18b20("28-0b0a7e110001")), ("level", Switch(4))))


def test_an_output_that_the_core_does_not_know_is_refused() -> None:
    with pytest.raises(ValueError, match="no output 'heater'"):
        Hardware((), (("heater", OutputPin(27)),))
