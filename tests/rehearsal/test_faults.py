"""The fault library: every line of it can be made on a bench, comes on as it says, and ends without a trace."""

from __future__ import annotations

from typing import Any

import pytest

from simulator.boards.wiring import shipped_wiring
from simulator.faults.active import BEYOND, Active, Come
from simulator.faults.kinds import Fits, Onset
from simulator.faults.library import LIBRARY, fault_kind, parts_for
from simulator.plant.inputs import NEUTRAL, Disturbances
from simulator.whole import WholeBench

NAMED_FOR_THE_DEMONSTRATION = {"coolant-lost", "level-low", "over-temperature", "over-current", "guard-killed"}


class Noted:
    """Takes faults and remembers."""

    def __init__(self) -> None:
        self.behind: Any = self
        self.disturbances = NEUTRAL
        self.parts: dict[str, tuple[str, float]] = {}
        self.swaps: list[tuple[str, str]] = []
        self.elsewhere: list[tuple[str, str, float, bool]] = []

    def fault(self, part: str, kind: str, amount: float = 0.0) -> None:
        self.parts[part] = (kind, amount)

    def clear(self, part: str = "") -> None:
        del self.parts[part]

    def swap(self, first: str, second: str) -> None:
        self.swaps.append((first, second))

    def away(self, target: str, kind: str, amount: float, begins: bool) -> None:
        self.elsewhere.append((target, kind, amount, begins))


@pytest.mark.parametrize("name", sorted(LIBRARY))
def test_every_fault_can_be_made_on_the_boathouse_and_undone(name: str) -> None:
    kind = fault_kind(name)
    bench = WholeBench(shipped_wiring("boathouse"), lambda: 1000.0)
    on = next(iter(parts_for(bench.wiring, kind.fits)), "")
    before = bench.truth()["faults"]
    active = Active(bench, 1, lambda *_: None)
    active.begin(Come(name, on=on, other="current", onset=Onset.STEP), 1000.0)
    made = bench.behind.disturbances != NEUTRAL or bench.truth()["faults"] != before
    assert made or {act.target for act in kind.acts} <= BEYOND or name == "sensors-swapped"
    active.clear(name, now_s=1000.0)
    assert bench.behind.disturbances == NEUTRAL
    assert bench.truth()["faults"] == before


def test_the_library_says_how_each_fault_shows_and_what_its_numbers_mean() -> None:
    for kind in LIBRARY.values():
        assert len(kind.shows) > 20
        assert kind.acts
        assert {a.amount for a in kind.acts if isinstance(a.amount, str)} == {p.name for p in kind.parameters}
        assert all(p.low <= p.default <= p.high for p in kind.parameters)
        assert (kind.fits is Fits.NOTHING) is all("{on}" not in a.target for a in kind.acts)


def test_a_ramp_is_a_straight_line_from_sound_to_all_of_it() -> None:
    bench = Noted()
    active = Active(bench, 1)
    active.begin(Come("coolant-throttled", {"share": 0.2}, onset=Onset.RAMP, over_s=10.0), 100.0)
    shares = []
    for t_s in (100.0, 105.0, 110.0, 200.0):
        active.update(t_s)
        shares.append(bench.disturbances.coolant_supply)
    assert shares == pytest.approx([1.0, 0.6, 0.2, 0.2])


def test_an_intermittent_fault_comes_and_goes_for_about_as_long_as_it_says() -> None:
    bench = Noted()
    active = Active(bench, 3)
    active.begin(Come("contact-open", on="x", onset=Onset.INTERMITTENT, on_s=2.0, off_s=6.0), 0.0)
    there = 0
    for tenth in range(40_000):
        active.update(tenth / 10.0)
        there += "x" in bench.parts
    assert there / 40_000 == pytest.approx(0.25, abs=0.02)


def test_a_fault_with_an_end_ends_by_itself() -> None:
    bench = Noted()
    active = Active(bench, 1)
    active.begin(Come("mains-dip"), 50.0)
    assert bench.parts == {"mains": ("lost", 1.0)}
    active.update(50.1)
    assert active.names == ("mains-dip",)
    active.update(50.2)
    assert (active.names, bench.parts) == ((), {})


def test_of_two_faults_on_one_thing_the_later_counts_and_the_earlier_comes_back() -> None:
    bench = Noted()
    active = Active(bench, 1)
    active.begin(Come("coolant-throttled", {"share": 0.5}), 0.0)
    active.begin(Come("coolant-lost"), 1.0)
    assert bench.disturbances == Disturbances(coolant_supply=0.0)
    active.clear("coolant-lost", now_s=2.0)
    assert bench.disturbances == Disturbances(coolant_supply=0.5)


def test_faults_of_several_things_overlap() -> None:
    bench = Noted()
    active = Active(bench, 1)
    active.begin(Come("coolant-lost"), 0.0)
    active.begin(Come("supply-runs-away", {"amps": 50.0}, onset=Onset.STEP), 0.0)
    active.begin(Come("sensors-swapped", on="a", other="b"), 0.0)
    assert bench.disturbances == Disturbances(coolant_supply=0.0, supply_forced_a=50.0, supply_forced_v=12.0)
    active.clear("", now_s=1.0)
    assert bench.disturbances == NEUTRAL
    assert bench.swaps == [("a", "b"), ("a", "b")]


def test_what_happens_beyond_the_bench_happens_each_time() -> None:
    bench = Noted()
    active = Active(bench, 1, bench.away)
    active.begin(Come("guard-killed"), 0.0)
    active.begin(Come("guard-killed"), 5.0)
    assert bench.elsewhere == [("controller", "kill", 5.0, True)] * 2


@pytest.mark.parametrize(
    ("come", "says"),
    [
        (Come("coolant-lots"), "did you mean coolant-lost"),
        (Come("coolant-throttled", {"shares": 1.0}), "it has: share"),
        (Come("coolant-throttled", {"share": 2.0}), "takes 0 to 1"),
        (Come("wire-open"), "needs a part"),
    ],
)
def test_what_cannot_be_made_is_refused_with_what_can(come: Come, says: str) -> None:
    bench = Noted()
    with pytest.raises(ValueError, match=says):
        Active(bench, 1).begin(come, 0.0)
    assert (bench.disturbances, bench.parts) == (NEUTRAL, {})


def test_the_names_of_the_demonstration_are_there() -> None:
    assert set(LIBRARY) >= NAMED_FOR_THE_DEMONSTRATION
