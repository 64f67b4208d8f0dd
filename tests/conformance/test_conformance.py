"""One suite for every way to be plugged in: the emulated boards in this process, in one of their own, a plain fake, and
a real Pi with the jig on it (LYEWATCH_JIG). Nothing here knows which it is."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from gpiozero import GPIOPinInUse, OutputDevice

from controller.core.outputs import Outputs
from controller.core.signals import Code, Reading
from controller.hardware.ads1115 import Converter
from controller.hardware.description import (
    Ads1115,
    Ads1115Channel,
    Ds18b20,
    Hardware,
    KnownVoltage,
    OutputPin,
    PulseMeter,
    Switch,
)
from controller.hardware.ds18b20 import Thermometer
from controller.hardware.edges import EdgeLog
from controller.hardware.instruments import Instruments, open_instruments
from controller.hardware.ports import Ports
from controller.hardware.pulses import FlowMeter
from controller.hardware.scales import TwoPoint, shunt_amplifier
from controller.hardware.switches import Contact

from .jigs import IN, OUT, Jig

VOLTS = TwoPoint(0.0, 0.0, 1.0, 1.0)
CHIP = Ads1115(1, 0x48, known=KnownVoltage(3, 1.65, 4.096))
MEASURED_WITHIN_V = 0.02  # of what the jig's resistors give
SETTLES_S = 2.0  # generous: other programs share the machine


def converter(jig: Jig, ports: Ports, *channels: Ads1115Channel) -> Converter:
    return Converter(channels[0].chip, channels, ports.i2c[1], jig.clock, jig.wait)


@pytest.fixture
def output(ports: Ports) -> Iterator[OutputDevice]:
    with OutputDevice(OUT, initial_value=False, pin_factory=ports.pins) as device:
        yield device


def settled(jig: Jig, log: EdgeLog, level: bool) -> bool:
    """Waits until the looped-back pin is at a level; how long a wire takes is not asked."""
    until_s = jig.clock() + SETTLES_S
    while log.level() is not level:
        if jig.clock() > until_s:
            return False
        jig.wait(0.001)
    return True


# --- converter


def test_each_channel_reads_its_own_voltage(jig: Jig, ports: Ports) -> None:
    rest, ground, half = converter(
        jig,
        ports,
        Ads1115Channel(CHIP, 0, 0.512, shunt_amplifier(0.010), negative=3),
        Ads1115Channel(CHIP, 1, 4.096, VOLTS),
        Ads1115Channel(CHIP, 2, 4.096, VOLTS),
    ).read_once()
    assert [reading.code for reading in (rest, ground, half)] == [Code.OK] * 3
    assert rest.number == pytest.approx(0.0, abs=MEASURED_WITHIN_V / 0.010)
    assert ground.number == pytest.approx(0.0, abs=MEASURED_WITHIN_V)
    assert half.number == pytest.approx(0.5, abs=MEASURED_WITHIN_V)


def test_channels_stay_apart_over_many_reads(jig: Jig, ports: Ports) -> None:
    chip = converter(jig, ports, Ads1115Channel(CHIP, 1, 4.096, VOLTS), Ads1115Channel(CHIP, 2, 1.024, VOLTS))
    for _ in range(50):
        ground, half = chip.read_once()
        assert ground.number == pytest.approx(0.0, abs=MEASURED_WITHIN_V)
        assert half.number == pytest.approx(0.5, abs=MEASURED_WITHIN_V)


def test_stamps_begin_before_the_reading_ends_and_never_go_back(jig: Jig, ports: Ports) -> None:
    chip = converter(jig, ports, Ads1115Channel(CHIP, 1, 4.096, VOLTS), Ads1115Channel(CHIP, 2, 4.096, VOLTS))
    last_s = jig.clock()
    for _ in range(5):
        for reading in chip.read_once():
            assert last_s <= reading.stamp_s <= jig.clock()
            last_s = reading.stamp_s


def test_a_range_that_is_too_small_reads_full_scale(jig: Jig, ports: Ports) -> None:
    (reading,) = converter(jig, ports, Ads1115Channel(CHIP, 2, 0.256, VOLTS)).read_once()
    assert reading.number == pytest.approx(0.256, abs=1e-4)


def test_a_known_voltage_that_is_another_condemns_the_chip(jig: Jig, ports: Ports) -> None:
    chip = Ads1115(1, 0x48, known=KnownVoltage(3, 1.8, 4.096))
    (reading,) = converter(jig, ports, Ads1115Channel(chip, 1, 4.096, VOLTS)).read_once()
    assert reading[0::2] == (None, Code.REFERENCE_WRONG)


def test_a_chip_that_is_not_there_is_absent_and_leaves_the_bus_to_the_others(jig: Jig, ports: Ports) -> None:
    (absent,) = converter(jig, ports, Ads1115Channel(Ads1115(1, 0x4B), 0, 4.096, VOLTS)).read_once()
    assert absent[0::2] == (None, Code.ABSENT)
    (present,) = converter(jig, ports, Ads1115Channel(CHIP, 2, 4.096, VOLTS)).read_once()
    assert present.code is Code.OK


def test_every_refusal_of_the_bus_is_an_oserror(ports: Ports) -> None:
    bus = ports.i2c[1]
    assert bus.try_lock()
    try:
        for transfer in (
            lambda: bus.writeto(0x4B, b"\x01"),
            lambda: bus.readfrom_into(0x4B, bytearray(2)),
            lambda: bus.writeto_then_readfrom(0x4B, b"\x01", bytearray(2)),
        ):
            with pytest.raises(OSError):
                transfer()
    finally:
        bus.unlock()


# --- pins


def test_an_output_starts_low_and_reads_back_what_it_drives(output: OutputDevice) -> None:
    assert output.value == 0
    output.on()
    assert output.value == 1
    output.off()
    assert output.value == 0


def test_an_input_follows_its_wire_and_stamps_its_edges_between_before_and_after(
    jig: Jig, ports: Ports, output: OutputDevice
) -> None:
    log = EdgeLog(ports.pins, IN, "none", jig.clock)
    marks = [jig.clock()]
    for level in (True, False, True, False):
        output.value = level
        assert settled(jig, log, level)
        jig.wait(0.01)
        marks.append(jig.clock())
    until_s, edges = jig.clock() + SETTLES_S, list(log.until(jig.clock()))
    while len(edges) < 4 and jig.clock() < until_s:
        jig.wait(0.01)
        edges += log.until(jig.clock())
    log.close()
    assert [edge.level for edge in edges] == [True, False, True, False]
    for edge, after_s, before_s in zip(edges, marks[1:], marks[:-1], strict=True):
        assert before_s - 1e-6 <= edge.stamp_s <= after_s + 1e-6


def test_pulses_are_counted_one_by_one(jig: Jig, ports: Ports, output: OutputDevice) -> None:
    meter = FlowMeter(PulseMeter(IN, 450.0, 0.4, 8.0, pull="none"), EdgeLog(ports.pins, IN, "none", jig.clock))
    for _ in range(40):
        output.on()
        jig.wait(0.011)
        output.off()
        jig.wait(0.013)
        meter.poll(jig.clock())
    until_s = jig.clock() + SETTLES_S
    while meter.total < 40 and jig.clock() < until_s:
        jig.wait(0.01)
        meter.poll(jig.clock())
    assert meter.total == 40
    assert meter.lost_edges == 0


def test_a_contact_is_given_as_its_share_of_the_time(jig: Jig, ports: Ports, output: OutputDevice) -> None:
    log = EdgeLog(ports.pins, IN, "none", jig.clock)
    contact = Contact(Switch(IN, pull="none", proven_when="high"), log)
    contact.poll(jig.clock())
    jig.wait(0.1)
    assert contact.poll(jig.clock()).number == 0.0
    output.on()
    assert settled(jig, log, True)
    jig.wait(0.05)  # the edge's news may take as long as a bench's step
    contact.poll(jig.clock())
    jig.wait(0.1)
    assert contact.poll(jig.clock()) == Reading(1.0, pytest.approx(jig.clock(), abs=SETTLES_S), Code.OK)
    assert contact.proven is True


def test_one_pin_cannot_be_had_twice(ports: Ports, output: OutputDevice) -> None:
    with pytest.raises(GPIOPinInUse):
        OutputDevice(OUT, pin_factory=ports.pins)
    assert output.value == 0


def test_what_was_on_is_off_after_closing_and_after_opening_anew(jig: Jig) -> None:
    hardware = Hardware((("looped", Switch(IN, pull="none", proven_when="high")),), (("horn", OutputPin(OUT)),))
    for _ in range(2):
        ports = jig.open()
        instruments = open_instruments(hardware, ports, jig.clock, jig.wait)
        assert instruments.drives.read_back()[7] is False
        assert instruments.read_all(jig.clock())[0].number == 0.0
        instruments.drives.write(Outputs(horn=True))
        assert instruments.drives.read_back()[7] is True
        assert became(jig, instruments, 1.0)
        instruments.close()
        ports.close()


def became(jig: Jig, instruments: Instruments, share: float) -> bool:
    until_s = jig.clock() + SETTLES_S
    while instruments.read_all(jig.clock())[0].number != share:
        if jig.clock() > until_s:
            return False
        jig.wait(0.03)
    return True


# --- thermometer


def test_a_thermometer_gives_the_temperature_of_a_room_stamped_with_its_start(jig: Jig, ports: Ports) -> None:
    before_s = jig.clock()
    reading = Thermometer(Ds18b20(jig.sensor_id), ports.kernel, jig.clock).read_once()
    assert reading.code is Code.OK
    assert reading.number is not None
    assert 0.0 < reading.number < 45.0
    assert before_s <= reading.stamp_s <= jig.clock()
    assert (reading.number * 16) % 1 == 0


def test_a_thermometer_that_is_not_there_is_absent(jig: Jig, ports: Ports) -> None:
    reading = Thermometer(Ds18b20("28-00000000dead"), ports.kernel, jig.clock).read_once()
    assert reading[0::2] == (None, Code.ABSENT)
