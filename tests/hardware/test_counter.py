"""Counters that wrap and restart: the flow stays right, the total never falls."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.signals import Code, Reading
from controller.hardware.counter import CountingMeter, counted
from controller.hardware.description import CountedMeter
from simulator.boards.clock import VirtualClock

METER = CountedMeter("bus/counter/devices/counter0/count0/count", 16, 450.0, 0.4, 10.0)


class CounterRig:
    """A counter of 16 bits that a test turns."""

    def __init__(self, count: int) -> None:
        self.clock = VirtualClock(0.0)
        self.count: int | str | OSError = count
        self.meter = CountingMeter(METER, self, self.clock)

    def read(self, path: str) -> str:
        assert path == METER.path
        if isinstance(self.count, OSError):
            raise self.count
        return f"{self.count}\n"

    def names(self, folder: str) -> tuple[str, ...]:
        return ()

    def scans(self, number: int, hertz: float = 15.0) -> list[Reading]:
        readings = []
        assert isinstance(self.count, int)
        start, begun_s = self.count, self.clock.now_s
        for _ in range(number):
            self.clock.now_s += 0.1
            self.count = (start + int(hertz * (self.clock.now_s - begun_s) + 1e-6)) % 65536
            readings.append(self.meter.read_once())
        return readings


def test_the_flow_is_steady_throughout_a_wrap() -> None:
    """Case A23: 65,530 ... 65,535, 0, 1 at 15 Hz."""
    rig = CounterRig(65_500)
    rig.scans(20)
    readings = rig.scans(30)
    assert {reading.code for reading in readings} == {Code.OK}
    assert [reading.number for reading in readings] == pytest.approx([2.0] * 30, abs=0.14)
    assert rig.meter.total == pytest.approx(75, abs=2)


def test_a_restart_is_one_unseen_interval_and_no_negative_flow() -> None:
    """Case A23: 812 to 0."""
    rig = CounterRig(752)
    rig.scans(40)
    total = rig.meter.total
    rig.count = 0
    readings = rig.scans(30)
    assert [reading.code for reading in readings].count(Code.COUNTER_RESTART) == 1
    assert readings[0].code is Code.COUNTER_RESTART
    assert all(reading.number is None or reading.number >= 0.0 for reading in readings)
    assert readings[-1].number == pytest.approx(2.0, abs=0.14)
    assert rig.meter.total == pytest.approx(total + 45, abs=2)


def test_an_impossible_step_is_not_good_for_that_scan_and_leaves_the_total_alone() -> None:
    """Case A23: 3 to 40,000 within one scan, and back."""
    rig = CounterRig(3)
    rig.scans(20)
    total, right = rig.meter.total, rig.count
    rig.count = 40_000
    rig.clock.now_s += 0.1
    assert rig.meter.read_once()[0::2] == (None, Code.NOISE)
    assert rig.meter.total == total
    rig.count = right
    assert {reading.code for reading in rig.scans(10)} == {Code.OK}


@pytest.mark.parametrize(
    ("count", "code"), [(OSError(5, "input/output error"), Code.BUS_ERROR), ("rubbish", Code.NOISE)]
)
def test_what_cannot_be_read_has_its_reason(count: OSError | str, code: Code) -> None:
    rig = CounterRig(0)
    rig.scans(3)
    rig.count = count
    assert rig.meter.read_once()[0::2] == (None, code)


def test_no_flow_is_zero_and_good() -> None:
    rig = CounterRig(100)
    rig.scans(20)
    assert rig.scans(20, hertz=0.0)[-1][0::2] == (0.0, Code.OK)


@given(width=st.integers(8, 32), last=st.integers(0, 2**32 - 1), pulses=st.integers(0, 100), most=st.integers(100, 120))
def test_any_step_that_the_meter_can_make_is_counted_whatever_it_wraps_over(
    width: int, last: int, pulses: int, most: int
) -> None:
    last %= 1 << width
    assert counted(last, (last + pulses) % (1 << width), width, most) == (pulses, Code.OK)


@given(
    width=st.integers(8, 32), last=st.integers(0, 2**32 - 1), now=st.integers(0, 2**32 - 1), most=st.integers(0, 200)
)
def test_no_step_is_ever_negative_or_more_than_the_meter_can_make(width: int, last: int, now: int, most: int) -> None:
    pulses, code = counted(last % (1 << width), now % (1 << width), width, most)
    assert pulses is None or 0 <= pulses <= most
    assert (pulses is None) == (code is not Code.OK)


@pytest.mark.parametrize("bits", [0, 7, 65])
def test_a_width_that_cannot_be_told_from_its_wraps_is_refused(bits: int) -> None:
    with pytest.raises(ValueError, match="Give 8 to 64"):
        CountedMeter("x", bits, 450.0, 0.4, 10.0)
