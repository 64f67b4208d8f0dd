"""Current and volts against each other, and the first power of a rig file: each check with its twin, "does run"."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from controller.core.commands import Verb
from controller.core.events import Happened
from controller.core.explain import explain
from controller.core.limits import Effect, Limit, TripKind
from controller.core.rig import Roles, Supply
from controller.core.sequence import State
from controller.core.trips import Latch
from tests.core.bench import LIMITS, Bench
from tests.core.rigs import MORE_LIMITS, VOLTAGE, full_bench

KNOB = Supply(kind="current knob", rated_a=30.0, minimum_a=9.0, start_lag_s=0.5)
OPEN_V = 4.4  # three cells that hold 1.47 V each by themselves


def closed(bench: Bench) -> float:
    """Power has just come on; when."""
    bench.run(1.0)
    bench.ask(Verb.START)
    bench.until(lambda: bool(bench.parts.closings))
    return bench.now_s


def follows(bench: Bench, volts: Callable[[float], float]) -> None:
    """The voltage sensor sees what the cell has at its current."""
    bench.numbers["voltage"] = volts(bench.current_a())


def scan(bench: Bench, volts: Callable[[float], float], for_s: float) -> None:
    for _ in range(round(for_s / 0.1)):
        follows(bench, volts)
        bench.scan()


def good(current_a: float) -> float:
    return OPEN_V + 0.07 * current_a


# --- a lead that opens


def under_way(supply: Supply | None = None) -> Bench:
    high = Limit("cell voltage high", "Cell volts high", (VOLTAGE,), 9.0, True, Effect.TRIP, delay_s=2.0)
    fields: dict[str, object] = {"limits": (*LIMITS, *MORE_LIMITS, high)} | ({"supply": supply} if supply else {})
    bench = full_bench(**fields)
    bench.supply_a = 30.0 if supply else None
    closed(bench)
    scan(bench, good, 20.0)
    assert bench.at(State.VENTING, State.RUNNING)
    return bench


@pytest.mark.parametrize("supply", [None, KNOB])
@pytest.mark.parametrize("left_a", [0.0, 2.9])
def test_a_lead_that_opens_under_load_trips_in_the_second_scan(supply: Supply | None, left_a: float) -> None:
    """It arcs: neither the delay of the volts nor that of a missing current is waited for."""
    bench = under_way(supply)
    bench.supply_a = left_a
    scan(bench, lambda _: 15.0, 0.1)
    assert not bench.causes
    scan(bench, lambda _: 15.0, 0.2)
    assert bench.causes == ["open lead"]
    assert bench.memory.latch.kind is TripKind.LOCAL


@pytest.mark.parametrize(("left_a", "volts"), [(0.0, 8.9), (3.1, 15.0), (30.0, 15.0)])
def test_current_gone_or_volts_up_alone_is_no_open_lead(left_a: float, volts: float) -> None:
    bench = under_way()
    bench.supply_a = left_a
    scan(bench, lambda _: volts, 1.5)
    assert not bench.causes


def test_one_disturbed_scan_is_no_open_lead() -> None:
    bench = under_way()
    for _ in range(20):
        bench.supply_a = 0.0
        scan(bench, lambda _: 15.0, 0.1)
        bench.supply_a = None
        scan(bench, good, 0.9)
    assert not bench.causes


# --- current comes


@pytest.mark.parametrize("supply_a", [0.0, 0.4, -0.4])
def test_power_without_current_is_found_a_second_after_it_must_have_come(supply_a: float) -> None:
    bench = full_bench(supply=KNOB)
    bench.supply_a = supply_a
    at_s = closed(bench)
    bench.until(lambda: bench.state is State.TRIPPED)
    assert bench.causes == ["no current came"]
    assert bench.now_s - at_s == pytest.approx(0.1 + 0.5 + 1.0, abs=0.11)  # seen a scan later, start lag, a second
    assert bench.memory.latch.kind is TripKind.RESETTABLE


def test_a_ramp_is_given_the_time_until_it_asks_for_current_that_can_be_seen() -> None:
    """Of 30 A in 5 s, four times the 0.5 A that count as none are asked for after a third of a second."""
    bench = full_bench()
    bench.supply_a = 0.0
    at_s = closed(bench)
    bench.until(lambda: bench.state is State.TRIPPED)
    assert bench.causes == ["no current came"]
    assert bench.now_s - at_s == pytest.approx(0.1 + 5.0 * 2.0 / 30.0 + 0.5 + 1.0, abs=0.11)


@pytest.mark.parametrize("supply_a", [None, 10.0])
def test_current_that_comes_in_time_is_not_asked_for_again(supply_a: float | None) -> None:
    bench = full_bench(supply=KNOB) if supply_a else full_bench()
    bench.supply_a = 0.0 if supply_a else None
    closed(bench)
    bench.run(1.4)
    bench.supply_a = supply_a
    bench.run(30.0)
    assert not bench.causes
    assert bench.at(State.VENTING, State.RUNNING)


# --- volts that do not fit the current


@pytest.mark.parametrize(("volts", "trips"), [(3.59, True), (0.0, True), (3.61, False)])
def test_over_two_amperes_at_under_a_volt_point_two_a_cell_is_a_short_or_a_wrong_scaling(
    volts: float, trips: bool
) -> None:
    bench = full_bench(limits=())
    bench.start()
    bench.numbers["voltage"] = volts
    bench.run(1.8)
    assert not bench.causes
    bench.run(0.5)
    assert bench.causes == (["volts do not fit"] if trips else [])
    assert not trips or bench.memory.latch.kind is TripKind.LOCAL


def test_it_is_seen_from_the_closing_on_before_the_limit_on_volts_is_armed() -> None:
    bench = full_bench(supply=KNOB)
    bench.numbers["voltage"] = 0.2
    bench.supply_a = 20.0
    at_s = closed(bench)
    bench.until(lambda: bool(bench.causes))
    assert bench.causes == ["volts do not fit"]
    assert bench.now_s - at_s < 3.0


@pytest.mark.parametrize("volts", [0.0, None])
def test_little_current_and_volts_that_nobody_sees_contradict_nothing(volts: float | None) -> None:
    bench = full_bench(limits=())
    bench.start()
    bench.supply_a = 2.0 if volts is not None else 30.0
    bench.numbers["voltage"] = volts
    bench.run(10.0)
    assert bench.at(State.RUNNING)


def test_a_dip_of_the_volts_is_no_contradiction() -> None:
    bench = full_bench(limits=())
    bench.start()
    for _ in range(10):
        bench.numbers["voltage"] = 1.0
        bench.run(1.5)
        bench.numbers["voltage"] = 6.4
        bench.run(0.1)
    assert bench.at(State.RUNNING)


# --- a supply that has gone, and leads that are swapped


@pytest.mark.parametrize("path", [(5.7, 0.1, -1.2), (-1.2,), (3.0, -0.8, -1.02)])
def test_a_supply_that_goes_while_it_runs_is_named_and_does_not_lock_out(path: tuple[float, ...]) -> None:
    bench = full_bench()
    bench.start()
    bench.numbers["voltage"] = OPEN_V
    for current_a in path:
        bench.fixed_current_a = current_a
        bench.scan()
    assert bench.causes == ["supply gone"]
    assert bench.state is State.TRIPPED
    assert not bench.outputs.main_hold
    bench.fixed_current_a = None
    bench.run(5.0)
    assert bench.causes == ["supply gone"]  # nor does it become the other while the contactors open
    assert "discharges into it" in explain(bench.rig, bench.memory, ()).text
    assert not bench.parts.path


@pytest.mark.parametrize(
    ("current_a", "volts"),
    [
        (-1.2, -2.0),  # the volts have changed sides as well
        (-1.2, 6.4),  # more than a cell holds by itself: something drives it
        (-1.2, None),  # nobody sees the volts: in doubt the worse
        (-12.0, OPEN_V),  # more than a cell drives through a supply that is off
    ],
)
def test_anything_else_the_wrong_way_is_still_reversed(current_a: float, volts: float | None) -> None:
    bench = full_bench()
    bench.start()
    bench.fixed_current_a, bench.numbers["voltage"] = current_a, volts
    bench.scan()
    assert bench.causes[0] == "reversed"
    assert bench.state is State.LOCKED_OUT


@pytest.mark.parametrize("current_a", [-1.2, -5.0, -30.0])
def test_swapped_leads_show_from_the_closing_on_and_lock_out(current_a: float) -> None:
    bench = full_bench(supply=KNOB)
    bench.supply_a = current_a
    bench.numbers["voltage"] = 0.0
    closed(bench)
    bench.until(lambda: bool(bench.causes), 2.0)
    assert bench.causes[0] == "reversed"
    assert bench.state is State.LOCKED_OUT


def test_a_discharge_that_goes_on_is_no_longer_laid_to_the_supply() -> None:
    """Both means have failed: what stood for two seconds as a supply that has gone locks out."""
    bench = full_bench()
    bench.start()
    bench.parts.main_welded = bench.parts.second_welded = True
    bench.fixed_current_a, bench.numbers["voltage"] = -1.2, OPEN_V
    bench.run(4.0)
    assert bench.causes[0] == "supply gone"
    assert bench.state is State.LOCKED_OUT


# --- first power of a rig file


def first_bench(**changes: object) -> Bench:
    bench = full_bench(**changes)
    again = Bench(bench.rig, latch=Latch(1, bench.rig.rig_hash, False, first_power_due=True))
    again.numbers.update(bench.numbers)
    return again


def test_the_first_power_of_a_rig_file_is_held_at_the_minimum_until_volts_and_current_fit_and_only_then() -> None:
    bench = first_bench()
    at_s = closed(bench)
    while bench.now_s - at_s < 10.4:  # lag 0.5 s and ten seconds
        scan(bench, good, 0.1)
        assert bench.outputs.setpoint_a in (0.0, 9.0)
        assert bench.at(State.RAMPING)
    assert "First power" in explain(bench.rig, bench.memory, ()).text
    scan(bench, good, 7.0)
    assert bench.outputs.setpoint_a == 30.0
    assert bench.at(State.VENTING, State.RUNNING)
    assert not bench.memory.latch.first_power_due
    assert "first power" in bench.said(Happened.NOTE)
    again = Bench(bench.rig, latch=bench.memory.latch._replace(powered=False))
    again.numbers.update(bench.numbers)
    closed(again)
    scan(again, good, 5.5)
    assert again.outputs.setpoint_a == 30.0  # the next start is an ordinary one


@pytest.mark.parametrize(
    ("volts", "words"),
    [
        (lambda _a: 4.1, "4.10 V at 9.0 A: 4.2 to 7.8 V would fit 3 cells"),
        (lambda _a: 7.9, "7.90 V at 9.0 A"),
    ],
)
def test_volts_outside_what_a_cell_can_have_end_the_first_power(volts: Callable[[float], float], words: str) -> None:
    bench = first_bench(limits=())
    closed(bench)
    follows(bench, volts)
    for _ in range(150):
        follows(bench, volts)
        bench.scan()
    assert bench.causes == ["first power failed"]
    assert not bench.parts.path
    assert bench.memory.latch.first_power_due
    assert words in explain(bench.rig, bench.memory, ()).text
    assert bench.memory.latch.kind is TripKind.LOCAL


def test_a_shunt_that_shows_half_of_what_was_asked_for_ends_the_first_power() -> None:
    bench = first_bench()
    closed(bench)
    bench.supply_a = 4.5
    scan(bench, good, 12.0)
    assert bench.causes == ["first power failed"]
    assert "4.5 A of 9.0 A" in explain(bench.rig, bench.memory, ()).text


@pytest.mark.parametrize("supply_a", [5.0, 25.0])
def test_a_knob_is_not_held_but_its_volts_must_fit_too(supply_a: float) -> None:
    for volts, fits in ((good, True), (lambda _a: 8.0, False)):
        bench = first_bench(supply=KNOB)
        bench.supply_a = supply_a
        closed(bench)
        scan(bench, volts, 12.0)
        assert bench.causes == ([] if fits else ["first power failed"])
        assert bench.at(State.VENTING, State.RUNNING) == fits


def test_without_a_voltage_sensor_the_current_alone_must_fit() -> None:
    bench = first_bench(roles=Roles(current=0, cell_temperature=1))
    closed(bench)
    bench.run(12.0)
    assert not bench.memory.latch.first_power_due
    assert not bench.causes
