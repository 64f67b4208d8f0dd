"""A vote that has lost a member, and members that disagree: said by name, and not for ever."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.advice import UNKNOWN, advice
from controller.core.commands import Verb
from controller.core.events import Event, Happened
from controller.core.frame import pack, unpack
from controller.core.limits import Effect, Limit
from controller.core.members import compare
from controller.core.memory import Inputs
from controller.core.permissives import permissives
from controller.core.scan import Scan
from controller.core.sequence import State
from controller.core.signals import Code, Signal
from tests.core.bench import LIMITS, SIGNALS, Bench, rig

PROBES = ("cell temperature", "second probe", "third probe")
DAY_S = 86400.0


def voting(
    needed: int, members: int, error: float = 0.5, switches: bool = False, effect: Effect = Effect.TRIP
) -> Bench:
    """The plain bench, with a vote of its own over probes or floats that nothing else hangs on but the first probe."""
    if switches:
        more = tuple(Signal(f"float {n}", f"Float {n}", "share", "switch", 0.1, 0.0, 1.0) for n in range(members))
        level = Limit("overflow", "Overflow", tuple(range(6, 6 + members)), 0.5, False, effect, needed=needed,
                      delay_s=2.0, is_switch=True)  # fmt: skip
        bench = Bench(rig(signals=SIGNALS + more, limits=(*LIMITS, level), vent_charge_c=30.0))
        bench.numbers |= {s.name: 1.0 for s in more}
        return bench
    probe = replace(SIGNALS[1], error=error)
    more = tuple(replace(probe, name=name, title=name.capitalize(), device="") for name in PROBES[1:members])
    hot = Limit("too hot by vote", "Too hot by vote", (1, *range(6, 5 + members)), 70.0, True, effect, needed=needed,
                deadband=2.0, delay_s=2.0, grace_s=5.0)  # fmt: skip
    others = tuple(x for x in LIMITS if 1 not in x.members)
    signals = tuple(probe if s.name == "cell temperature" else s for s in SIGNALS)
    bench = Bench(rig(signals=signals + more, limits=(*others, hot), vent_charge_c=30.0))
    bench.numbers |= dict.fromkeys(PROBES[:members], 20.0)
    return bench


def alarms(bench: Bench) -> list[Event]:
    return [e for e in bench.events if e.what is Happened.ALARM and ": " in e.subject]


def cleared(bench: Bench) -> list[str]:
    return [e.subject for e in bench.events if e.what is Happened.ALARM_CLEARED and ": " in e.subject]


# --- a member is lost


@pytest.mark.parametrize(("needed", "members", "left"), [(2, 3, "2 of 3"), (1, 2, "1 of 2"), (2, 2, "1 of 2")])
def test_a_lost_member_is_said_by_name_once_the_loss_has_lasted(needed: int, members: int, left: str) -> None:
    """Three sample periods, as for any loss."""
    bench = voting(needed, members)
    bench.run(5.0)
    bench.codes["second probe"] = Code.BAD_CHECKSUM
    assert bench.until(lambda: bool(alarms(bench)), 5.0) == pytest.approx(3.0, abs=0.15)
    [alarm] = alarms(bench)
    assert "vote degraded" in alarm.detail
    assert f"{left} sensors left, lost: Second probe" in alarm.detail
    assert advice(alarm.subject) is not UNKNOWN
    bench.run(10.0)
    assert len(alarms(bench)) == 1
    bench.codes.clear()
    bench.run(0.2)
    assert cleared(bench) == [alarm.subject]


@pytest.mark.parametrize(("unseen_s", "said"), [(2.875, 0), (3.0, 1)])
def test_a_loss_has_lasted_at_three_sample_periods_exactly(unseen_s: float, said: int) -> None:
    bench = voting(2, 3)
    bench.run(5.0)
    gone = bench.memory.values[6]._replace(number=None, good_stamp_s=1024.0)
    values = (*bench.memory.values[:6], gone, *bench.memory.values[7:])
    memory = bench.memory._replace(values=values)
    scan = Scan(bench.rig, memory, Inputs(bench.readings(), bench.pins), 1024.0 + unseen_s)
    compare(scan)
    assert len(scan.events) == said


def test_two_of_three_run_on_with_two_and_one_of_two_trips_on_the_one_it_lost() -> None:
    for needed, members, runs in ((2, 3, True), (1, 2, False)):
        bench = voting(needed, members)
        bench.start()
        bench.codes["second probe"] = Code.ABSENT
        bench.run(20.0)
        assert bench.at(State.RUNNING) is runs
        assert bench.causes == ([] if runs else ["too hot by vote"])


def test_the_next_one_lost_is_said_with_the_first() -> None:
    bench = voting(2, 3)
    bench.run(5.0)
    bench.codes["second probe"] = Code.ABSENT
    bench.run(5.0)
    bench.codes["third probe"] = Code.ABSENT
    bench.run(5.0)
    assert [("Second probe" in e.detail, "Third probe" in e.detail) for e in alarms(bench)] == [
        (True, False), (True, True)
    ]  # fmt: skip
    bench.codes.clear()
    bench.run(1.0)
    assert len(cleared(bench)) == 1


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_lost_samples_that_do_not_last_degrade_nothing(seed: int) -> None:
    lot = random.Random(seed)
    bench = voting(2, 3)
    bench.run(5.0)
    for _ in range(20):
        bench.codes = {name: Code.ABSENT for name in PROBES if lot.random() < 0.5}
        bench.run(lot.choice([0.1, 0.5, 2.0, 2.8]))
        bench.codes.clear()
        bench.run(0.1)
    assert alarms(bench) == []


def degraded_for(bench: Bench, seconds: float) -> None:
    """As if the vote had run without a member for so long."""
    votes = tuple(state._replace(degraded_s=seconds) for state in bench.memory.votes)
    bench.memory = bench.memory._replace(votes=votes)


def test_after_a_day_of_running_it_stops_in_good_order_and_does_not_start_again_until_it_is_mended() -> None:
    bench = voting(2, 3)
    bench.start()
    bench.codes["third probe"] = Code.ABSENT
    bench.run(5.0)
    degraded_for(bench, DAY_S - 10.0)
    assert bench.until(lambda: bench.state is not State.RUNNING) == pytest.approx(10.0, abs=0.15)
    assert bench.at(State.STOPPING)
    assert not bench.causes
    assert "24 h of running without Third probe" in bench.memory.run.ending
    assert bench.said(Happened.STOP_DEMANDED) == ["too hot by vote"]
    bench.until(lambda: bench.at(State.OFF), 60.0)
    bench.run(60.0)
    refused = bench.ask(Verb.START)
    assert refused.what is Happened.REFUSED
    assert "24 h of running without Third probe: mend it" in refused.detail
    assert not next(p for p in permissives(bench.rig, bench.memory) if p.name == "votes").met
    bench.codes.clear()
    bench.run(1.0)
    bench.start()
    bench.run(60.0)
    assert bench.at(State.RUNNING)


def test_the_day_is_one_of_running_and_is_given_back_only_as_fast_as_it_was_used() -> None:
    bench = voting(2, 3)
    bench.start()
    bench.codes["third probe"] = Code.ABSENT
    bench.run(63.0)  # lost after three of them
    assert bench.memory.votes[0].degraded_s == pytest.approx(60.0, abs=0.3)
    bench.ask(Verb.STOP)
    bench.until(lambda: not bench.memory.sequence.powered)
    used_s = bench.memory.votes[0].degraded_s
    bench.run(120.0)
    assert bench.memory.votes[0].degraded_s == used_s
    bench.codes.clear()
    bench.run(20.0)
    assert bench.memory.votes[0].degraded_s == pytest.approx(used_s - 20.0, abs=0.3)
    bench.run(60.0)
    assert bench.memory.votes[0].degraded_s == 0.0


def test_a_vote_that_stops_is_held_to_the_same() -> None:
    bench = voting(2, 3, effect=Effect.STOP)
    bench.start()
    bench.codes["third probe"] = Code.ABSENT
    bench.run(5.0)
    assert len(alarms(bench)) == 1
    degraded_for(bench, DAY_S)
    bench.until(lambda: bench.at(State.OFF), 60.0)
    assert "mend it" in bench.ask(Verb.START).detail


# --- members disagree


@settings(max_examples=12, deadline=None)
@given(apart=st.floats(1.01, 20.0), error=st.sampled_from([0.0, 0.5]), side=st.sampled_from([1.0, -1.0]))
def test_members_further_apart_than_their_errors_are_named_after_a_minute(
    apart: float, error: float, side: float
) -> None:
    bench = voting(2, 3, error)
    bench.run(5.0)
    bench.numbers["second probe"] = 20.0 + side * apart
    took_s = bench.until(lambda: bool(alarms(bench)), 70.0)
    assert took_s == pytest.approx(60.0, abs=1.2)  # its next sample, and a minute
    [alarm] = alarms(bench)
    assert "disagree" in alarm.detail
    assert "Second probe" in alarm.detail
    assert f"{20.0 + side * apart:.4g} C" in alarm.detail
    assert "Cell temperature" in alarm.detail or "Third probe" in alarm.detail
    assert advice(alarm.subject) is not UNKNOWN
    bench.numbers["second probe"] = 20.0
    assert bench.until(lambda: bool(cleared(bench)), 70.0) == pytest.approx(60.0, abs=1.2)
    assert bench.at(State.OFF)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_members_that_agree_within_their_errors_and_noise_never_disagree(seed: int) -> None:
    """Each off by up to its error of 0.5 K, and noise on top that now and then goes beyond."""
    lot = random.Random(seed)
    bench = voting(2, 3)
    off_k = {name: lot.uniform(-0.5, 0.5) for name in PROBES}
    for _ in range(1500):
        for name in PROBES:
            bench.numbers[name] = 20.0 + off_k[name] + lot.gauss(0.0, 0.1)
            if lot.random() < 0.01:
                bench.numbers[name] = lot.choice([-10.0, 60.0])
        bench.scan()
    assert alarms(bench) == []


def test_a_declared_difference_is_added_to_the_errors() -> None:
    for apart_k, said in ((4.9, 0), (5.1, 1)):
        bench = voting(2, 3)
        limits = tuple(replace(x, differ=4.0) if x.name == "too hot by vote" else x for x in bench.rig.limits)
        bench.rig = replace(bench.rig, limits=limits)
        bench.numbers["second probe"] = 20.0 + apart_k
        bench.run(70.0)
        assert len(alarms(bench)) == said


@pytest.mark.parametrize(("needed", "members"), [(1, 2), (2, 2), (2, 3)])
def test_switches_that_differ_are_named_and_a_float_that_bobs_is_not(needed: int, members: int) -> None:
    bench = voting(needed, members, switches=True)
    bench.run(5.0)
    for scan in range(1200):
        bench.numbers["float 1"] = 0.0 if scan % 5 < 2 else 1.0
        bench.scan()
    assert alarms(bench) == []
    bench.numbers["float 1"] = 0.0
    bench.run(61.0)
    [alarm] = alarms(bench)
    assert "Float 1 (not proven)" in alarm.detail
    assert f"Float {0 if members == 2 else 2} (proven)" in alarm.detail


def test_with_less_than_two_seen_there_is_nothing_to_compare() -> None:
    bench = voting(2, 2)
    bench.run(5.0)
    bench.numbers["second probe"] = 40.0
    bench.run(30.0)
    bench.codes["second probe"] = Code.ABSENT
    bench.run(100.0)
    assert [e.subject for e in alarms(bench)] == ["too hot by vote: a sensor lost"]
    apart_s = bench.memory.votes[0].apart_s
    assert 0.0 < apart_s < 60.0
    bench.codes.clear()
    bench.run(60.0 - apart_s + 1.2)
    assert alarms(bench)[-1].subject == "too hot by vote: sensors disagree"


def test_an_hour_without_scans_is_no_hour_of_disagreement() -> None:
    bench = voting(2, 2)
    bench.run(5.0)
    bench.numbers["second probe"] = 40.0
    bench.scan(dt_s=3600.0)
    bench.run(5.0)
    assert alarms(bench) == []


def test_limits_that_only_warn_and_limits_of_one_signal_are_no_votes() -> None:
    for effect, members, votes in (
        (Effect.ALARM, 3, 0),
        (Effect.DERATE, 3, 0),
        (Effect.STOP, 3, 1),
        (Effect.TRIP, 1, 0),
    ):
        bench = voting(1, members, effect=effect)
        assert len(bench.rig.votes) == votes


def test_what_is_known_of_a_vote_outlives_being_written_down() -> None:
    bench = voting(2, 3)
    bench.start()
    bench.codes["third probe"] = Code.ABSENT
    bench.numbers["second probe"] = 40.0
    bench.run(70.0)
    [state] = bench.memory.votes
    assert state.lost == 0b100
    assert state.degraded_s > 60.0
    assert state.apart
    inputs = Inputs(bench.readings(), bench.pins)
    assert unpack(bench.rig, pack(bench.rig, "0" * 16, 0.0, inputs, (), bench.memory)).memory == bench.memory
    scan = Scan(bench.rig, bench.memory, inputs, bench.now_s + 0.1)
    compare(scan)
    assert scan.events == []
