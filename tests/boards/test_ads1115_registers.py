"""The emulated converter against its datasheet (TI SBAS444D), and under the stock library as well as ours."""

from __future__ import annotations

import errno
from random import Random

import pytest
from adafruit_ads1x15 import ADS1115, AnalogIn

from simulator.boards.ads1115 import Ads1115Chip
from simulator.boards.clock import VirtualClock
from simulator.boards.i2c import SimBus

POINTER_CONVERSION, POINTER_CONFIG, POINTER_LOW, POINTER_HIGH = b"\x00", b"\x01", b"\x02", b"\x03"


class Board:
    """One chip on a bus, with four voltages to set."""

    def __init__(self, clock_error: float = 0.0, look_s: float = 0.0) -> None:
        self.clock = VirtualClock(0.0)
        self.volts = [0.0] * 4

        def now() -> float:
            self.clock.wait(look_s)
            return self.clock.now_s

        self.chip = Ads1115Chip(lambda at: self.volts[at], now, clock_error=clock_error)
        self.bus = SimBus(Random(1))
        self.bus.chips[0x48] = self.chip

    def register(self, pointer: bytes) -> int:
        return int.from_bytes(self.bus.transfer(0x48, pointer, 2), "big")

    def configure(self, word: int) -> None:
        self.bus.transfer(0x48, POINTER_CONFIG + word.to_bytes(2, "big"), 0)

    def convert(self, word: int) -> int:
        self.configure(word)
        self.clock.wait(1.0)
        return self.register(POINTER_CONVERSION)


def test_it_wakes_up_with_the_reset_value_of_the_configuration() -> None:
    """SBAS444D, config register: reset 8583h."""
    assert Board().register(POINTER_CONFIG) == 0x8583


def test_its_thresholds_wake_up_at_the_ends_of_the_range() -> None:
    """SBAS444D, Lo_thresh and Hi_thresh registers: reset 8000h and 7FFFh."""
    board = Board()
    assert (board.register(POINTER_LOW), board.register(POINTER_HIGH)) == (0x8000, 0x7FFF)


def test_thresholds_are_kept() -> None:
    board = Board()
    board.bus.transfer(0x48, POINTER_HIGH + b"\x12\x34", 0)
    assert board.register(POINTER_HIGH) == 0x1234
    assert board.register(POINTER_LOW) == 0x8000


@pytest.mark.parametrize(
    ("pga", "lsb_uv"),
    [(0, 187.5), (1, 125.0), (2, 62.5), (3, 31.25), (4, 15.625), (5, 7.8125), (6, 7.8125), (7, 7.8125)],
)
def test_one_step_is_what_the_datasheet_says_in_every_range(pga: int, lsb_uv: float) -> None:
    """SBAS444D, full-scale range and LSB size."""
    board = Board()
    board.volts[0] = 1000 * lsb_uv * 1e-6
    assert board.convert(0xC183 & ~0x0E00 | pga << 9) == 1000


def test_the_worked_configuration_words_select_their_inputs() -> None:
    """0xC383: A0 against ground, 4.096 V. 0x8B83: A0 against A1, 0.256 V. Built from the field table of SBAS444D."""
    board = Board()
    board.volts[:2] = [2.048, 1.998]
    assert board.convert(0xC383) == 0x4000
    assert board.convert(0x8B83) == 6400  # 50 mV in steps of 7.8125 uV


@pytest.mark.parametrize("mux", range(8))
def test_every_multiplexer_setting_takes_the_inputs_of_the_datasheet(mux: int) -> None:
    """SBAS444D, MUX[2:0]: 0-1, 0-3, 1-3, 2-3, then each against ground."""
    board = Board()
    board.volts[:] = [0.1, 0.2, 0.4, 0.8]
    expected_v = [-0.1, -0.7, -0.6, -0.4, 0.1, 0.2, 0.4, 0.8][mux]
    raw = board.convert(0x8383 | mux << 12)
    signed = raw - 0x10000 if raw & 0x8000 else raw
    assert signed == round(expected_v / 125e-6)


def test_codes_end_at_full_scale_in_twos_complement() -> None:
    """TI SBAA565, 4.2.3: 7FFFh and 8000h."""
    board = Board()
    board.volts[:2] = [1.0, 0.0]
    assert board.convert(0x8B83) == 0x7FFF
    board.volts[:2] = [0.0, 1.0]
    assert board.convert(0x8B83) == 0x8000


def test_an_input_stuck_at_its_supply_never_reaches_full_scale_of_4_096_v() -> None:
    """3.3 V in steps of 125 uV is 26400 (calculation)."""
    board = Board()
    board.volts[0] = 12.0
    assert board.convert(0xC383) == 26400


@pytest.mark.parametrize(("code", "rate"), list(enumerate([8, 16, 32, 64, 128, 250, 475, 860])))
@pytest.mark.parametrize("clock_error", [-0.1, 0.0, 0.1])
def test_a_conversion_takes_one_period_of_its_own_clock(code: int, rate: int, clock_error: float) -> None:
    """SBAS444D, output data rate and conversion time; the clock is within 10 %."""
    board = Board(clock_error)
    board.volts[0] = 1.0
    period_s = (1.0 + clock_error) / rate
    board.configure(0xC303 | code << 5)
    board.clock.wait(period_s - 1e-6)
    assert not board.register(POINTER_CONFIG) & 0x8000
    assert board.register(POINTER_CONVERSION) == 0
    board.clock.wait(2e-6)
    assert board.register(POINTER_CONFIG) & 0x8000
    assert board.register(POINTER_CONVERSION) == 8000


def test_the_old_result_stands_until_the_new_one_is_there() -> None:
    """Case A01: right after the input is switched, a read gives the channel before it."""
    board = Board()
    board.volts[:2] = [1.0, 2.0]
    assert board.convert(0xC3E3) == 8000
    board.configure(0xD3E3)
    assert board.register(POINTER_CONVERSION) == 8000
    board.clock.wait(1.0)
    assert board.register(POINTER_CONVERSION) == 16000


def test_in_continuous_mode_it_goes_on_by_itself() -> None:
    board = Board()
    board.configure(0x42E3)  # A0 against ground, 4.096 V, continuous
    for volts in (0.5, 1.0):
        board.volts[0] = volts
        board.clock.wait(0.01)
        assert board.register(POINTER_CONVERSION) == volts / 125e-6


def test_a_configuration_without_the_start_bit_starts_nothing() -> None:
    board = Board()
    board.volts[0] = 1.0
    assert board.convert(0x4383) == 0
    assert board.register(POINTER_CONFIG) == 0xC383  # idle


def test_a_second_start_during_a_conversion_does_not_restart_it() -> None:
    """SBAS444D, OS bit: has no effect while a conversion is going on."""
    board = Board()
    board.volts[0] = 1.0
    board.configure(0xC383)
    board.clock.wait(0.006)
    board.configure(0xC383)
    board.clock.wait(0.002)
    assert board.register(POINTER_CONVERSION) == 8000


def test_an_empty_write_finds_it_and_an_empty_address_refuses() -> None:
    board = Board()
    board.bus.transfer(0x48, b"", 0)
    with pytest.raises(OSError) as refused:
        board.bus.transfer(0x49, b"", 0)
    assert refused.value.errno == errno.EREMOTEIO


def test_one_byte_of_a_register_can_be_read_and_a_third_is_what_an_open_line_gives() -> None:
    board = Board()
    assert board.bus.transfer(0x48, POINTER_CONFIG, 1) == b"\x85"
    assert board.bus.transfer(0x48, POINTER_CONFIG, 3) == b"\x85\x83\xff"


def test_half_a_register_written_changes_nothing() -> None:
    board = Board()
    board.bus.transfer(0x48, POINTER_CONFIG + b"\xc3", 0)
    assert board.register(POINTER_CONFIG) == 0x8583


def test_a_read_without_a_pointer_repeats_the_register_last_pointed_at() -> None:
    board = Board()
    board.register(POINTER_LOW)
    assert board.bus.transfer(0x48, None, 2) == b"\x80\x00"


def test_the_general_call_resets_it() -> None:
    """SBAS444D, general-call reset: address 00h, command 06h."""
    board = Board()
    board.configure(0xC383)
    board.bus.transfer(0x00, b"\x06", 0)
    assert board.register(POINTER_CONFIG) == 0x8583


@pytest.mark.parametrize("address", [0x48, 0x49, 0x4A, 0x4B])
def test_the_stock_library_reads_it_at_every_address(address: int) -> None:
    """The library, not ours, on the emulated bus. Addresses by where ADDR is tied: GND, VDD, SDA, SCL."""
    board = Board(look_s=1e-4)  # the library polls without waiting: each look costs a transfer
    board.bus.chips = {address: board.chip}
    board.volts[:] = [1.2345, 1.650, 0.3, 1.575]
    ads = ADS1115(board.bus, address=address)
    assert AnalogIn(ads, 0).value == 9876
    assert AnalogIn(ads, 0).voltage == pytest.approx(1.2345, abs=125e-6)
    ads.gain = 16
    assert AnalogIn(ads, 1, 3).value == 9600  # 75 mV


def test_the_stock_library_says_so_when_nobody_answers() -> None:
    with pytest.raises(ValueError, match="0x49"):
        ADS1115(Board().bus, address=0x49)
