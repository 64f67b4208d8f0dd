"""Contactors that weld, lie or fall open, and pins that do not obey, while power is on."""

from __future__ import annotations

import pytest

from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.outputs import PINS
from controller.core.sequence import State
from controller.core.signals import Code
from tests.core.bench import Bench, rig
from tests.core.rigs import PATHS

WELDS: dict[str, dict[str, bool]] = {
    "main welded": {"main_welded": True},
    "second welded": {"second_welded": True},
    "both welded": {"main_welded": True, "second_welded": True},
    "main contact says closed": {"main_aux_lies": True},
    "second contact says closed": {"second_aux_lies": True},
    "main welded, contact says open": {"main_welded": True, "main_aux_lies": False},
}
SUPPLIES: dict[str, float | None] = {"as told": None, "gives all": 30.0, "off": 0.0, "reversed": -5.0}


def end_by(bench: Bench, how: str) -> None:
    match how:
        case "stop at the rig":
            bench.ask(Verb.STOP)
        case "stop from afar":
            bench.ask(Verb.STOP, Source.LINK)
        case "trip":
            bench.numbers["stop chain"] = 0.0
            bench.scan()
        case "guard gone for five seconds":
            bench.scan(dt_s=5.0)


@pytest.mark.parametrize("how", ["stop at the rig", "stop from afar", "trip", "guard gone for five seconds"])
@pytest.mark.parametrize("supply", SUPPLIES)
@pytest.mark.parametrize("weld", WELDS)
def test_a_weld_never_keeps_power_on_where_one_means_still_opens_and_it_is_found(
    weld: str, supply: str, how: str
) -> None:
    bench = Bench()
    bench.start()
    for field, value in WELDS[weld].items():
        setattr(bench.parts, field, value)
    bench.supply_a = SUPPLIES[supply]
    end_by(bench, how)
    if how != "guard gone for five seconds":
        bench.run(6.5 if how == "stop from afar" else 1.5)  # from afar it ramps for at most five seconds
    if weld != "both welded":
        assert not bench.parts.path
    bench.run(10.0)
    assert bench.parts.path == (weld == "both welded")
    assert len(bench.parts.closings) == 1
    assert not any((bench.outputs.main_hold, bench.outputs.second, bench.outputs.edge))
    if weld == "main welded, contact says open" and supply in ("as told", "off"):
        # two faults, and nothing flows that could show it: the next self-test finds it, or the weld lets go
        assert bench.state in (State.OFF, State.TRIPPED, State.LOCKED_OUT)
    elif weld == "main welded, contact says open":
        assert bench.causes  # by the contact while it still ran, or by the current after
    else:
        assert bench.state is State.LOCKED_OUT


@pytest.mark.parametrize("current_a", [0.5, -0.5, 30.0, -30.0, 51.198])
def test_current_with_both_contactors_told_open_locks_out_whatever_its_sign(current_a: float) -> None:
    bench = Bench()
    bench.start()
    bench.ask(Verb.STOP)
    bench.until(lambda: bench.at(State.OFF))
    bench.fixed_current_a = current_a
    # the first sample may be noise; it is held until the next, so that 0.3 s take four of them
    assert bench.until(lambda: bench.at(State.LOCKED_OUT)) == pytest.approx(0.4)
    assert bench.causes == ["current while off"]


def test_both_contacts_lying_a_weld_is_found_by_its_current() -> None:
    """The worst case: both welded, both contacts say open. Only the current tells, and `powered` must not hide it."""
    bench = Bench()
    bench.start()
    parts = bench.parts
    parts.main_welded = parts.second_welded = True
    bench.supply_a = 30.0
    bench.ask(Verb.STOP)
    parts.main_aux_lies = parts.second_aux_lies = False
    bench.run(1.1)  # 0.6 s until both must be open, 0.3 s until it is no noise
    assert bench.state is State.LOCKED_OUT
    assert bench.causes == ["opened by itself", "current while off"]
    assert not bench.outputs.edge
    bench.run(60.0)
    assert bench.memory.sequence.powered  # it is never proven off
    assert "not proven off" in bench.ask(Verb.RELEASE, text="hoping").detail


@pytest.mark.parametrize("current_a", [0.4, -0.4, 0.0])
def test_an_offset_under_the_zero_limit_neither_trips_nor_refuses_a_start(current_a: float) -> None:
    bench = Bench()
    bench.fixed_current_a = current_a
    bench.run(5.0)
    assert bench.ask(Verb.START).what is Happened.ACCEPTED
    bench.until(lambda: bench.at(State.RAMPING))
    assert not bench.causes


@pytest.mark.parametrize("current_a", [0.5, -0.6])
def test_an_offset_at_the_zero_limit_refuses_every_start(current_a: float) -> None:
    """It cannot be told from a weld."""
    bench = Bench()
    bench.fixed_current_a = current_a
    bench.run(2.0)
    assert bench.ask(Verb.START).what is Happened.REFUSED
    assert bench.state is State.LOCKED_OUT


@pytest.mark.parametrize("field", ["main", "second"])
@pytest.mark.parametrize("back_after", [None, 1, 2, 3])
def test_a_contactor_that_falls_open_is_not_closed_again_even_if_it_comes_back(
    field: str, back_after: int | None
) -> None:
    bench = Bench()
    bench.start()
    lies = f"{field}_aux_lies"
    setattr(bench.parts, lies, False)
    for scan in range(20):
        if scan == back_after:
            setattr(bench.parts, lies, None)
        bench.scan()
        assert not bench.outputs.main_hold
        assert not bench.parts.path
    assert bench.causes == ["opened by itself"]
    bench.run(600.0)
    assert len(bench.parts.closings) == 1


@pytest.mark.parametrize("pin", PINS)
@pytest.mark.parametrize("powered", [True, False])
def test_a_power_pin_that_does_not_read_back_trips_and_any_other_is_said(pin: str, powered: bool) -> None:
    bench = Bench()
    if powered:
        bench.start()
    else:
        bench.run(1.0)
    wrong = tuple(not level if name == pin else level for name, level in zip(PINS, bench.pins, strict=True))
    bench.pins = wrong
    bench.scan()
    if pin in ("main_hold", "main_close", "second"):
        assert bench.causes == ["output not obeyed"]
        assert bench.state is State.TRIPPED
        assert not bench.outputs.edge
    else:
        assert not bench.causes
        assert "output not obeyed" in bench.said(Happened.ALARM)
        assert bench.outputs.edge == powered
    before = len(bench.events)
    bench.run(1.0)
    assert "output not obeyed" in [e.subject for e in bench.events[before:] if e.what is Happened.ALARM_CLEARED]


def test_a_pin_that_is_not_wired_is_not_asked() -> None:
    bench = Bench()
    bench.start()
    for _ in range(50):
        bench.pins = (None,) * len(PINS)
        bench.scan()
    assert bench.state is State.RUNNING


def test_a_start_is_refused_while_any_pin_disobeys() -> None:
    bench = Bench()
    bench.run(1.0)
    bench.pins = tuple(True if name == "horn" else level for name, level in zip(PINS, bench.pins, strict=True))
    assert "read back" in bench.ask(Verb.START).detail


# --- current known or not when power is taken off


@pytest.mark.parametrize("name", PATHS)
def test_power_is_proven_off_by_contacts_when_the_current_sensor_is_dead_and_never_without_both(name: str) -> None:
    power = PATHS[name]
    bench = Bench(rig(power=power))
    bench.start()
    bench.codes["current"] = Code.ABSENT
    bench.until(lambda: bench.at(State.TRIPPED), 5.0)
    bench.run(30.0)
    assert bench.memory.sequence.powered == (not power.main_contact)
    bench.codes.clear()
    bench.run(5.0)  # more than half of its window good again
    assert not bench.memory.sequence.powered
    assert bench.ask(Verb.RESET).what is Happened.ACCEPTED


def test_a_refused_current_is_current_and_proves_nothing_off() -> None:
    bench = Bench()
    bench.start()
    bench.fixed_current_a = 51.198  # the converter at its end, contact open: still flowing for all anybody knows
    bench.run(10.0)
    assert bench.state is State.LOCKED_OUT
    assert bench.memory.sequence.powered


def test_on_a_trip_main_opens_at_once_and_the_second_half_a_second_later() -> None:
    bench = Bench()
    bench.start()
    bench.numbers["stop chain"] = 0.0
    seen = [(o.main_hold, o.second, o.edge) for o in (bench.scan() for _ in range(8))]
    assert seen[0] == (False, True, False)
    assert [second for _, second, _ in seen].index(False) in (5, 6)
    assert not any(hold or edge for hold, _, edge in seen)


def test_on_an_orderly_stop_the_set_point_goes_to_zero_first_and_the_second_opens_when_zero_is_proven() -> None:
    bench = Bench()
    bench.start()
    bench.ask(Verb.STOP, Source.PLAN)
    assert bench.state is State.STOPPING
    while bench.parts.main:
        last_a = bench.current_a()
        bench.scan()
    assert last_a < 1.0
    assert bench.parts.second
    assert bench.until(lambda: not bench.outputs.second) <= 0.6
    bench.run(0.2)
    assert bench.at(State.COOLING, State.OFF)
    assert not bench.causes


def test_a_supply_that_keeps_its_current_is_cut_after_the_stop_ramp() -> None:
    bench = Bench()
    bench.start()
    bench.supply_a = 30.0
    bench.ask(Verb.STOP, Source.PLAN)
    assert bench.until(lambda: not bench.parts.main) == pytest.approx(5.0, abs=0.2)
    bench.run(2.0)
    assert not bench.parts.path
    assert not bench.causes


def test_a_stop_at_the_rig_opens_at_once() -> None:
    for source in (Source.BUTTON, Source.LOCAL):
        bench = Bench()
        bench.start()
        bench.ask(Verb.STOP, source)
        assert not bench.parts.main


def test_a_stop_at_the_rig_cuts_a_stop_from_afar_short() -> None:
    bench = Bench()
    bench.start()
    bench.ask(Verb.STOP, Source.REMOTE)
    bench.run(1.0)
    assert bench.flows()
    bench.ask(Verb.STOP, Source.BUTTON)
    assert not bench.flows()


@pytest.mark.parametrize("late_s", [0.2, 0.3, 0.4])
def test_a_contactor_that_takes_its_time_within_the_pulse_still_closes(late_s: float) -> None:
    bench = Bench()
    bench.run(1.0)
    bench.ask(Verb.START)
    bench.until(lambda: bench.at(State.RAMPING))
    bench.parts.main_dead = True
    bench.run(late_s)  # the pulse begins with the second contactor's travel time, and is half a second long
    bench.parts.main_dead = False
    bench.until(lambda: bench.at(State.RUNNING))


def test_a_contactor_that_does_not_close_trips_once_pulse_and_start_lag_are_over() -> None:
    bench = Bench()
    bench.run(1.0)
    bench.ask(Verb.START)
    bench.until(lambda: bench.at(State.RAMPING))
    bench.parts.main_dead = True
    # both travel times, the pulse, the supply's lag and a second
    assert bench.until(lambda: bool(bench.causes), 5.0) == pytest.approx(2 * 0.1 + 0.5 + 0.5 + 1.0, abs=0.11)
    assert bench.causes == ["did not close"]
    assert bench.parts.closings == []
