"""What a reset must wait for, and after which trips it is not enough."""

from __future__ import annotations

import copy

import pytest

from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.limits import TripKind
from controller.core.sequence import State
from tests.core.bench import Bench, rig
from tests.core.rigs import with_limit
from tests.core.states import GRANTS, in_state

# --- resets


@pytest.mark.parametrize(("kind", "from_afar"), [(TripKind.RESETTABLE, True), (TripKind.LOCAL, False)])
def test_only_the_resettable_kind_is_reset_from_afar(kind: TripKind, from_afar: bool) -> None:
    limits = with_limit("level low oxygen side", kind=kind)
    bench = Bench(rig(limits=limits, permitted=GRANTS))
    bench.start()
    bench.numbers["level oxygen side"] = 0.0
    bench.until(lambda: bench.at(State.TRIPPED), 5.0)
    bench.numbers["level oxygen side"] = 1.0
    bench.run(2.0)
    answer = copy.deepcopy(bench).ask(Verb.RESET, Source.REMOTE)
    assert (answer.what is Happened.ACCEPTED) == from_afar
    assert bench.ask(Verb.RESET, Source.BUTTON).what is Happened.ACCEPTED


def test_a_trip_is_not_reset_before_it_is_on_disk_nor_while_it_stands() -> None:
    bench = in_state(State.RUNNING)
    bench.numbers["cell temperature"] = 75.0
    bench.latch_delay = lambda: False
    bench.until(lambda: bench.at(State.TRIPPED), 5.0)
    bench.numbers["cell temperature"] = 48.0
    bench.run(3.0)
    assert "not on disk" in bench.ask(Verb.RESET).detail
    bench.latch_delay = lambda: True
    bench.numbers["cell temperature"] = 69.0  # within the deadband
    bench.run(1.0)
    bench.numbers["cell temperature"] = 75.0
    bench.run(3.0)
    bench.numbers["cell temperature"] = 69.0
    bench.run(3.0)
    assert "still stands" in bench.ask(Verb.RESET).detail
    bench.numbers["cell temperature"] = 67.9
    bench.run(1.0)
    assert bench.ask(Verb.RESET).what is Happened.ACCEPTED


def test_what_the_controller_still_finds_is_not_reset_either() -> None:
    bench = in_state(State.RUNNING)
    stuck = tuple(True for _ in bench.pins)
    bench.pins = stuck
    bench.scan()
    assert bench.at(State.TRIPPED)
    bench.run(2.0)
    bench.pins = stuck
    assert "still stands" in bench.ask(Verb.RESET).detail
    assert bench.at(State.TRIPPED)


@pytest.mark.parametrize("hours", [3.0, 6.0])
def test_the_third_trip_within_ten_hours_of_running_locks_out(hours: float) -> None:
    """Two trips `hours` apart and a third as much later: within ten hours for 3, not for 6."""
    bench = in_state(State.OFF)
    for trip in range(3):
        bench.run(1.0)
        bench.ask(Verb.START)
        bench.until(lambda: bench.at(State.RUNNING), 60.0)
        if trip:
            # hours of running without scanning them all
            run, seq = bench.memory.run, bench.memory.sequence
            back_s = hours * 3600.0
            bench.memory = bench.memory._replace(
                run=run._replace(began_s=run.began_s - back_s), sequence=seq._replace(closed_s=seq.closed_s - back_s)
            )
        bench.numbers["level oxygen side"] = 0.0
        bench.until(lambda: bench.at(State.TRIPPED, State.LOCKED_OUT), 10.0)
        bench.numbers["level oxygen side"] = 1.0
        bench.run(2.0)
        if trip < 2:
            assert bench.ask(Verb.RESET).what is Happened.ACCEPTED
    assert bench.at(State.LOCKED_OUT) == (hours == 3.0)
    assert ("third trip" in bench.causes) == (hours == 3.0)


def test_trips_without_power_are_not_counted() -> None:
    bench = in_state(State.OFF)
    for _ in range(5):
        bench.numbers["stop chain"] = 0.0
        bench.run(0.5)
        bench.numbers["stop chain"] = 1.0
        bench.run(0.5)
        assert bench.ask(Verb.RESET).what is Happened.ACCEPTED
    assert not bench.memory.latch.trips_in_running
