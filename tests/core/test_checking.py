"""The self-test before every start: what is broken is found, and looking for it lets no current flow."""

from __future__ import annotations

import pytest

from controller.core.commands import Verb
from controller.core.events import Happened
from controller.core.sequence import Check, State
from controller.core.signals import Code
from tests.core.bench import Bench, rig
from tests.core.rigs import PATHS
from tests.core.states import BROKEN, at, break_, checking, ended


@pytest.mark.parametrize("supply_a", [None, 30.0])
@pytest.mark.parametrize("what", BROKEN)
def test_every_device_broken_in_every_way_is_found_and_locks_out(what: str, supply_a: float | None) -> None:
    bench = checking()
    bench.supply_a = supply_a
    break_(bench, what)
    while not ended(bench):
        bench.scan()
        assert not bench.parts.path
        assert bench.current_a() == 0.0
    assert bench.state is State.LOCKED_OUT
    assert bench.causes[0] in ("self-test failed", "contactor not open")
    bench.run(60.0)
    assert bench.parts.closings == []


@pytest.mark.parametrize("what", BROKEN)
def test_what_is_broken_before_a_start_never_comes_to_power(what: str) -> None:
    bench = Bench()
    break_(bench, what)
    bench.run(2.0)
    bench.ask(Verb.START)
    bench.run(60.0)
    assert bench.state in (State.LOCKED_OUT, State.OFF)
    assert bench.parts.closings == []


def test_nothing_broken_every_step_passes_in_order_and_the_rig_runs() -> None:
    bench = Bench()
    bench.start()
    steps = [e.subject for e in bench.events if e.what is Happened.SELF_TEST and e.detail == "passed"]
    assert steps == [c.name.lower().replace("_", " ") for c in Check if c is not Check.READY]
    assert len(bench.parts.closings) == 1


def test_a_weld_behind_a_lying_contact_is_found_by_the_current_and_ended_at_once() -> None:
    """Two faults at once: only current can show it, so the test must close the path to see, and opens it again."""
    bench = checking()
    bench.parts.main_welded, bench.parts.main_aux_lies, bench.supply_a = True, False, 30.0
    closed = 0
    while not ended(bench):
        bench.scan()
        closed += bench.parts.path
    assert bench.state is State.LOCKED_OUT
    assert closed <= 5
    bench.run(10.0)
    assert not bench.parts.path


@pytest.mark.parametrize("name", PATHS)
def test_every_kind_of_power_path_starts_without_closing_it_in_the_test_and_opens_on_a_trip(name: str) -> None:
    bench = Bench(rig(power=PATHS[name]))
    bench.supply_a = 30.0  # gives all it has into a closed path, whatever it is told
    checking(bench)
    starved_s = 0.0  # longest time without an edge, once there had been one
    while bench.at(State.CHECKING):
        assert not bench.parts.path
        bench.scan()
        if bench.parts.last_edge_s > 0.0:
            starved_s = max(starved_s, bench.now_s + 0.1 - bench.parts.last_edge_s)
    assert starved_s > bench.parts.relay_s  # it has been made to drop, whether or not anybody could see it
    bench.supply_a = None
    bench.until(lambda: bench.state is State.RUNNING)
    assert bench.flows()
    bench.numbers["stop chain"] = 0.0
    bench.scan()
    assert not bench.flows()
    bench.run(2.0)
    assert not bench.outputs.second


@pytest.mark.parametrize("what", BROKEN)
@pytest.mark.parametrize("name", [n for n, power in PATHS.items() if power.has_second])
def test_one_broken_device_never_keeps_power_on_after_a_trip_where_there_are_two(name: str, what: str) -> None:
    """Broken while running, and the guard may not see it: two means and the relay's second still end it."""
    bench = Bench(rig(power=PATHS[name]))
    bench.start()
    break_(bench, what)
    bench.numbers["stop chain"] = 0.0
    bench.scan()
    bench.run(1.0)  # half a second to the second means, and a scan or two
    assert not bench.parts.path
    bench.run(60.0)
    assert not bench.parts.path
    assert len(bench.parts.closings) == 1


@pytest.mark.parametrize(("relay_s", "passes"), [(0.6, True), (1.4, True), (1.75, False)])
def test_the_relay_must_drop_within_its_declared_time(relay_s: float, passes: bool) -> None:
    """One second and thirty percent, the contactor's tenth, and two scans: 1.6 s."""
    bench = checking()
    bench.parts.relay_s = relay_s
    bench.until(lambda: ended(bench))
    assert (bench.state is State.RAMPING) == passes
    assert passes or bench.state is State.LOCKED_OUT


@pytest.mark.parametrize("scans", range(56))
def test_one_bad_sample_of_any_signal_at_any_moment_of_the_test_spoils_no_start(scans: int) -> None:
    bench = checking()
    for scan in range(70):
        bench.codes = {s.name: Code.ABSENT for s in bench.rig.signals} if scan == scans else {}
        bench.scan()
    bench.until(lambda: bench.state is State.RUNNING, 30.0)


@pytest.mark.parametrize("step", [Check.SECOND_ALONE, Check.MAIN_ALONE])
def test_current_that_is_not_known_fails_the_start_and_not_a_contactor(step: Check) -> None:
    bench = checking()
    bench.until(lambda: at(step)(bench))
    bench.codes["current"] = Code.ABSENT
    bench.until(lambda: ended(bench), 1.6)  # before the grace of the sensor is over
    assert bench.state is State.COOLING
    assert "not known" in bench.memory.run.ending
    assert not bench.memory.latch.tripped
    assert bench.parts.closings == []


@pytest.mark.parametrize("step", list(Check))
def test_a_pause_during_the_test_gives_the_start_up_and_blames_no_device(step: Check) -> None:
    bench = checking()
    bench.until(lambda: at(step)(bench))
    bench.scan(dt_s=5.0)
    assert bench.state is State.COOLING
    bench.run(10.0)
    assert not bench.memory.latch.tripped
    assert bench.parts.closings == []


@pytest.mark.parametrize("step", list(Check))
@pytest.mark.parametrize("by", ["stop", "trip"])
def test_a_test_that_ends_early_closes_nothing_and_leaves_no_powered_on_disk(step: Check, by: str) -> None:
    bench = checking()
    bench.latch_delay = lambda: False  # so that `ready` lasts
    bench.until(lambda: at(step)(bench))
    bench.scan()
    if by == "stop":
        bench.ask(Verb.STOP)
        assert bench.state is State.COOLING
    else:
        bench.numbers["stop chain"] = 0.0
        bench.scan()
        assert bench.state is State.TRIPPED
    bench.latch_delay = lambda: True
    bench.run(5.0)
    assert not bench.memory.latch.powered
    assert bench.parts.closings == []
    assert not any((bench.outputs.main_hold, bench.outputs.main_close, bench.outputs.second, bench.outputs.edge))


# --- the close pulse


def test_the_close_pulse_comes_only_in_its_two_steps_and_is_never_longer_than_half_a_second() -> None:
    for power in PATHS.values():
        bench = Bench(rig(power=power))
        bench.parts.main_dead = True  # so that the pulse is as long as it can be
        bench.run(1.0)
        bench.ask(Verb.START)
        length = longest = 0
        for _ in range(200):
            bench.scan()
            length = length + 1 if bench.outputs.main_close else 0
            longest = max(longest, length)
            if bench.outputs.main_close:
                assert bench.outputs.main_hold
                ramping = bench.state is State.RAMPING and bench.memory.sequence.closed_s < 0.0
                assert ramping or (bench.state is State.CHECKING and at(Check.MAIN_ALONE)(bench))
        assert longest in (5, 6)  # half a second of scans; the last begins within it


@pytest.mark.parametrize("after_s", [0.0, 0.3, 0.5])
@pytest.mark.parametrize("pole", ["main_pole_welded", "second_pole_welded"])
def test_a_welded_pole_that_its_contact_hides_is_found_by_a_little_current(pole: str, after_s: float) -> None:
    """The supply gives what it is told, up to its declared start lag (0.5 s) after it is told."""
    bench = Bench()
    setattr(bench.parts, pole, True)
    most_a, path_s = 0.0, 0.0
    told: list[tuple[float, float]] = [(bench.now_s, 0.0)]
    bench.run(1.0)
    assert bench.ask(Verb.START).what is Happened.ACCEPTED
    while not ended(bench):
        told.append((bench.now_s, bench.outputs.setpoint_a))
        bench.supply_a = next(
            a for at_s, a in reversed(told) if bench.now_s - at_s >= after_s - 1e-9 or at_s == told[0][0]
        )
        most_a = max(most_a, bench.current_a())
        path_s += 0.1 * (bench.current_a() > 0.0)
        bench.scan()
    assert bench.state is State.LOCKED_OUT
    first = bench.memory.latch.causes[0]
    assert first.name == "current while off" or (first.name == "self-test failed" and "current flows" in first.signal)
    assert 0.0 < most_a < 0.1 * bench.rig.supply.rated_a  # enough to be seen, too little to do harm
    assert path_s <= 1.0
    bench.supply_a = None
    bench.run(1.0)
    assert bench.current_a() == 0.0


def test_sound_contactors_let_none_of_that_current_through_and_the_rig_starts() -> None:
    bench = checking()
    probed = 0
    while not ended(bench):
        probed += bench.outputs.setpoint_a > 0.0
        assert bench.current_a() == 0.0
        bench.scan()
    assert probed > 0
    bench.until(lambda: bench.state is State.RUNNING)
