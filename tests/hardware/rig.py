"""One emulated chip, bus, pin board and clock, with drivers on them, for tests of single drivers."""

from __future__ import annotations

from random import Random
from typing import Any

from controller.hardware.ads1115 import Converter
from controller.hardware.description import Ads1115, Ads1115Channel, KnownVoltage
from controller.hardware.scales import TwoPoint, shunt_amplifier
from simulator.boards.ads1115 import Ads1115Chip
from simulator.boards.clock import VirtualClock
from simulator.boards.gpio import SimFactory
from simulator.boards.i2c import SimBus
from simulator.boards.pins import PinBoard

CHIP = Ads1115(1, 0x48)
KNOWN = Ads1115(1, 0x48, known=KnownVoltage(3, 1.65, 4.096))
VOLTS = TwoPoint(0.0, 0.0, 1.0, 1.0)


def current(chip: Ads1115 = CHIP) -> Ads1115Channel:
    return Ads1115Channel(chip, 0, 0.512, shunt_amplifier(0.010), negative=3)


def single(at: int, chip: Ads1115 = CHIP, full_scale_v: float = 4.096) -> Ads1115Channel:
    return Ads1115Channel(chip, at, full_scale_v, VOLTS)


class ConverterRig:
    """A converter driver over an emulated chip; `volts` are what its inputs carry."""

    def __init__(self, *channels: Ads1115Channel, clock_error: float = 0.0) -> None:
        self.clock = VirtualClock()
        self.volts = [1.65, 0.0, 0.0, 1.65]
        self.chip = Ads1115Chip(lambda at: self.volts[at], self.clock, clock_error=clock_error)
        self.bus = SimBus(Random(7))
        self.bus.chips[0x48] = self.chip
        chip = channels[0].chip
        self.converter = Converter(chip, channels, self.bus, self.clock, self.clock.wait)

    def fault(self, kind: str, amount: float = 1.0) -> None:
        self.chip.fault, self.chip.amount = kind, amount


class PinRig:
    def __init__(self) -> None:
        self.clock = VirtualClock()
        self.board = PinBoard(self.clock)
        self.pins: Any = SimFactory(self.board, self.clock)

    def edges(self, pin: int, *changes: tuple[float, bool | None]) -> None:
        """Drives a pin at the times given, and moves the clock along."""
        for at_s, level in changes:
            self.clock.now_s = max(self.clock.now_s, at_s)
            self.board.drive(pin, level, at_s)
