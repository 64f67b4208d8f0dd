"""When gas may be collected, and when it must be flushed out again."""

from __future__ import annotations

from dataclasses import replace

from controller.core.commands import Source, Verb
from controller.core.events import Happened
from controller.core.limits import Arming, Effect, Limit
from controller.core.sequence import State
from controller.core.signals import Code
from tests.core.bench import LIMITS, SIGNALS, Bench, rig
from tests.core.rigs import with_limit
from tests.core.states import closing, ran

# --- gas


def test_gas_is_fit_only_after_the_headspace_has_been_flushed_with_pure_gas() -> None:
    bench = Bench(rig(vent_charge_c=3000.0))
    bench.run(1.0)
    bench.ask(Verb.START)
    bench.until(lambda: bench.at(State.RUNNING), 200.0)
    pure_c = bench.memory.run.charge_c
    assert 3000.0 <= bench.memory.run.vented_c < 3003.1
    assert pure_c > 3000.0  # what was made under the minimum current, in the ramp, does not count
    assert bench.outputs.collect


def test_gas_is_collected_in_no_other_state() -> None:
    bench = Bench(rig(vent_charge_c=3000.0))
    bench.run(1.0)
    bench.ask(Verb.START)
    while not bench.at(State.RUNNING):
        assert not bench.outputs.collect
        bench.scan()
    bench.ask(Verb.STOP, Source.PLAN)
    assert not bench.outputs.collect  # shut before power is cut
    assert bench.parts.path
    assert bench.said(Happened.GAS) == ["fit", "not fit"]


def test_a_dip_under_the_minimum_current_is_flushed_out_again_before_gas_is_collected() -> None:
    bench = Bench(rig(vent_charge_c=3000.0))
    bench.start()
    bench.supply_a = 8.0
    bench.scan()
    bench.scan()
    assert not bench.outputs.collect
    bench.supply_a = None
    made_c = bench.memory.run.charge_c
    bench.until(lambda: bench.outputs.collect, 200.0)
    assert bench.memory.run.charge_c - made_c >= 3000.0
    assert bench.said(Happened.GAS) == ["fit", "not fit", "fit"]


def test_a_current_that_is_missed_for_a_sample_does_not_move_the_valve() -> None:
    bench = ran()
    for scan in range(200):
        bench.codes = {"current": Code.ABSENT} if scan % 10 == 0 else {}
        bench.scan()
        assert bench.outputs.collect


def test_a_run_at_the_minimum_current_collects_although_its_sensor_is_not_exact() -> None:
    signals = (replace(SIGNALS[0], error=0.2), *SIGNALS[1:])
    bench = Bench(rig(signals=signals, limits=with_limit("minimum current", threshold=8.5)))
    bench.run(1.0)
    bench.ask(Verb.START, number=9.0)
    for scan in range(1200):
        bench.supply_a = (8.85, 9.15)[scan % 2] if bench.outputs.setpoint_a == 9.0 else None
        bench.scan()
    assert bench.outputs.collect
    assert bench.said(Happened.GAS) == ["fit"]


def test_what_collects_arms_its_limit_and_nothing_else_does() -> None:
    limit = Limit("tank", "Tank pressure", (4,), 5.0, True, Effect.TRIP, Arming.COLLECTING)
    bench = Bench(rig(limits=(*LIMITS, limit), vent_charge_c=3000.0))
    closing(bench)
    bench.numbers["coolant flow"] = 6.0
    bench.until(lambda: bench.at(State.RUNNING), 200.0)
    bench.run(0.3)
    assert bench.causes == ["tank"]
