"""Both levels of a rehearsal decide the same in the same scans. One part for each fault, shortened; the whole library
with every part is `python -m simulator.rehearsal.equality RIG`."""

from __future__ import annotations

import pytest

from simulator.faults.library import LIBRARY
from simulator.rehearsal.equality import compare, levels_agree, shortened
from simulator.rehearsal.rigs import find
from simulator.rehearsal.runner import play
from simulator.rehearsal.scenario import FaultEntry, Scenario
from simulator.rehearsal.stock import cases
from simulator.rehearsal.world import Level, Physical

from .conftest import TODAY

SECONDS = 16.0  # the fault comes at 10


@pytest.mark.parametrize("name", sorted(LIBRARY))
def test_both_levels_say_the_same_in_the_same_scans(name: str, boathouse: Physical) -> None:
    [case, *_] = [case for case in cases(boathouse) if case.name.split()[0] == name]
    answer = levels_agree(shortened(case, SECONDS), boathouse)
    assert answer.differs == ""
    assert answer.scans >= 100


@pytest.mark.parametrize("name", ["coolant-lost", "bus-errors bus 1", "guard-killed", "meter-phantom coolant_flow"])
def test_the_minimal_bench_too(name: str, minimal: Physical) -> None:
    [case] = [case for case in cases(minimal) if case.name == name]
    assert levels_agree(shortened(case, SECONDS), minimal).differs == ""


@pytest.mark.parametrize("name", ["cell-shorted", "sensor-stuck cell_2"])
def test_the_bench_with_a_tap_on_each_cell_too(name: str) -> None:
    tapped = find("drooping", TODAY)
    [case] = [case for case in cases(tapped) if case.name == name]
    assert levels_agree(shortened(case, SECONDS), tapped).differs == ""


def test_a_difference_names_the_first_scan_and_what_differs(boathouse: Physical) -> None:
    def lost_at(t_s: float) -> Scenario:
        return Scenario(title="lost", duration_s=30.0, at=(FaultEntry(t_s=t_s, fault="level-low"),))

    one, other = (play(lost_at(t), boathouse, Level.SIGNALS, every_s=None) for t in (10.0, 12.0))
    differs = compare(one, other).differs
    assert differs.startswith("scan 13")  # ten seconds and the limit's three, in tenths
    assert "level low hydrogen side" in differs
