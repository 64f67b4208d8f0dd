"""Flow from pulses: it falls without any new pulse, and pulses that no turbine makes are not flow."""

from __future__ import annotations

from random import Random

import pytest

from controller.core.signals import Code, Reading
from controller.hardware.description import PulseMeter
from controller.hardware.edges import EdgeLog
from controller.hardware.pulses import FlowMeter
from simulator.instruments.sensor import Fault
from simulator.instruments.turbine import Turbine

from .rig import PinRig

METER = PulseMeter(5, 450.0, least_l_min=0.4, most_l_min=10.0)
LIMIT_L_MIN = 0.8
SCAN_S = 0.1


class MeterRig(PinRig):
    def __init__(self, meter: PulseMeter = METER, seed: int = 1) -> None:
        super().__init__()
        self.clock.now_s = 0.0
        self.board.drive(5, False, 0.0)
        self.log = EdgeLog(self.pins, 5, "up", self.clock)
        self.meter = FlowMeter(meter, self.log)
        self.turbine = Turbine(meter.pulses_per_litre, 0.02, Random(seed))

    def run(self, to_s: float, flow_l_min: float, fault: Fault | None = None, scan_s: float = SCAN_S) -> list[Reading]:
        """Polls every scan until then, with the flow or the fault given."""
        readings = []
        while (from_s := self.clock()) < to_s - 1e-9:
            next_s = min(from_s + scan_s, to_s)
            self.edges(5, *self.turbine.edges(flow_l_min, from_s, next_s, fault))
            self.clock.now_s = next_s
            readings.append(self.meter.poll(next_s))
        return readings


@pytest.mark.parametrize("flow_l_min", [0.8, 1.0, 2.0, 5.0, 9.0])
@pytest.mark.parametrize("scan_s", [0.05, 0.1, 0.13])
def test_a_steady_flow_reads_as_it_is_to_a_pulse_a_second(flow_l_min: float, scan_s: float) -> None:
    rig = MeterRig()
    rig.run(3.0, flow_l_min, scan_s=scan_s)
    readings = rig.run(20.0, flow_l_min, scan_s=scan_s)
    one_pulse_l_min = 60.0 / 450.0
    for reading in readings:
        assert reading.code is Code.OK
        assert reading.number == pytest.approx(flow_l_min, abs=max(1.5 * one_pulse_l_min, 0.04 * flow_l_min))


@pytest.mark.parametrize("phase", range(34))
def test_lost_flow_is_under_the_limit_within_half_a_second_whatever_the_phase(phase: int) -> None:
    """Case A19: 15 Hz, limit 6 Hz. Phases of 0.03 s, and another at the scan."""
    rig = MeterRig()
    stop_s = 5.0 + phase * 0.03
    rig.run(stop_s, 2.0)
    rig.clock.now_s += 0.007 * phase % SCAN_S
    readings = rig.run(stop_s + 60.0, 0.0)
    late = [reading for reading in readings if reading.stamp_s >= stop_s + 0.5 + SCAN_S]
    assert all(reading.number is not None and reading.number < LIMIT_L_MIN for reading in late)
    assert all(reading.number == 0.0 for reading in readings if reading.stamp_s > stop_s + 1.1)


def test_a_flow_that_fades_over_three_seconds_reads_lower_and_lower() -> None:
    """Case A19, variant."""
    rig = MeterRig()
    rig.run(5.0, 2.0)
    for step in range(30):
        readings = rig.run(5.1 + step * 0.1, 2.0 * (1 - step / 30))
        assert readings[-1].code is Code.OK
    assert rig.run(9.0, 0.0)[-1].number == 0.0


def test_no_flow_from_the_start_is_zero_and_good() -> None:
    """Case A18: a meter at rest gives no edges and is still alive."""
    rig = MeterRig()
    assert [reading[0::2] for reading in rig.run(100.0, 0.0)] == [(0.0, Code.OK)] * 1000


def test_a_dribble_below_what_the_meter_can_see_is_zero() -> None:
    rig = MeterRig()
    assert {reading.number for reading in rig.run(60.0, 0.2)} == {0.0}


@pytest.mark.parametrize("hertz", [10, 120, 500])
def test_no_pulse_is_lost_up_to_five_hundred_hertz(hertz: int) -> None:
    meter = PulseMeter(5, 450.0, least_l_min=0.4, most_l_min=70.0, least_width_s=0.0002)
    rig = MeterRig(meter)
    rig.run(20.0, hertz * 60.0 / 450.0)
    assert rig.turbine.pulses == pytest.approx(20 * hertz, abs=2)
    assert rig.meter.total == pytest.approx(rig.turbine.pulses, abs=1)  # the last one may still be too short
    assert rig.meter.lost_edges == 0


@pytest.mark.parametrize("seed", range(20))
def test_short_spikes_without_flow_are_not_flow(seed: int) -> None:
    """Case A21 (a): 0.3 ms at random, mean 12 Hz. Under the limit or bad within two seconds, and then always."""
    rig = MeterRig(seed=seed)
    rig.run(5.0, 2.0)
    counted = rig.meter.total
    readings = rig.run(30.0, 0.0, Fault("spikes", 12.0, 5.0))
    late = [reading for reading in readings if reading.stamp_s > 6.2]
    assert all(reading.number is None or reading.number < LIMIT_L_MIN for reading in late)
    assert rig.meter.total <= counted + 2


@pytest.mark.parametrize("hertz", [50.0, 60.0])
def test_pulses_locked_to_the_mains_are_not_flow(hertz: float) -> None:
    """Case A21 (b), at rates that this meter could reach."""
    rig = MeterRig()
    rig.run(5.0, 2.0)
    readings = rig.run(30.0, 0.0, Fault("hum", hertz, 5.0))
    assert {reading.code for reading in readings if reading.stamp_s > 7.0} == {Code.NOISE}


def test_pulses_faster_than_the_meter_can_turn_are_not_flow() -> None:
    """Case A21 (b): 100.0 Hz is 13.3 L/min, more than this meter's 10."""
    rig = MeterRig()
    rig.run(5.0, 2.0)
    readings = rig.run(30.0, 0.0, Fault("hum", 100.0, 5.0))
    assert {reading.code for reading in readings if reading.stamp_s > 7.0} == {Code.NOISE}


def test_one_pulse_a_second_is_no_flow() -> None:
    """Case A21 (c): the rate that a debounce of one second lets through."""
    rig = MeterRig()
    rig.run(5.0, 2.0)
    readings = rig.run(30.0, 0.0, Fault("hum", 1.0, 5.0))
    assert {reading.number for reading in readings if reading.stamp_s > 6.2} == {0.0}


@pytest.mark.parametrize("offset_s", [0.0, 0.01, 0.02, 0.033, 0.04, 0.05])
def test_a_burst_at_a_relay_switching_neither_trips_nor_counts(offset_s: float) -> None:
    """Case A21 (d): 40 edges, flow true. Unseen for less than a grace of 2 s, total as without."""
    rig = MeterRig()
    rig.run(5.0, 2.0)
    at_s = 5.0 + offset_s
    readings = rig.run(12.0, 2.0, Fault("burst", 40.0, at_s))
    bad = [reading for reading in readings if reading.code is not Code.OK]
    assert len(bad) * SCAN_S < 1.3
    assert all(reading.number >= LIMIT_L_MIN for reading in readings if reading.number is not None)
    assert rig.meter.total <= rig.turbine.pulses
    assert rig.meter.total >= rig.turbine.pulses - 20  # those of the second in which nothing could be told


@pytest.mark.parametrize("seed", range(10))
def test_wide_pulses_at_random_intervals_are_not_flow(seed: int) -> None:
    """No turbine jumps from interval to interval: 3 ms pulses, Poisson, mean 12 Hz."""
    rig = MeterRig(seed=seed)
    noise, at_s, edges = Random(seed), 0.0, []
    while at_s < 30.0:
        at_s += noise.expovariate(12.0) + 0.006
        edges += [(at_s, True), (at_s + 0.003, False)]
    bad = total = 0
    for scan in range(1, 300):
        now_s = scan * SCAN_S
        while edges and edges[0][0] <= now_s:
            rig.edges(5, edges.pop(0))
        rig.clock.now_s = now_s
        reading = rig.meter.poll(now_s)
        if now_s > 3.0:
            total += 1
            bad += reading.code is Code.NOISE
    assert bad > 0.9 * total


@pytest.mark.parametrize("seed", range(10))
def test_an_uneven_turbine_in_an_unsteady_flow_is_never_called_noise(seed: int) -> None:
    """The twin of the tests above: twenty minutes of a real meter, flow wandering between 0.8 and 8 L/min."""
    rig, wander, flow = MeterRig(seed=seed), Random(seed), 2.0
    codes = set()
    for second in range(1200):
        flow = min(8.0, max(0.8, flow + wander.gauss(0.0, 0.3)))
        codes |= {reading.code for reading in rig.run(second + 1.0, flow)}
    assert codes == {Code.OK}


def test_the_total_never_falls_and_is_never_negative() -> None:
    """Case A23."""
    rig, seen = MeterRig(), [0]
    for minute in range(5):
        for second in range(1, 61):
            rig.run(minute * 60.0 + second, 2.0 if minute % 2 else 0.0)
            seen.append(rig.meter.total)
    assert seen == sorted(seen)
    assert rig.meter.litres == pytest.approx(4.0, rel=0.01)


def test_a_pin_that_cannot_be_read_is_a_bus_error_and_recovers() -> None:
    rig = MeterRig()
    rig.run(5.0, 2.0)
    read = rig.board.read

    def broken(pin: int) -> bool:
        raise OSError(5, "input/output error")

    rig.board.read = broken  # type: ignore[method-assign]
    assert rig.run(5.1, 2.0)[-1][0::2] == (None, Code.BUS_ERROR)
    rig.board.read = read  # type: ignore[method-assign]
    assert rig.run(7.0, 2.0)[-1].number == pytest.approx(2.0, abs=0.2)


def test_a_flood_of_edges_is_bounded_and_bad() -> None:
    rig = MeterRig()
    rig.edges(5, *((i * 1e-6, i % 2 == 0) for i in range(10000)))
    rig.clock.now_s = 0.1
    assert rig.meter.poll(0.1).code is Code.NOISE
    assert rig.meter.lost_edges > 0


def test_a_meter_whose_fastest_pulse_would_count_as_noise_is_refused() -> None:
    with pytest.raises(ValueError, match=r"last 2\.2 ms"):
        PulseMeter(5, 450.0, least_l_min=0.4, most_l_min=30.0, least_width_s=0.002)
