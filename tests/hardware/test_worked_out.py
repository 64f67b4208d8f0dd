"""Signals made from other signals: as good and as old as the worst and the oldest of them."""

from __future__ import annotations

import pytest

from controller.core.signals import Code
from controller.hardware.description import Ads1115, Ads1115Channel, Ds18b20, Hardware, Source, WorkedOut
from controller.hardware.instruments import open_instruments
from controller.hardware.scales import TwoPoint
from simulator.boards.bench import Bench
from simulator.boards.clock import VirtualClock
from simulator.boards.wiring import shipped_wiring
from tests.boards.still_plant import StillPlant

CELL_V = TwoPoint(0.0, 0.0, 0.5, 1.0)
TAPS: tuple[tuple[str, Source], ...] = tuple(
    (f"cell_{n}", Ads1115Channel(Ads1115(1, 0x4A), n - 1, 4.096, CELL_V)) for n in (1, 2, 3)
)
SPREAD = ("cell_spread", WorkedOut(("cell_1", "cell_2", "cell_3")))
OFF = ("off_the_curve", WorkedOut(("cell_1", "cell_2"), (1.0, -2.0), 3.0))
VOLTS = {"cell_1_v": 2.2, "cell_2_v": 2.9, "cell_3_v": 2.1}


class Rig:
    def __init__(self, *signals: tuple[str, Source]) -> None:
        self.clock = VirtualClock()
        self.bench = Bench(shipped_wiring("drooping"), StillPlant(**VOLTS), self.clock)
        self.instruments = open_instruments(Hardware(signals), self.bench.ports(), self.clock, self.clock.wait)

    def scan(self) -> None:
        self.clock.now_s = self.bench.now_s + 0.1
        self.bench.advance(self.clock.now_s)
        self.readings = dict(zip(self.instruments.names, self.instruments.read_all(self.clock()), strict=True))


def test_a_spread_is_the_largest_less_the_smallest_and_a_sum_what_its_factors_say() -> None:
    """2.9 - 2.1 and 2.2 - 2 x 2.9 + 3, wherever in the file they stand."""
    rig = Rig(SPREAD, *TAPS, OFF)
    rig.scan()
    assert rig.readings["cell_spread"].number == pytest.approx(0.8, abs=0.01)
    assert rig.readings["off_the_curve"].number == pytest.approx(-0.6, abs=0.01)


def test_it_is_as_old_as_the_oldest_of_what_it_is_made_from() -> None:
    rig = Rig(*TAPS, SPREAD)
    rig.scan()
    assert rig.readings["cell_spread"].stamp_s == min(rig.readings[name].stamp_s for name, _ in TAPS)


@pytest.mark.parametrize("fault", ["absent", "never_ready", "all_zeros"])
def test_one_bad_member_makes_it_bad_with_that_ones_word(fault: str) -> None:
    rig = Rig(*TAPS, SPREAD)
    rig.bench.fault("converter 0x4a", fault)
    rig.scan()
    spread = rig.readings["cell_spread"]
    assert spread.number is None
    assert spread.code is rig.readings["cell_1"].code is not Code.OK


def test_before_its_slowest_member_has_been_read_it_is_not_read_yet() -> None:
    rig = Rig(*TAPS, ("t", Ds18b20("28-0b0a7e110001")), ("both", WorkedOut(("cell_1", "t"), (1.0, 0.01))))
    rig.scan()
    assert rig.readings["both"].code is Code.NOT_READ_YET


def test_a_broken_tap_stands_out_like_a_bad_cell() -> None:
    rig = Rig(*TAPS, SPREAD)
    rig.bench.fault("cell_3", "open")
    rig.scan()
    assert (rig.readings["cell_spread"].number or 0.0) > 2.0
