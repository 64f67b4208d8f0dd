"""The converter driver: every read ends, and what it gives is proven or said not to be."""

from __future__ import annotations

import errno
from random import Random

import pytest

from controller.core.signals import Code, Reading
from controller.hardware.ads1115 import EXTRA_S, Converter
from controller.hardware.description import Ads1115, Ads1115Channel, KnownVoltage
from simulator.boards.ads1115 import Ads1115Chip
from simulator.boards.clock import VirtualClock
from simulator.boards.i2c import SimBus

from .rig import CHIP, KNOWN, VOLTS, ConverterRig, current, single


def codes(readings: tuple[Reading, ...]) -> list[Code]:
    return [reading.code for reading in readings]


def test_alternating_channels_are_never_swapped_over_ten_thousand_reads() -> None:
    """Case A01: 4B00h beside 1900h, the chip keeps the old result until a conversion time after the switch."""
    rig = ConverterRig(current(), single(1, full_scale_v=0.512))
    rig.volts[:2] = [1.65 + 0.300, 0.100]
    for _ in range(5000):
        amps, volts = rig.converter.read_once()
        assert amps.number == pytest.approx(30.0, abs=0.0016)
        assert volts.number == pytest.approx(0.100, abs=16e-6)


@pytest.mark.parametrize("clock_error", [-0.1, 0.0, 0.1])
def test_a_clock_at_either_end_of_its_tolerance_is_waited_for(clock_error: float) -> None:
    rig = ConverterRig(single(1), single(2), clock_error=clock_error)
    rig.volts[1:3] = [0.5, 1.5]
    assert [reading.number for reading in rig.converter.read_once()] == [0.5, 1.5]


@pytest.mark.parametrize("rate", [8, 16, 32, 64, 128, 250, 475, 860])
def test_every_data_rate_is_waited_for(rate: int) -> None:
    chip = Ads1115(1, 0x48, data_rate=rate)
    rig = ConverterRig(single(1, chip), clock_error=0.1)
    rig.volts[1] = 0.75
    assert codes(rig.converter.read_once()) == [Code.OK]


def test_a_stamp_is_the_start_of_its_own_conversion() -> None:
    rig = ConverterRig(single(1), single(2))
    start_s = rig.clock()
    first, second = rig.converter.read_once()
    assert first.stamp_s == start_s
    assert second.stamp_s == pytest.approx(start_s + 1 / 860 + 1e-4)


def test_small_negative_codes_at_rest_are_small_negative_currents() -> None:
    """Case A03: FFFFh read as unsigned would be 102.4 A."""
    rig = ConverterRig(current())
    seen = []
    for code in [0x0000, 0xFFFF, 0xFFFE, 0x0001, 0x0003, 0xFFFD] * 10:
        signed = code - 0x10000 if code & 0x8000 else code
        rig.volts[0] = 1.65 + signed * 15.625e-6
        (reading,) = rig.converter.read_once()
        assert reading.code is Code.OK
        assert reading.number is not None
        seen.append(reading.number)
    assert max(map(abs, seen)) <= 0.005
    assert sum(seen) / len(seen) == pytest.approx(-0.0005, abs=0.0003)


@pytest.mark.parametrize("amps", [51.198, 80.0])
def test_a_short_circuit_reads_full_scale_and_is_a_reading(amps: float) -> None:
    """Judged elsewhere: the driver gives the number, so that it counts on the trip side."""
    rig = ConverterRig(current())
    rig.volts[0] = 1.65 + amps * 0.01
    (reading,) = rig.converter.read_once()
    assert reading.number == pytest.approx(51.198, abs=0.002)
    assert reading.code is Code.OK


def test_reversed_current_reads_negative() -> None:
    rig = ConverterRig(current())
    rig.volts[0] = 1.65 - 0.25
    assert rig.converter.read_once()[0].number == pytest.approx(-25.0, abs=0.002)


@pytest.mark.parametrize(
    ("fault", "code"),
    [
        ("never_ready", Code.TIMED_OUT),
        ("all_zeros", Code.ALL_ZERO),
        ("all_ones", Code.BUS_ERROR),
        ("absent", Code.BUS_ERROR),
        ("brown_out", Code.WRONG_CONFIGURATION),
    ],
)
def test_every_way_to_fail_ends_with_its_reason_and_within_the_budget(fault: str, code: Code) -> None:
    """The stock library spins for ever, reads -1, reads a silent 0.0."""
    rig = ConverterRig(single(1), single(2))
    rig.volts[1:3] = [0.5, 1.5]
    rig.converter.read_once()
    rig.fault(fault)
    began_s = rig.clock()
    readings = rig.converter.read_once()
    assert readings[0].number is None
    assert readings[0].code is code
    assert rig.clock() - began_s < EXTRA_S + 2 * (1.3 / 860 + 0.002) + 0.005
    rig.fault("")
    rig.converter.read_once()
    assert [reading.number for reading in rig.converter.read_once()] == [0.5, 1.5]


def test_a_brown_out_in_the_middle_of_a_conversion_is_no_zero() -> None:
    rig = ConverterRig(single(1))
    rig.volts[1] = 2.0
    rig.converter.read_once()
    rig.fault("brown_out")
    assert rig.converter.read_once()[0] == (None, pytest.approx(rig.clock(), abs=0.1), Code.WRONG_CONFIGURATION)
    assert rig.converter.read_once()[0].number == 2.0


def test_a_chip_that_was_never_there_is_absent_and_is_found_when_it_comes() -> None:
    rig = ConverterRig(single(1))
    rig.volts[1] = 2.0
    rig.fault("absent")
    assert codes(rig.converter.read_once()) == [Code.ABSENT]
    rig.fault("")
    assert rig.converter.read_once()[0].number == 2.0


def test_a_chip_that_stays_away_becomes_absent() -> None:
    rig = ConverterRig(single(3, KNOWN), single(1, KNOWN))
    rig.converter.read_once()
    rig.fault("absent")
    rig.converter.read_once()
    assert codes(rig.converter.read_once()) == [Code.ABSENT, Code.ABSENT]


def test_a_bus_held_by_somebody_else_ends_too() -> None:
    rig = ConverterRig(single(1))
    rig.converter.read_once()
    rig.bus.fault = "held"
    began_s = rig.clock()
    assert codes(rig.converter.read_once()) == [Code.TIMED_OUT]
    assert rig.clock() - began_s < 0.05


def test_the_bus_is_free_again_after_an_error() -> None:
    rig = ConverterRig(single(1))
    rig.converter.read_once()
    rig.bus.fault = "dead"
    rig.converter.read_once()
    assert rig.bus.try_lock()
    rig.bus.unlock()


def test_a_single_error_is_counted_and_retried() -> None:
    """Case A06: errno 5 once."""
    rig = ConverterRig(single(1))
    rig.volts[1] = 1.0
    rig.converter.read_once()
    rig.bus.fault = "one_error"
    assert rig.converter.read_once()[0].number == 1.0
    assert rig.converter.errors == 1


def test_a_third_of_the_transfers_failing_still_leaves_most_readings() -> None:
    """Case A06: probability 0.3 for five seconds at 10 Hz; no gap as long as the grace of 2 s."""
    rig = ConverterRig(single(1))
    rig.volts[1] = 1.0
    rig.bus.fault, rig.bus.amount = "errors", 0.3
    last_good_s, longest_s, good = rig.clock(), 0.0, 0
    for _ in range(50):
        rig.clock.now_s += 0.1
        (reading,) = rig.converter.read_once()
        if reading.code is Code.OK:
            assert reading.number == 1.0
            longest_s, last_good_s, good = max(longest_s, reading.stamp_s - last_good_s), reading.stamp_s, good + 1
    assert good > 35
    assert longest_s < 1.0
    assert rig.converter.errors > 50


def test_a_failed_transfer_is_tried_at_most_three_times() -> None:
    rig = ConverterRig(single(1))
    rig.converter.read_once()
    before = rig.bus.transfers
    rig.bus.fault = "dead"
    rig.converter.read_once()
    assert rig.bus.transfers - before == 3


@pytest.mark.parametrize(
    ("factor", "code"), [(1.0, Code.OK), (1.009, Code.OK), (1.011, Code.REFERENCE_WRONG), (0.98, Code.REFERENCE_WRONG)]
)
def test_a_known_voltage_more_than_one_percent_off_condemns_every_channel_of_the_chip(
    factor: float, code: Code
) -> None:
    rig = ConverterRig(current(KNOWN), single(1, KNOWN))
    rig.fault("reference", factor)
    assert codes(rig.converter.read_once()) == [code, code]


def test_a_stuck_multiplexer_shows_in_the_known_voltage() -> None:
    rig = ConverterRig(single(1, KNOWN), single(2, KNOWN))
    rig.volts[1:3] = [0.5, 1.5]
    rig.converter.read_once()
    rig.fault("mux_stuck")
    assert codes(rig.converter.read_once()) == [Code.REFERENCE_WRONG, Code.REFERENCE_WRONG]


def test_a_steady_value_is_fresh_for_hours() -> None:
    """Case A18: fresh means converted anew, not changed."""
    rig = ConverterRig(single(1))
    stamps = set()
    for _ in range(1000):
        rig.clock.now_s += 0.1
        (reading,) = rig.converter.read_once()
        assert (reading.number, reading.code) == (0.0, Code.OK)
        stamps.add(reading.stamp_s)
    assert len(stamps) == 1000


def test_a_read_costs_four_transfers_and_waits_instead_of_polling() -> None:
    rig = ConverterRig(single(1))
    rig.converter.read_once()
    before = rig.bus.transfers
    rig.converter.read_once()
    assert rig.bus.transfers - before == 4


def test_two_chips_on_one_bus_do_not_disturb_each_other() -> None:
    clock, bus = VirtualClock(), SimBus(Random(1))
    bus.chips = {
        0x48: Ads1115Chip(lambda at: 1.0, clock),
        0x49: Ads1115Chip(lambda at: 2.0, clock),
    }
    first = Converter(CHIP, [single(0)], bus, clock, clock.wait)
    second = Converter(Ads1115(1, 0x49), [single(0, Ads1115(1, 0x49))], bus, clock, clock.wait)
    assert first.read_once()[0].number == 1.0
    bus.chips[0x48].fault = "absent"  # type: ignore[attr-defined]
    first.read_once()
    assert second.read_once()[0].number == 2.0


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: Ads1115(1, 0x40), "0x40"),
        (lambda: Ads1115(1, 0x48, data_rate=100), "data rate 100"),
        (lambda: Ads1115Channel(CHIP, 0, 5.0, VOLTS), "full scale 5.0 V"),
        (lambda: Ads1115Channel(CHIP, 0, 4.096, VOLTS, negative=2), "no pair"),
        (lambda: Ads1115Channel(CHIP, 4, 4.096, VOLTS), "input 4"),
    ],
)
def test_what_the_chip_cannot_do_is_refused(make: object, text: str) -> None:
    assert callable(make)
    with pytest.raises(ValueError, match=text):
        make()


def test_the_library_is_the_version_whose_private_methods_are_used() -> None:
    from importlib.metadata import version

    assert version("adafruit-circuitpython-ads1x15") == "3.0.5"


def test_errno_121_is_what_a_chip_that_does_not_acknowledge_gives() -> None:
    """So that the tests above are about the error that the kernel gives: EREMOTEIO."""
    rig = ConverterRig(single(1))
    rig.bus.fault = "dead"
    with pytest.raises(OSError) as refused:
        rig.bus.transfer(0x48, b"", 0)
    assert refused.value.errno == errno.EREMOTEIO == 121


def test_a_known_voltage_is_read_before_anything_else() -> None:
    chip = Ads1115(1, 0x48, known=KnownVoltage(3, 1.65, 4.096))
    rig = ConverterRig(single(1, chip))
    start_s = rig.clock()
    assert rig.converter.read_once()[0].stamp_s > start_s
