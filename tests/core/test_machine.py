"""Anybody, any sensor, any scan: a machine that tries what it likes, against a model of its own of when power must go.

The model is written from what the rig promises, not from how the core does it: it knows limits, delays and graces of
the plain bench by heart, looks at the contactors themselves, and says only what must be so. Where the core is quicker
or stricter, that is its business; that it runs at all is measured at the end.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.core.sequence import State
from controller.core.signals import Code
from tests.core.bench import Bench, rig
from tests.core.rigs import with_limit

# signal: what it reads in good running, range, does a number demand a trip, its delay in seconds, its grace in seconds
KNOWN: dict[str, tuple[float | None, tuple[float, float], Callable[[float], bool], float, float]] = {
    "cell temperature": (20.0, (-20.0, 110.0), lambda n: n >= 70.0, 2.0, 5.0),
    "level hydrogen side": (1.0, (0.0, 1.0), lambda n: n <= 0.0, 3.0, 2.0),
    "level oxygen side": (1.0, (0.0, 1.0), lambda n: n <= 0.0, 3.0, 2.0),
    "coolant flow": (None, (0.0, 30.0), lambda n: n <= 0.8, 5.0, 2.0),
    "stop chain": (1.0, (0.0, 1.0), lambda n: n < 1.0, 0.0, 2.0),
}
DENSE = {
    "cell temperature": [20.0, 44.9, 45.0, 69.9, 70.0, 70.1, 110.0, 111.0, -21.0],
    "level hydrogen side": [1.0, 0.55, 0.5, 0.45, 0.0, -0.1, 1.1],
    "level oxygen side": [1.0, 0.5, 0.0],
    "coolant flow": [2.0, 0.81, 0.8, 0.79, 0.0, 31.0],
    "stop chain": [1.0, 0.99, 0.0],
}
SHORT_A = 45.5
SUPPLIES = [None, 0.0, 9.0, 30.0, 34.9, 35.0, 45.4, 45.5, 60.0, -1.0, -5.0]
DTS = [0.1] * 12 + [0.0, 0.03, 0.19, 0.25, 0.45, 0.499, 0.5, 0.7, 3.0]
LENIENT = 0.25  # seconds: a demand may have begun just after the sample before, and is counted at the sample after
ON = (State.RAMPING, State.VENTING, State.RUNNING, State.STOPPING)
NO_EDGES = (State.OFF, State.COOLING, State.TRIPPED, State.LOCKED_OUT, State.SERVICE, State.OUT_OF_SERVICE)


class Anything(RuleBasedStateMachine):
    runs = 0
    ran = 0
    tripped = 0

    def __init__(self) -> None:
        super().__init__()
        grants = frozenset({(Verb.START, Source.PLAN), (Verb.START, Source.REMOTE), (Verb.RESET, Source.REMOTE)})
        self.bench = Bench(rig(permitted=grants, limits=with_limit("coolant flow low", bypassable=True)))
        self.good_s = dict.fromkeys((*KNOWN, "current"), self.bench.now_s)
        self.demand_s: dict[str, float] = {}
        self.must_be_off = False
        self.pulsed = False  # a close pulse was given since the path was last open
        self.fault_changed = False
        self.disk_slow = False
        self.closed_s = math.inf  # the path, since
        self.has_run = False
        self.bench.latch_delay = lambda: not self.disk_slow

    # --- one scan, and what must hold after it

    def scan(self, *commands: Command, dt_s: float = 0.1) -> None:
        bench = self.bench
        was_on = bench.parts.path
        was_tripped = bench.memory.latch.tripped
        forced = [n for n, c in bench.codes.items() if c is Code.FORCED]
        before = len(bench.events)
        readings = self.what_is_read(dt_s)
        outputs = bench.scan(*commands, dt_s=dt_s)
        self.judge(readings, dt_s, was_on)
        events = bench.events[before:]
        let_go = any(e.what is Happened.RESET for e in events)
        if let_go:
            self.must_be_off = False
        self.pulsed |= outputs.main_close

        parts = bench.parts
        welded = parts.main_welded and parts.second_welded
        if self.must_be_off and not welded and not bench.at(State.CHECKING):
            assert not parts.path or self.only_the_weld_is_left()
        if parts.path and not was_on and not self.fault_changed:
            found = bench.at(State.CHECKING) and parts.main_welded  # the second one, alone: how a weld shows
            assert self.pulsed or found, "closed without a close step"
        if not parts.path:
            self.pulsed = False
            self.closed_s = math.inf
        elif not was_on:
            self.closed_s = bench.now_s
        if bench.at(State.CHECKING):  # a weld whose contact lies can only be found so, and for no longer than that
            assert bench.now_s - self.closed_s <= 0.7 + dt_s
        self.fault_changed = False

        assert was_tripped is False or let_go or bench.memory.latch.tripped, "a latch went by itself"
        if bench.memory.latch.tripped and not bench.at(State.CHECKING):
            assert bench.at(State.TRIPPED, State.LOCKED_OUT)
        if bench.at(*NO_EDGES):
            assert not any((outputs.edge, outputs.main_hold, outputs.main_close))
            assert outputs.setpoint_a == 0.0
            assert not outputs.collect
            assert not outputs.second or bench.now_s - bench.memory.sequence.opened_s <= 0.6
        if outputs.collect:
            assert bench.at(State.RUNNING)
        if bench.at(*ON):
            assert bench.memory.latch.powered or bench.at(State.STOPPING)
        if outputs.main_close and bench.at(State.RAMPING):
            assert bench.memory.latch.powered
            assert bench.on_disk >= bench.memory.latch.number or self.bench.latch_delay()
        if forced and was_on:
            assert not outputs.main_hold
        assert 0.0 <= outputs.setpoint_a <= bench.memory.run.wanted_a
        numbers = [e.number for e in bench.events]
        assert numbers == list(range(1, len(numbers) + 1)), "an event is missing"
        self.has_run |= bench.at(State.RUNNING)

    def only_the_weld_is_left(self) -> bool:
        """One contactor is welded and the other has been told to open: half a second for the second one."""
        parts, outputs = self.bench.parts, self.bench.outputs
        opening = self.bench.now_s - self.bench.memory.sequence.opened_s <= 0.6
        return parts.main_welded and not outputs.main_hold and (opening or not outputs.second)

    def what_is_read(self, dt_s: float) -> dict[str, float | None]:
        """The number of each signal that its driver vouches for, None otherwise; as the bench is going to read it."""
        bench = self.bench
        numbers: dict[str, float | None] = {}
        bench.parts.elapse(bench.now_s + dt_s)
        for signal, reading in zip(bench.rig.signals, bench.readings(), strict=True):
            numbers[signal.name] = reading.number if reading.code is Code.OK else None
        return numbers

    def judge(self, read: dict[str, float | None], dt_s: float, was_on: bool) -> None:
        """Owe a trip for what must have led to one by now. Nothing here is armed before the path is closed."""
        now_s, forced = self.bench.now_s, self.forced()
        stamp_s = now_s - 0.01
        on = was_on and not self.bench.at(State.CHECKING)
        for name, (_, (low, high), demands, delay_s, grace_s) in KNOWN.items():
            number = read[name]
            owed = False
            if number is not None and low <= number <= high:
                self.good_s[name] = stamp_s
                if demands(number):
                    begun_s = max(self.demand_s.setdefault(name, stamp_s), self.closed_s)
                    owed = now_s - begun_s >= delay_s + (LENIENT if delay_s else 0.0)
                else:
                    self.demand_s.pop(name, None)
            bypassed = name == "coolant flow" and self.bench.memory.person.bypass >= 0
            blind = now_s - self.good_s[name] >= grace_s
            if on and name not in forced:
                self.must_be_off |= (owed and not bypassed) or blind
        current_a = read["current"]
        if current_a is not None and abs(current_a) < 51.198:
            self.good_s["current"] = stamp_s
        if on and "current" not in forced:
            self.must_be_off |= now_s - self.good_s["current"] >= 2.0
            if current_a is not None and now_s - self.closed_s >= 0.45:  # seen a scan later, then the inrush
                self.must_be_off |= abs(current_a) >= SHORT_A or current_a <= -1.0
        self.must_be_off |= on and dt_s >= 0.5 + 1e-9
        self.must_be_off |= self.bench.memory.latch.tripped

    def forced(self) -> set[str]:
        return {n for n, c in self.bench.codes.items() if c is Code.FORCED}

    # --- what may happen

    @initialize(at_power=st.sampled_from([True, True, True, False]))
    def begin(self, at_power: bool) -> None:
        for _ in range(10):
            self.scan()
        if at_power:
            self.start()

    @precondition(lambda self: not self.bench.at(*ON, State.CHECKING))
    @rule()
    def mend_and_run_again(self) -> None:
        """As a person does; without it most of a run is spent tripped."""
        for what in ("main_welded", "second_welded", "seal_broken"):
            setattr(self.bench.parts, what, False)
        self.bench.parts.main_aux_lies = self.bench.parts.second_aux_lies = None
        self.all_well_again()
        for verb in (Verb.LIFT, Verb.LEAVE_SERVICE, Verb.RELEASE if self.bench.at(State.LOCKED_OUT) else Verb.RESET):
            self.scan(Command(verb, Source.LOCAL, text="looked at it", who="Jo"))
        for _ in range(90):
            self.scan()
        self.start()

    @rule(scans=st.integers(1, 30), dt_s=st.sampled_from(DTS))
    def go_on(self, scans: int, dt_s: float) -> None:
        self.scan(dt_s=dt_s)
        for _ in range(scans):
            self.scan()

    @rule(dts=st.lists(st.sampled_from(DTS) | st.floats(0.0, 0.49), min_size=1, max_size=8))
    def uneven(self, dts: list[float]) -> None:
        for dt_s in dts:
            self.scan(dt_s=dt_s)

    @rule(name=st.sampled_from(sorted(DENSE)), at=st.integers(0, 20), scans=st.integers(1, 60))
    def read(self, name: str, at: int, scans: int) -> None:
        numbers = DENSE[name]
        self.bench.numbers[name] = numbers[at % len(numbers)]
        for _ in range(scans):
            self.scan()

    @rule(
        name=st.sampled_from(sorted((*DENSE, "current"))),
        code=st.sampled_from([Code.ABSENT, Code.BUS_ERROR, Code.NOISE, Code.FORCED, Code.CALIBRATION_OVERDUE]),
        scans=st.integers(1, 60),
    )
    def lose(self, name: str, code: Code, scans: int) -> None:
        self.bench.codes[name] = code
        if code is Code.CALIBRATION_OVERDUE:
            del self.bench.codes[name]
        for _ in range(scans):
            self.scan()

    @rule()
    def all_well_again(self) -> None:
        bench = self.bench
        bench.codes.clear()
        for name, (normal, *_) in KNOWN.items():
            bench.numbers[name] = normal
        bench.supply_a = None
        self.disk_slow = False
        for _ in range(30):
            self.scan()

    @rule(supply_a=st.sampled_from(SUPPLIES), scans=st.integers(1, 20))
    def supply(self, supply_a: float | None, scans: int) -> None:
        self.bench.supply_a = supply_a
        for _ in range(scans):
            self.scan()

    @rule(
        what=st.sampled_from(["main_welded", "second_welded", "main_aux_lies", "second_aux_lies", "seal_broken"]),
        value=st.sampled_from([None, False, True]),
    )
    def break_or_mend(self, what: str, value: bool | None) -> None:
        self.fault_changed = True
        setattr(self.bench.parts, what, value if what.endswith("lies") else bool(value))
        self.scan()

    @rule(slow=st.booleans())
    def disk(self, slow: bool) -> None:
        self.disk_slow = slow

    @rule(
        verb=st.sampled_from(Verb), source=st.sampled_from(Source), more=st.sampled_from(Verb), retained=st.booleans()
    )
    def ask(self, verb: Verb, source: Source, more: Verb, retained: bool) -> None:
        fields = {"text": "because", "who": "Jo", "seconds": 600.0, "subject": "coolant flow low"}
        one = Command(verb, source, **fields, retained=retained)  # type: ignore[arg-type]
        self.scan(one, Command(more, Source.LOCAL, **fields))  # type: ignore[arg-type]

    @rule()
    def start(self) -> None:
        self.scan(Command(Verb.START, Source.LOCAL))
        for _ in range(250):
            if self.bench.at(State.RUNNING, State.OFF, State.TRIPPED, State.LOCKED_OUT):
                break
            self.scan()

    @precondition(lambda self: self.bench.memory.latch.tripped)
    @rule()
    def reset(self) -> None:
        verb = Verb.RELEASE if self.bench.at(State.LOCKED_OUT) else Verb.RESET
        self.scan(Command(verb, Source.LOCAL, text="looked at it"))
        for _ in range(120):
            self.scan()

    @invariant()
    def off_means_off_for_every_contactor_that_is_whole(self) -> None:
        bench = self.bench
        if bench.at(State.OFF, State.OUT_OF_SERVICE, State.SERVICE):
            assert not bench.outputs.second
            assert not bench.parts.main or bench.parts.main_welded

    def teardown(self) -> None:
        type(self).runs += 1
        type(self).ran += self.has_run
        type(self).tripped += self.bench.memory.latch.tripped


def test_whatever_happens_power_is_off_when_the_model_says_so_and_at_least_a_third_of_the_runs_do_run() -> None:
    Anything.runs = Anything.ran = Anything.tripped = 0
    run_state_machine_as_test(
        Anything,
        settings=settings(
            max_examples=100, stateful_step_count=30, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
    assert Anything.runs >= 100
    assert 3 * Anything.ran >= Anything.runs
    assert 4 * Anything.tripped >= Anything.runs  # nor is it a model that nothing ever offends
