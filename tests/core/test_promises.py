"""The promises in short: unseen is off in time and not before, tripped stays tripped, and a calm rig runs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.core.limits import TripKind
from controller.core.memory import first
from controller.core.sequence import State
from controller.core.signals import Code
from controller.core.trips import Cause, Latch, Rank, Seen
from tests.core.bench import Bench, rig
from tests.core.rigs import full_bench, with_limit

# The least grace of each signal among the limits that trip under power, by hand.
GRACE_S = {
    "current": 2.0, "cell temperature": 5.0, "level hydrogen side": 2.0, "level oxygen side": 2.0, "coolant flow": 2.0,
    "stop chain": 2.0, "room hydrogen": 2.0, "dry floor": 2.0, "air flow": 2.0, "pressure hydrogen side": 0.5,
    "pressure oxygen side": 0.5, "voltage": 2.0,
}  # fmt: skip
WAYS = {
    "absent": lambda bench, name: bench.codes.update({name: Code.ABSENT}),
    "a bus error": lambda bench, name: bench.codes.update({name: Code.BUS_ERROR}),
    "not a number": lambda bench, name: bench.numbers.update({name: float("nan")}),
    "the same sample for ever": lambda bench, name: bench.stamps.update({name: bench.now_s - 0.01}),
    "a stamp from the future": lambda bench, name: bench.stamps.update({name: bench.now_s + 1e6}),
    "a stamp from long ago": lambda bench, name: bench.stamps.update({name: 0.0}),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", GRACE_S)
def test_a_protective_signal_that_is_not_seen_trips_at_its_grace_and_not_before(name: str, way: str) -> None:
    bench = full_bench()
    bench.start()
    bench.run(12.0)  # past every settling window
    good_s = bench.now_s - 0.01
    WAYS[way](bench, name)
    bench.until(lambda: bench.at(State.TRIPPED), 6.0)
    assert GRACE_S[name] - 1e-6 <= bench.now_s - good_s <= GRACE_S[name] + 0.1 + 1e-6
    [cause] = bench.memory.latch.causes
    assert (cause.signal, cause.seen, cause.kind) == (name, Seen.BLIND, TripKind.RESETTABLE)
    assert not bench.parts.path


@pytest.mark.parametrize("name", GRACE_S)
def test_one_scan_less_than_the_grace_is_ridden_through(name: str) -> None:
    bench = full_bench()
    bench.start()
    bench.run(12.0)
    bench.codes[name] = Code.ABSENT
    bench.run(GRACE_S[name] - 0.1)
    bench.codes.clear()
    bench.run(30.0)
    assert bench.at(State.RUNNING)
    assert not bench.causes


def commands_but_resets() -> list[Command]:
    kept = [v for v in Verb if v not in (Verb.RESET, Verb.RELEASE)]
    return [
        Command(verb, source, text="because", who="Jo", seconds=60.0, subject="coolant flow low")
        for verb in kept
        for source in Source
    ]


@pytest.mark.parametrize(("name", "number"), [("stop chain", 0.0), ("cell temperature", 75.0), ("current", 50.0)])
def test_a_trip_stays_for_ever_without_a_reset_whatever_else_is_asked(name: str, number: float) -> None:
    bench = Bench()
    bench.start()
    normal = bench.numbers[name]
    bench.numbers[name] = number
    bench.until(lambda: bench.at(State.TRIPPED, State.LOCKED_OUT), 5.0)
    bench.numbers[name] = normal
    bench.run(2.0)
    causes = bench.causes
    for command in commands_but_resets():
        bench.scan(command)
        bench.run(0.5)
    bench.scan(dt_s=30 * 86400.0)
    bench.run(60.0)
    assert bench.at(State.TRIPPED, State.LOCKED_OUT)
    assert bench.causes == causes
    assert len(bench.parts.closings) == 1
    # and with one it goes
    bench.ask(Verb.LIFT, who="Jo")
    verb = Verb.RELEASE if bench.at(State.LOCKED_OUT) else Verb.RESET
    assert bench.ask(verb, text="looked at it").what is Happened.ACCEPTED
    bench.until(lambda: bench.at(State.OFF), 30.0)
    bench.start()


def a_cause(name: str, kind: TripKind) -> Cause:
    return Cause(name, kind, Rank.PROCESS, Seen.BEYOND, 0.0, 0.0, 0)


@pytest.mark.parametrize(
    ("latch", "state"),
    [
        (Latch(1, "0" * 16, False), State.OFF),
        (Latch(1, "0" * 16, False, held_by="Jo", hold_reason="gasket"), State.OUT_OF_SERVICE),
        (Latch(1, "0" * 16, False, (a_cause("level low", TripKind.RESETTABLE),)), State.TRIPPED),
        (Latch(1, "0" * 16, False, (a_cause("x", TripKind.LOCAL),), held_by="Jo", hold_reason="g"), State.TRIPPED),
        (Latch(1, "0" * 16, False, (a_cause("short", TripKind.LOCK_OUT),), locked_out=True), State.LOCKED_OUT),
        # a name that this rig file does not know any more still stands
        (Latch(1, "0" * 16, False, (a_cause("a limit of last year", TripKind.LOCAL),)), State.TRIPPED),
    ],
)
def test_a_guard_comes_up_in_what_the_disk_says_and_drives_nothing(latch: Latch, state: State) -> None:
    bench = Bench(rig(), latch=latch)
    assert first(bench.rig, latch, 0.0).sequence.state is state
    bench.run(30.0)
    assert bench.at(state)
    assert bench.memory.latch.causes == latch.causes
    assert bench.parts.pulses == 0


def test_healthy_scanning_wears_off_the_count_of_starts_and_nothing_sooner() -> None:
    bench = Bench(latch=Latch(1, "0" * 16, False, starts_without_health=3))
    bench.run(299.0)
    assert bench.memory.latch.starts_without_health == 3
    number = bench.memory.latch.number
    bench.run(2.0)
    assert bench.memory.latch.starts_without_health == 0
    assert bench.memory.latch.number == number + 1  # so that the disk hears of it


def test_hours_of_running_are_counted_from_closing_until_proven_off() -> None:
    bench = Bench()
    bench.start()
    closed_s = bench.memory.sequence.closed_s
    bench.run(60.0)
    bench.ask(Verb.STOP)
    bench.until(lambda: not bench.memory.sequence.powered, 5.0)
    assert bench.memory.latch.running_h * 3600.0 == pytest.approx(bench.now_s - closed_s, abs=0.2)


def test_every_event_is_numbered_once_and_in_order() -> None:
    bench = Bench()
    bench.start()
    bench.numbers["stop chain"] = 0.0
    bench.run(2.0)
    assert [e.number for e in bench.events] == list(range(1, len(bench.events) + 1))
    assert bench.memory.events == len(bench.events)


@pytest.mark.parametrize(
    ("why", "cell_c", "grace_s"),
    [("calm", 55.0, 30.0), ("near its limit", 66.0, 5.0), ("current out of range", 55.0, 5.0)],
)
def test_a_temperature_far_from_its_limit_may_be_gone_for_longer_while_flow_and_current_are_in_order(
    why: str, cell_c: float, grace_s: float
) -> None:
    limits = with_limit("over-temperature", far_grace_s=30.0, far=5.0)
    bench = Bench(rig(limits=limits))
    bench.start()
    bench.numbers["cell temperature"] = cell_c
    bench.scan()
    good_s = bench.now_s - 0.01
    bench.codes["cell temperature"] = Code.ABSENT
    if why == "current out of range":
        bench.rig = replace(bench.rig, supply=replace(bench.rig.supply, kind="current knob"))
        bench.supply_a = 31.6  # over 105 % of 30 A, under the limit of 35 A
    bench.until(lambda: bool(bench.causes), 40.0)
    assert bench.causes == ["over-temperature"]
    assert bench.now_s - good_s == pytest.approx(grace_s, abs=0.11)


@pytest.mark.parametrize(("cell_c", "rides_through"), [(50.0, True), (67.0, False)])
def test_a_probe_gone_for_twelve_seconds_is_ridden_through_far_from_its_limit_and_not_near_it(
    cell_c: float, rides_through: bool
) -> None:
    bench = Bench(rig(limits=with_limit("over-temperature", far_grace_s=30.0, far=5.0)))
    bench.start()
    bench.numbers["cell temperature"] = cell_c
    bench.run(2.0)
    bench.codes["cell temperature"] = Code.ABSENT
    bench.run(12.0)
    bench.codes.clear()
    bench.run(30.0)
    assert bench.at(State.RUNNING) == rides_through
