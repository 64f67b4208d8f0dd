"""Every short sequence of inputs, walked whole on a tiny rig with one limit of each kind: always armed, armed under
power, and voted. A model that counts scans says of every one of them whether it has tripped, no sooner and no later.
"""

from __future__ import annotations

import copy
import itertools
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import pytest

from controller.core.limits import Arming, Effect, Limit
from controller.core.rig import Rig, Roles
from controller.core.sequence import State
from controller.core.signals import Code, Signal
from tests.core.bench import Bench, rig

NAMES = ("current", "a", "p", "v1", "v2", "v3")
SIGNALS = tuple(Signal(name, name, "1", "quantity", 0.1, -60.0, 60.0) for name in NAMES)
DELAY = 2  # scans
GRACE = 3  # scans
LIMITS = (
    Limit("always", "A", (1,), 10.0, True, Effect.TRIP, Arming.ALWAYS, delay_s=0.2, grace_s=0.3),
    Limit("powered", "P", (2,), 10.0, True, Effect.TRIP, Arming.POWERED, delay_s=0.2, grace_s=0.3),
    Limit("voted", "V", (3, 4, 5), 10.0, True, Effect.TRIP, Arming.POWERED, needed=2, delay_s=0.2, grace_s=0.3),
)
TINY: Rig = rig(signals=SIGNALS, limits=LIMITS, roles=Roles(current=0), vent_charge_c=0.0)

# One letter a scan: c calm; a, p beyond; A, P not seen; 1 one voter beyond, 2 two, x one not seen, y one of each.
LETTERS = "caApP12xy"
SHOWS: dict[str, dict[str, float | None]] = {
    "c": {}, "a": {"a": 10.0}, "A": {"a": None}, "p": {"p": 10.0}, "P": {"p": None},
    "1": {"v1": 10.0}, "2": {"v1": 10.0, "v2": 10.0}, "x": {"v3": None}, "y": {"v1": 10.0, "v3": None},
}  # fmt: skip
CALM = dict.fromkeys(NAMES[1:], 0.0)


class Timer(NamedTuple):
    """Counts in whole scans what a limit with one verdict a scan must do."""

    filled: int = 0
    held: bool = False  # what the last scan that said anything said
    silent: int = 0  # scans since it said so

    def after(self, says: bool | None) -> tuple[Timer, bool]:
        if says is None:
            return (self if self == Timer() else self._replace(silent=self.silent + 1)), False
        passed = 1 + self.silent
        filled = min(DELAY, max(0, self.filled + (passed if self.held else -passed)))
        due = says and filled >= DELAY
        return Timer(filled, says, 0), due


@dataclass(frozen=True)
class Model:
    unseen: tuple[int, ...] = (0,) * 5
    timers: tuple[Timer, Timer, Timer] = (Timer(), Timer(), Timer())
    tripped: bool = False
    seen: str = field(default="", compare=False)

    def after(self, letter: str, powered: bool) -> Model:
        shows = CALM | SHOWS[letter]
        unseen = tuple(0 if shows[n] is not None else u + 1 for n, u in zip(NAMES[1:], self.unseen, strict=True))

        def ballot(at: int) -> str:
            number = shows[NAMES[1 + at]]
            if number is None:
                return "b" if unseen[at] >= GRACE else "-"
            return "d" if number >= 10.0 else "c"

        a, p = ballot(0), ballot(1)
        votes = [ballot(at) for at in (2, 3, 4)]
        wants = sum(v in "db" for v in votes)
        blind = sum(v == "b" for v in votes)
        may = wants + sum(v == "-" for v in votes)
        says = {"d": True, "c": False, "-": None, "b": True}
        voted = True if wants >= 2 else None if may >= 2 else False
        t_a, due_a = self.timers[0].after(says[a])
        t_p, due_p = self.timers[1].after(says[p])
        t_v, due_v = self.timers[2].after(voted)
        if not powered:
            t_p, due_p, t_v, due_v, p, blind = Timer(), False, Timer(), False, "-", 0
        trips = due_a or due_p or due_v or a == "b" or p == "b" or blind >= 2
        return replace(
            self, unseen=unseen, timers=(t_a, t_p, t_v), tripped=self.tripped or trips, seen=self.seen + letter
        )


def scanned(bench: Bench, letter: str) -> Bench:
    bench = copy.copy(bench)
    bench.parts, bench.events = copy.copy(bench.parts), []
    bench.numbers = CALM | SHOWS[letter] | {"current": None}
    bench.codes = {name: Code.ABSENT for name, number in SHOWS[letter].items() if number is None}
    bench.scan()
    return bench


def tiny(state: State) -> Bench:
    bench = Bench(TINY)
    bench.numbers = CALM | {"current": None}
    if state is not State.OFF:
        bench.start()
    bench.run(1.0)
    assert bench.at(state)
    return bench


@pytest.mark.parametrize(
    ("state", "letters", "depth"),
    [(State.RUNNING, LETTERS, 4), (State.RUNNING, "cA2y", 6), (State.OFF, LETTERS, 4), (State.OFF, "caA", 7)],
)
def test_every_sequence_of_inputs_trips_exactly_when_the_model_says(state: State, letters: str, depth: int) -> None:
    walked = tripped = 0
    edge = [(tiny(state), Model())]
    for _ in range(depth):
        following = []
        for (bench, model), letter in itertools.product(edge, letters):
            powered = bench.memory.sequence.powered
            after, expected = scanned(bench, letter), model.after(letter, powered)
            walked += 1
            assert after.memory.latch.tripped == expected.tripped, expected.seen
            assert after.parts.path == (state is State.RUNNING and not expected.tripped), expected.seen
            if expected.tripped:
                tripped += 1
                assert not any((after.outputs.main_hold, after.outputs.main_close, after.outputs.edge)), expected.seen
            else:
                following.append((after, expected))
        edge = following
    assert walked > 1000
    assert tripped > 20
    assert len(edge) > 100


@pytest.mark.parametrize(
    "sequence", ["aaa", "aca", "aAa", "aAAa", "AAA", "AAcA", "ppp", "PPP", "222", "2x2", "2y2", "yyy", "1y1"]
)
def test_the_model_itself_says_what_a_person_would(sequence: str) -> None:
    """By hand: two scans after the first that demands, or three unseen; a silent scan goes with the one before."""
    trips = {"aaa", "aAa", "aAAa", "AAA", "ppp", "PPP", "222", "2y2"}
    model = Model()
    for letter in sequence:
        model = model.after(letter, powered=True)
    assert model.tripped == (sequence in trips)
