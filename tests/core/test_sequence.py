"""The way from off to running and back: windows after closing, and what is kept and said on the way."""

from __future__ import annotations

import pytest

from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.rig import PowerPath
from controller.core.sequence import State
from controller.core.signals import Code
from tests.core.bench import Bench, rig
from tests.core.rigs import with_limit
from tests.core.states import closing, ran

# --- windows after the measured closing


@pytest.mark.parametrize("peak_a", [46.0, 50.0, 51.198, -51.198])
@pytest.mark.parametrize(("lasts_scans", "trips"), [(1, False), (2, False), (4, True), (10, True)])
def test_inrush_is_let_by_for_two_tenths_of_a_second_after_the_measured_closing(
    peak_a: float, lasts_scans: int, trips: bool
) -> None:
    bench = closing(Bench())
    bench.fixed_current_a = peak_a
    for _ in range(lasts_scans):
        bench.scan()
    bench.fixed_current_a = None
    bench.run(3.0)
    assert bench.at(State.LOCKED_OUT) == trips
    assert not trips or set(bench.causes) <= {"short", "reversed", "current while off"}


def test_a_short_at_closing_trips_within_the_window_and_a_scan_and_a_half() -> None:
    bench = closing(Bench())
    bench.fixed_current_a = 51.198
    took_s = bench.until(lambda: bool(bench.causes), 1.0)
    assert took_s <= 0.1 + 0.2 + 0.15  # seen in the next scan, then the window, then 1.5 scans
    assert bench.causes[0] == "short"


def test_a_short_is_seen_at_closing_where_no_contact_tells_of_it() -> None:
    """A saturated current has no number, but it does say that the path is closed."""
    bench = closing(Bench(rig(power=PowerPath(main_contact=False))))
    bench.fixed_current_a = 51.198
    assert bench.until(lambda: bool(bench.causes), 1.0) <= 0.45
    assert bench.causes[0] == "short"


def test_the_windows_are_the_same_at_every_start_and_are_not_begun_anew_by_the_last_runs_end() -> None:
    took = []
    bench = Bench(rig(limits=with_limit("current while off", threshold=60.0)))
    for _ in range(10):
        bench.fixed_current_a = None
        bench.run(3.0)
        bench.ask(Verb.START)
        closings = len(bench.parts.closings)
        while len(bench.parts.closings) == closings:
            bench.scan()
        bench.fixed_current_a = 40.0
        took.append(bench.until(lambda: bool(bench.causes), 3.0))
        bench.fixed_current_a = None
        bench.run(4.0)
        latch = bench.memory.latch._replace(trips_in_running=(), locked_out=False)
        bench.memory = bench.memory._replace(latch=latch)
        if bench.causes:
            bench.memory = bench.memory._replace(sequence=bench.memory.sequence._replace(state=State.TRIPPED))
        assert bench.ask(Verb.RESET).what is Happened.ACCEPTED
    assert max(took) - min(took) <= 0.11
    assert max(took) == pytest.approx(1.2, abs=0.25)  # inrush window, then the second of delay


@pytest.mark.parametrize(("gone_s", "trips"), [(3.0, False), (7.0, True)])
def test_coolant_lost_under_power_trips_after_its_delay_and_there_is_no_window_for_it(
    gone_s: float, trips: bool
) -> None:
    bench = closing(Bench())
    bench.numbers["coolant flow"] = 0.0
    bench.run(gone_s)
    bench.numbers["coolant flow"] = None
    bench.run(5.0)
    assert (bench.causes == ["coolant flow low"]) == trips
    assert trips or bench.at(State.RAMPING, State.VENTING)


def test_no_current_says_nothing_until_its_window_is_over_and_then_trips_after_its_delay() -> None:
    bench = closing(Bench())
    closed_s = bench.now_s
    bench.supply_a = 1.0
    bench.until(lambda: bool(bench.causes), 60.0)
    assert bench.causes == ["no current"]
    assert bench.now_s - closed_s == pytest.approx(25.0, abs=0.3)


@pytest.mark.parametrize("short_a", [50.0, 51.198])
def test_over_current_and_short_are_armed_while_the_rig_stops(short_a: float) -> None:
    bench = ran()
    bench.ask(Verb.STOP, Source.PLAN)
    bench.run(1.0)
    assert bench.parts.path
    bench.fixed_current_a = short_a
    bench.scan()
    assert bench.at(State.LOCKED_OUT)
    assert bench.causes == ["short"]


def test_low_current_while_the_rig_stops_is_no_cause() -> None:
    bench = ran()
    bench.run(25.0)
    bench.ask(Verb.STOP, Source.PLAN)
    bench.run(30.0)
    assert not bench.causes


def test_the_set_point_climbs_in_a_straight_line_from_the_measured_closing() -> None:
    bench = closing(Bench())
    bench.until(lambda: bench.memory.sequence.closed_s >= 0.0)
    closed_s = bench.memory.sequence.closed_s
    assert bench.outputs.setpoint_a == 0.0
    while bench.now_s - closed_s < 4.9:
        bench.scan()
        assert bench.outputs.setpoint_a == pytest.approx(30.0 * (bench.now_s - closed_s) / 5.0)
    bench.run(1.0)
    assert bench.outputs.setpoint_a == 30.0


# --- what is kept and what is said


def test_nothing_grows_however_long_and_however_often() -> None:
    bench = Bench()
    sizes = []
    for _ in range(60):
        bench.run(1.2)
        bench.ask(Verb.START)
        bench.until(lambda: bench.at(State.RUNNING))
        bench.numbers["level oxygen side"] = 0.0
        bench.until(lambda: bench.at(State.TRIPPED, State.LOCKED_OUT))
        bench.numbers["level oxygen side"] = 1.0
        bench.run(2.0)
        latch = bench.memory.latch._replace(trips_in_running=bench.memory.latch.trips_in_running[-1:], locked_out=False)
        state = bench.memory.sequence._replace(state=State.TRIPPED)
        bench.memory = bench.memory._replace(latch=latch, sequence=state)
        bench.ask(Verb.RESET)
        latch = bench.memory.latch
        sizes.append(len(latch.causes) + len(latch.trips_in_running) + bench.memory.values[0].bad_bits.bit_length())
    assert max(sizes) <= 3
    assert len(bench.memory.starts_s) == 60  # those of an hour, which the rate limit counts
    bench.scan(dt_s=4000.0)
    bench.run(1.0)
    bench.ask(Verb.START)
    assert len(bench.memory.starts_s) == 1


def test_a_signal_that_comes_and_goes_says_so_a_few_times_a_minute_at_most() -> None:
    bench = Bench()
    bench.run(1.0)
    before = len(bench.events)
    for second in range(600):
        bench.codes = {"coolant flow": Code.NOISE} if second % 4 < 2 else {}
        bench.run(1.0)
    said = [e for e in bench.events[before:] if e.what in (Happened.SIGNAL_LOST, Happened.SIGNAL_BACK)]
    assert 2 <= len(said) <= 600 / 4 * 2


def test_one_bad_sample_in_ten_is_not_worth_a_word() -> None:
    bench = ran()
    before = len(bench.events)
    for scan in range(6000):
        bench.codes = {"coolant flow": Code.NOISE} if scan % 10 == 0 else {}
        bench.scan()
    assert len(bench.events) == before


@pytest.mark.parametrize("bad_of_ten", [5, 6])
def test_more_than_half_of_the_samples_bad_is_a_trip_of_its_own(bad_of_ten: int) -> None:
    bench = ran()
    for scan in range(600):
        bench.codes = {"cell temperature": Code.BAD_CHECKSUM} if scan % 10 < bad_of_ten else {}
        bench.scan()
    assert bool(bench.causes) == (bad_of_ten > 5)


@pytest.mark.parametrize("name", ["coolant flow", "level hydrogen side", "stop chain", "current"])
def test_a_forced_signal_forbids_power_at_once_and_a_start_until_it_is_let_go(name: str) -> None:
    bench = ran()
    bench.codes[name] = Code.FORCED
    bench.scan()
    assert bench.causes == ["function check"]
    assert not bench.parts.path
    bench = Bench()
    bench.codes[name] = Code.FORCED
    bench.run(60.0)
    assert not bench.causes  # while off it is what it says: a test
    assert "forced" in bench.ask(Verb.START).detail
    bench.codes.clear()
    bench.start()
