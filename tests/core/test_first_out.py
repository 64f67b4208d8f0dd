"""Which cause came first, and that what follows from a trip is never told as a cause of its own."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.events import Happened
from controller.core.limits import TripKind
from controller.core.outputs import PINS
from controller.core.sequence import State
from controller.core.signals import Code
from controller.core.trips import Cause, Latch, Rank, Seen, add, gathered, in_order
from tests.core.bench import Bench
from tests.core.rigs import full_bench

Begins = Callable[[Bench], None]


def reads(name: str, number: float) -> Begins:
    return lambda bench: bench.numbers.update({name: number})


def says(name: str, code: Code) -> Begins:
    return lambda bench: bench.codes.update({name: code})


def opens(bench: Bench) -> None:
    bench.parts.main = False


def pin_stuck(bench: Bench) -> None:
    bench.pins = tuple(True if name == "main_close" else level for name, level in zip(PINS, bench.pins, strict=True))


# Each begins in one scan and stays, and comes due some scans later.
CAUSES: dict[str, Begins] = {
    "stop chain": reads("stop chain", 0.0),
    "level low hydrogen side": reads("level hydrogen side", 0.0),
    "coolant flow low": reads("coolant flow", 0.0),
    "over-temperature": reads("cell temperature", 75.0),
    "short": reads("current", 50.0),
    "level low oxygen side": says("level oxygen side", Code.ABSENT),
    "opened by itself": opens,
    "output not obeyed": pin_stuck,
    "function check": says("air flow", Code.FORCED),
}


def running() -> Bench:
    bench = full_bench()
    bench.start()
    return bench


def alone(begins: Begins) -> tuple[int, Cause]:
    """Scans from its beginning until the trip, and the cause latched, with its times counted from the trip."""
    bench = running()
    begins(bench)
    for scans in itertools.count():
        bench.scan()
        if bench.causes:
            cause = bench.memory.latch.causes[0]
            return scans, cause._replace(due_s=0.0, onset_s=cause.onset_s - bench.now_s)
        assert scans < 100
    raise AssertionError


ALONE = {name: alone(begins) for name, begins in CAUSES.items()}


@pytest.mark.parametrize("name", CAUSES)
def test_each_cause_alone_is_told_by_its_name(name: str) -> None:
    assert ALONE[name][1].name == name


@pytest.mark.parametrize("name", CAUSES)
def test_the_change_of_state_says_which_cause_it_follows(name: str) -> None:
    bench = running()
    CAUSES[name](bench)
    bench.until(lambda: bench.memory.latch.tripped, 100.0)
    [said] = [e for e in bench.events if e.what is Happened.STATE and e.subject in ("TRIPPED", "LOCKED_OUT")]
    assert said.detail == bench.memory.latch.causes[0].name


@pytest.mark.parametrize("offset", range(-3, 4))
@pytest.mark.parametrize("pair", list(itertools.combinations(CAUSES, 2)), ids=" and ".join)
def test_of_two_causes_at_any_offset_the_one_that_came_due_first_is_first_out(
    pair: tuple[str, str], offset: int
) -> None:
    """Offset: scans by which the second comes due after the first. At none the earlier onset decides."""
    one, two = pair
    scans = {name: ALONE[name][0] for name in pair}
    due = {one: max(scans.values()) + 3, two: max(scans.values()) + 3 + offset}
    begin = {name: due[name] - scans[name] for name in pair}
    bench = running()
    for scan in range(max(due.values()) + 1):
        for name in pair:
            if begin[name] == scan:
                CAUSES[name](bench)
        bench.scan()
        if bench.causes:
            break
    # an opening waits for the cause that explains it, to the end of its wait
    expected = min(
        pair,
        key=lambda name: (
            due[name],
            name == "opened by itself",
            round(ALONE[name][1].onset_s, 6),
            ALONE[name][1].rank,
            ALONE[name][1].order,
        ),
    )
    assert bench.causes[0] == expected
    assert scan == min(due.values())


@pytest.mark.parametrize("sooner", [0, 1, 2, 3])
def test_a_stop_button_in_the_coil_chain_names_itself_though_the_contactor_shows_it_sooner(sooner: int) -> None:
    bench = running()
    bench.parts.main = False
    bench.parts.main_dead = True
    for scan in range(6):
        if scan == sooner:
            bench.numbers["stop chain"] = 0.0
        bench.scan()
        assert not bench.parts.path
    assert bench.causes == ["stop chain"]


def test_an_opening_that_nothing_explains_within_three_tenths_of_a_second_is_its_own_cause() -> None:
    bench = running()
    bench.parts.main = False
    begin_s = bench.now_s + 0.1  # the scan that sees it
    bench.until(lambda: bool(bench.causes), 2.0)
    assert bench.causes == ["opened by itself"]
    assert 0.3 - 1e-9 <= bench.now_s - begin_s <= 0.4 + 1e-9
    bench.numbers["stop chain"] = 0.0
    bench.scan()
    assert bench.causes == ["opened by itself", "stop chain"]


@pytest.mark.parametrize("name", CAUSES)
def test_what_the_trip_itself_takes_away_never_follows_as_a_cause(name: str) -> None:
    """No current, low volts, lost flow, lost edges: all of them come after a trip, none is told."""
    bench = full_bench()
    bench.start()
    bench.run(25.0)  # all windows over
    CAUSES[name](bench)
    bench.until(lambda: bool(bench.causes), 10.0)
    bench.numbers["voltage"] = 0.0
    bench.numbers["current"] = None  # it follows the contactors
    bench.run(30.0)
    assert set(bench.causes) == {name}


@pytest.mark.parametrize("offsets", [*itertools.permutations([0, 1, 3]), (0, 0, 0), (0, 0, 3), (0, 3, 3)])
def test_signals_lost_with_one_device_are_one_cause_that_names_it(offsets: tuple[int, int, int]) -> None:
    bench = full_bench()
    bench.start()
    names = ("current", "room hydrogen", "voltage")  # the three channels of one converter
    for scan in range(60):
        for name, offset in zip(names, offsets, strict=True):
            if scan == offset:
                bench.codes[name] = Code.BUS_ERROR
        bench.scan()
    assert bench.causes == ["converter 0x48"]
    [cause] = bench.memory.latch.causes
    assert (cause.rank, cause.seen, cause.kind) == (Rank.DEVICE, Seen.BLIND, TripKind.RESETTABLE)


def test_one_signal_lost_alone_is_one_cause_though_four_limits_hang_on_it() -> None:
    bench = full_bench()
    bench.start()
    bench.codes["current"] = Code.BUS_ERROR
    bench.until(lambda: bool(bench.causes), 5.0)
    [cause] = bench.memory.latch.causes
    assert (cause.signal, cause.seen, cause.rank) == ("current", Seen.BLIND, Rank.SENSOR)


def test_signals_of_two_devices_lost_together_are_two_causes() -> None:
    bench = full_bench()
    bench.start()
    for name in ("current", "voltage", "pressure hydrogen side", "pressure oxygen side"):
        bench.codes[name] = Code.BUS_ERROR
    bench.run(5.0)
    assert bench.causes == ["converter 0x49", "converter 0x48"]  # gas pressure has the shorter grace


def test_one_bad_sample_of_a_neighbour_does_not_blame_the_device() -> None:
    bench = full_bench()
    bench.start()
    bench.codes["current"] = Code.BUS_ERROR
    bench.run(1.8)
    bench.codes["voltage"] = Code.BUS_ERROR
    bench.run(0.4)
    assert [(c.name, c.signal) for c in bench.memory.latch.causes] == [("over-current", "current")]


def test_a_dead_current_sensor_is_a_lost_sensor_and_no_short_circuit() -> None:
    bench = running()
    bench.codes["current"] = Code.TIMED_OUT
    bench.run(30.0)
    assert bench.state is State.TRIPPED
    assert bench.memory.latch.kind is TripKind.RESETTABLE
    assert not bench.memory.latch.locked_out


def test_a_saturated_current_is_a_short_circuit_and_locks_out_in_the_scan_that_sees_it() -> None:
    bench = running()
    bench.fixed_current_a = 51.198
    bench.scan()
    assert bench.state is State.LOCKED_OUT
    assert bench.causes[0] == "short"
    assert bench.memory.latch.causes[0].seen is Seen.REFUSED


causes = st.builds(
    Cause,
    name=st.sampled_from(["a", "b", "c", "d"]),
    kind=st.sampled_from(TripKind),
    rank=st.sampled_from(Rank),
    seen=st.sampled_from([Seen.BEYOND, Seen.BLIND, Seen.OWN]),
    due_s=st.sampled_from([1.0, 2.0]),
    onset_s=st.sampled_from([0.0, 0.5]),
    order=st.integers(0, 3),
    signal=st.sampled_from(["x", "y", ""]),
)


def standing(cause: Cause) -> tuple[float, float, int, int]:
    """What decides which of two came first, in this order."""
    return cause.due_s, cause.onset_s, cause.rank, cause.order


@given(
    found=st.lists(causes, max_size=6, unique_by=standing).flatmap(lambda x: st.tuples(st.just(x), st.permutations(x)))
)
def test_the_order_in_which_causes_are_found_does_not_matter(found: tuple[list[Cause], list[Cause]]) -> None:
    one, other = found
    assert in_order(one) == in_order(other)
    assert [standing(c) for c in in_order(one)] == sorted(standing(c) for c in one)


@given(found=st.lists(causes, max_size=6), lost_with=st.dictionaries(st.sampled_from(["x", "y"]), st.just("chip")))
def test_gathering_loses_no_cause_that_was_seen_beyond_its_limit(found: list[Cause], lost_with: dict[str, str]) -> None:
    told = gathered(found, lost_with)
    assert {c.name for c in found if c.seen is not Seen.BLIND} == {c.name for c in told if c.seen is not Seen.BLIND}
    assert bool(told) == bool(found)
    blind = [c for c in told if c.seen is Seen.BLIND]
    assert len(blind) <= len({lost_with.get(c.signal) or c.signal for c in found if c.seen is Seen.BLIND})


@given(first=st.lists(causes, max_size=4), second=st.lists(causes, max_size=4))
def test_a_latch_only_grows_keeps_its_first_cause_and_its_worst_kind(first: list[Cause], second: list[Cause]) -> None:
    latch, _ = add(Latch(1, "", False), tuple(first))
    grown, new = add(latch, tuple(second))
    assert grown.causes[: len(latch.causes)] == latch.causes
    assert len({c.name for c in grown.causes}) == len(grown.causes)
    assert {c.name for c in grown.causes} == {c.name for c in (*first, *second)}
    assert new == grown.causes[len(latch.causes) :]
    assert grown.number == latch.number + bool(new)
    assert grown.kind >= latch.kind
    assert grown.locked_out == any(c.kind is TripKind.LOCK_OUT for c in grown.causes)
