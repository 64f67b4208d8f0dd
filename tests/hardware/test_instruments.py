"""Everything of a rig opened together: order, slow readers, and all or nothing."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from gpiozero import GPIOPinInUse, OutputDevice

from controller.core.signals import Code
from controller.hardware.description import (
    Ads1115,
    Ads1115Channel,
    CoreTemperature,
    Ds18b20,
    Hardware,
    OutputPin,
    SupplyGood,
    Switch,
)
from controller.hardware.instruments import CONVERSION_S, Instruments, open_instruments
from controller.hardware.scales import TwoPoint
from simulator.boards.bench import Bench
from simulator.boards.clock import VirtualClock
from simulator.boards.wiring import shipped_wiring
from tests.boards.rigs import BOATHOUSE
from tests.boards.still_plant import StillPlant


class World:
    def __init__(self, hardware: Hardware = BOATHOUSE) -> None:
        self.clock = VirtualClock()
        self.bench = Bench(shipped_wiring("boathouse"), StillPlant(), self.clock)
        self.ports = self.bench.ports()
        self.hardware = hardware

    def open(self, wait: Callable[[float], None] | None = None) -> Instruments:
        return open_instruments(self.hardware, self.ports, self.clock, wait or self.clock.wait)


def test_readings_come_in_the_order_of_the_signals_whatever_they_hang_on() -> None:
    world = World(
        Hardware(
            (
                ("supply", SupplyGood()),
                ("pressure", Ads1115Channel(Ads1115(1, 0x49), 0, 4.096, TwoPoint(0.0, 0.0, 1.0, 1.0))),
                ("level", Switch(6)),
                ("voltage", Ads1115Channel(Ads1115(1, 0x48), 3, 4.096, TwoPoint(0.0, 0.0, 1.0, 1.0))),
                ("inlet", Ds18b20("28-0b0a7e110003")),
            )
        )
    )
    world.bench.advance(world.clock())
    instruments = world.open()
    for group in instruments.slow_groups:
        group.run_once()
    readings = instruments.read_all(world.clock())
    assert instruments.names == ("supply", "pressure", "level", "voltage", "inlet")
    assert [reading.number for reading in readings] == pytest.approx([1.0, 1.05, 1.0, 1.65, 15.0], abs=0.001)


def test_before_its_first_answer_a_slow_reader_says_so() -> None:
    readings = World().open().read_all(1000.0)
    slow = readings[BOATHOUSE.signals.index(next(s for s in BOATHOUSE.signals if s[0] == "cell_temperature"))]
    assert slow == (None, 1000.0, Code.NOT_READ_YET)


def test_sensors_on_one_bus_take_turns_and_a_result_is_there_after_its_conversion() -> None:
    world = World()
    instruments = world.open()
    group = next(group for group in instruments.slow_groups if group.name == "1-Wire bus")
    places = [instruments.names.index(name) for name in ("cell_temperature", "coolant_outlet")]
    begun: list[tuple[float, float]] = []
    for _ in range(45):
        world.clock.now_s += 0.1
        group.step(world.clock())
        readings = instruments.read_all(world.clock())
        begun.append((readings[places[0]].stamp_s, readings[places[1]].stamp_s))
    seen = sorted({stamp_s for pair in begun for stamp_s in pair if stamp_s > 1000.0})
    gaps = [later - earlier for earlier, later in itertools.pairwise(seen)]
    assert all(gap >= CONVERSION_S - 1e-9 for gap in gaps)
    assert len(seen) == 4
    for position in (0, 1):  # every other reading is of the other sensor
        own = sorted({pair[position] for pair in begun} - {1000.0})
        assert all(later - earlier >= 2 * CONVERSION_S - 1e-9 for earlier, later in itertools.pairwise(own))


def test_the_age_of_a_value_never_exceeds_what_two_sensors_and_a_scan_explain() -> None:
    world = World()
    instruments = world.open()
    at = instruments.names.index("cell_temperature")
    for scan in range(200):
        world.clock.now_s += 0.1
        for group in instruments.slow_groups:
            group.step(world.clock())
        age_s = world.clock() - instruments.read_all(world.clock())[at].stamp_s
        assert scan < 30 or age_s <= 3 * (CONVERSION_S + 0.1) + 0.1


def test_an_absent_sensor_does_not_make_its_thread_spin() -> None:
    """The read fails at once; the thread must wait for what a conversion would have taken."""
    world = World()
    instruments = world.open()
    world.bench.fault("cell_temperature", "absent")
    world.bench.fault("coolant_outlet", "absent")
    before_s = world.clock()
    for group in dict.fromkeys(instruments.slow_groups):
        group.run_once()
    assert world.clock() - before_s == pytest.approx(CONVERSION_S + 1.0)


def test_the_scan_never_reads_a_slow_sensor() -> None:
    """Case A13: whatever a 1-Wire read takes, the scan does not wait for it."""
    world = World()
    instruments = world.open()

    def never(path: str) -> str:
        raise AssertionError("read in the scan")

    world.bench.kernel.read = never  # type: ignore[method-assign]
    assert len(instruments.read_all(world.clock())) == len(BOATHOUSE.signals)


def test_a_pin_that_is_taken_leaves_nothing_open() -> None:
    world = World()
    with OutputDevice(25, pin_factory=world.ports.pins):
        with pytest.raises(GPIOPinInUse):
            world.open()
        with OutputDevice(27, pin_factory=world.ports.pins) as free:
            assert free.value == 0
    world.open().close()


def test_a_bus_that_is_not_there_is_named_with_those_that_are() -> None:
    hardware = Hardware((("x", Ads1115Channel(Ads1115(3, 0x48), 0, 4.096, TwoPoint(0.0, 0.0, 1.0, 1.0))),))
    with pytest.raises(ValueError, match=r"converter 0x48 on bus 3: there is no such bus; known: \[1\]"):
        World(hardware).open()


def test_failed_transfers_are_counted_by_device() -> None:
    world = World()
    instruments = world.open()
    instruments.read_all(world.clock())
    assert set(instruments.errors.values()) == {0}
    world.bench.fault("converter 0x49", "absent")
    instruments.read_all(world.clock())
    assert instruments.errors == {"converter 0x48 on bus 1": 0, "converter 0x49 on bus 1": 3}


def test_simulated_is_what_the_ports_are() -> None:
    assert World().open().simulated is True


def test_a_rig_with_one_contactor_says_that_the_second_is_not_wired() -> None:
    hardware = Hardware((), (("main_hold", OutputPin(27)),), main_contact=Switch(7))
    instruments = World(hardware).open()
    instruments.read_all(1000.0)
    assert instruments.contacts() == (False, None, None)


def test_the_controllers_own_signals_are_read_like_the_others() -> None:
    world = World(Hardware((("supply", SupplyGood()), ("core", CoreTemperature()))))
    instruments = world.open()
    for _ in range(2):
        for group in instruments.slow_groups:
            group.run_once()
    assert [reading.number for reading in instruments.read_all(world.clock())] == [1.0, 48.312]
