"""Coolant and ventilation when power is off, and what is no longer switched with hydrogen in the room."""

from __future__ import annotations

import pytest

from controller.core.commands import Verb
from controller.core.events import Happened
from controller.core.limits import TripKind
from controller.core.rig import Roles
from controller.core.sequence import State
from tests.core.bench import Bench, rig
from tests.core.rigs import full_bench
from tests.core.states import ran

# --- coolant, ventilation


def tripped_by(cause: str, cell_c: float) -> Bench:
    bench = ran(full_bench())
    bench.numbers["cell temperature"] = min(cell_c, 60.0)
    name, number = {
        "stop chain": ("stop chain", 0.0),
        "leak": ("dry floor", 0.0),
        "coolant flow high": ("coolant flow", 9.0),
        "coolant flow low": ("coolant flow", 0.0),
    }[cause]
    bench.numbers[name] = number
    bench.until(lambda: bench.at(State.TRIPPED), 10.0)
    bench.numbers["cell temperature"] = cell_c
    bench.run(1.1)
    return bench


@pytest.mark.parametrize(
    ("cause", "cell_c", "coolant"),
    [
        ("stop chain", 60.0, True), ("stop chain", 45.1, True), ("stop chain", 45.0, False),
        ("stop chain", 20.0, False), ("leak", 60.0, False), ("coolant flow high", 60.0, False),
        ("coolant flow low", 60.0, True),
        ("coolant flow low", 89.9, True), ("coolant flow low", 90.0, False), ("stop chain", 95.0, True),
    ],
)  # fmt: skip
def test_coolant_after_a_trip(cause: str, cell_c: float, coolant: bool) -> None:
    bench = tripped_by(cause, cell_c)
    assert bench.outputs.coolant == coolant
    assert bench.outputs.ventilation


def test_coolant_runs_until_the_cell_is_cold_or_an_hour_is_over() -> None:
    bench = tripped_by("stop chain", 60.0)
    since_s = bench.memory.sequence.since_s
    bench.scan(dt_s=3599.0 - (bench.now_s - since_s))
    assert bench.outputs.coolant
    bench.until(lambda: not bench.outputs.coolant, 1.5)
    bench = tripped_by("stop chain", 60.0)
    bench.numbers["cell temperature"] = 44.0
    bench.run(1.5)
    assert not bench.outputs.coolant


def test_a_hot_cell_that_lost_its_coolant_gets_none_when_it_returns_not_even_once_it_has_cooled_a_little() -> None:
    bench = tripped_by("coolant flow low", 95.0)
    bench.numbers["coolant flow"] = None
    bench.numbers["cell temperature"] = 80.0
    bench.run(5.0)
    assert not bench.outputs.coolant


def test_coolant_shut_by_a_leak_stays_shut_until_the_reset() -> None:
    bench = tripped_by("leak", 60.0)
    bench.numbers["dry floor"] = 1.0
    bench.run(5.0)
    assert not bench.outputs.coolant
    assert bench.ask(Verb.RESET).what is Happened.ACCEPTED
    assert bench.at(State.COOLING)
    assert bench.outputs.coolant


def test_after_an_orderly_stop_a_rig_cools_until_it_is_cold_and_one_without_a_thermometer_for_an_hour() -> None:
    bench = ran()
    bench.numbers["cell temperature"] = 60.0
    bench.ask(Verb.STOP)
    bench.until(lambda: bench.at(State.COOLING), 5.0)
    bench.run(30.0)
    assert bench.outputs.coolant
    bench.numbers["cell temperature"] = 45.0
    bench.until(lambda: not bench.outputs.coolant, 0.3)
    assert bench.at(State.OFF)
    bench = ran(Bench(rig(roles=Roles(current=0))))
    bench.ask(Verb.STOP)
    bench.until(lambda: bench.at(State.COOLING), 5.0)
    bench.scan(dt_s=3590.0)
    assert bench.outputs.coolant
    bench.run(11.0)
    assert bench.at(State.OFF)


def test_air_runs_on_until_it_has_been_proven_to_move_for_the_vent_time() -> None:
    bench = ran(full_bench())
    bench.ask(Verb.STOP)
    bench.until(lambda: bench.at(State.OFF), 5.0)
    off_s = bench.now_s
    bench.run(100.0)
    bench.numbers["air flow"] = 0.5  # not proven: this time does not count
    bench.run(200.0)
    bench.numbers["air flow"] = 1.0
    assert bench.outputs.ventilation
    assert bench.outputs.lamp
    bench.until(lambda: not bench.outputs.ventilation, 400.0)
    assert bench.now_s - off_s == pytest.approx(300.0 + 200.0, abs=2.0)
    assert not bench.outputs.lamp


@pytest.mark.parametrize(("signal", "state"), [("stop chain", State.TRIPPED), ("current", State.LOCKED_OUT)])
def test_the_lamp_says_gas_after_a_trip_until_it_is_vented(signal: str, state: State) -> None:
    """Whoever comes to a rig that has tripped must not take it for free of gas."""
    bench = ran(full_bench())
    bench.numbers[signal] = 0.0 if signal == "stop chain" else 50.0
    bench.until(lambda: bench.at(state), 5.0)
    bench.numbers.pop("current", None)
    dark = 0
    for _ in range(50):  # no flicker while power is being proven off
        bench.run(0.1)
        dark += not bench.outputs.lamp
    assert not dark
    bench.numbers["air flow"] = 0.5
    bench.run(600.0)
    assert bench.outputs.lamp
    bench.numbers["air flow"] = 1.0
    bench.until(lambda: not bench.outputs.lamp, 310.0)
    assert bench.at(state)


def test_air_runs_when_the_guard_starts_because_nobody_knows_what_was_before() -> None:
    bench = full_bench()
    bench.run(290.0)
    assert bench.outputs.ventilation
    bench.until(lambda: not bench.outputs.ventilation, 20.0)


# --- so much hydrogen in the room that nothing which sparks is switched


@pytest.mark.parametrize("number", [1.6, 3.9, 4.5])
def test_with_too_much_hydrogen_in_the_room_power_goes_and_the_rest_stays_as_it_is(number: float) -> None:
    """4.5 % is over the detector's range: that is no less."""
    bench = ran(full_bench())
    bench.numbers["cell temperature"] = 60.0
    bench.run(1.0)
    before = bench.outputs
    bench.numbers["room hydrogen"] = number
    bench.until(lambda: bench.at(State.TRIPPED), 5.0)
    for cell_c in (60.0, 40.0):
        bench.numbers["cell temperature"] = cell_c
        bench.run(10.0)
        kept = (bench.outputs.coolant, bench.outputs.ventilation, bench.outputs.horn, bench.outputs.lamp)
        assert kept == (before.coolant, before.ventilation, before.horn, before.lamp) == (True, True, False, True)
    assert not bench.parts.path
    bench.numbers["room hydrogen"] = 0.0
    bench.run(1.0)
    assert not bench.outputs.coolant


def test_a_little_hydrogen_in_the_room_trips_and_leaves_fan_and_horn_to_work() -> None:
    bench = ran(full_bench())
    bench.numbers["room hydrogen"] = 0.8
    assert bench.until(lambda: bench.at(State.TRIPPED), 5.0) == pytest.approx(2.1, abs=0.11)
    assert bench.outputs.horn
    assert bench.memory.latch.kind is TripKind.LOCAL
