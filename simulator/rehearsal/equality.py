"""Whether the two levels of a rehearsal decide the same, scan by scan: `python -m simulator.rehearsal.equality RIG`."""

from __future__ import annotations

import sys
from typing import NamedTuple

from simulator.rehearsal.rigs import find
from simulator.rehearsal.runner import Record, play
from simulator.rehearsal.scenario import Scenario
from simulator.rehearsal.stock import Case, cases
from simulator.rehearsal.world import Level, Physical

Said = tuple[int, int, str, str, float | None]  # scan, what, subject, detail, number seen


class Answer(NamedTuple):
    """How two records of one scenario compare; `differs` is empty when they are the same."""

    events: int
    scans: int
    differs: str


def said(record: Record) -> list[Said]:
    return [(scan, int(e.what), e.subject, e.detail, e.seen) for scan, _, e in record.events]


def compare(first: Record, second: Record) -> Answer:
    """By events, the scans they came in, the numbers that decided, and every contact's movement."""
    ours, theirs = said(first), said(second)
    scans = round(first.simulated_s / first.physical.rig.core.scan_s)
    for one, other in zip(ours, theirs, strict=False):
        if one != other:
            return Answer(len(ours), scans, f"scan {one[0]}: {one} at one level, {other} at the other")
    if len(ours) != len(theirs):
        extra = (ours + theirs)[min(len(ours), len(theirs)) :][:1]
        return Answer(len(ours), scans, f"{len(ours)} events at one level, {len(theirs)} at the other, first {extra}")
    if first.changes != second.changes:
        return Answer(len(ours), scans, "contacts moved at other times")
    return Answer(len(ours), scans, "")


def levels_agree(scenario: Scenario, physical: Physical) -> Answer:
    one, other = (play(scenario, physical, level, every_s=None) for level in Level)
    return compare(one, other)


def shortened(case: Case, seconds: float) -> Scenario:
    return case.scenario.model_copy(update={"duration_s": min(case.scenario.duration_s, seconds)})


def main(rig: str, seconds: float = 60.0) -> int:
    """Every stock fault; the number of those that differ."""
    physical = find(rig)
    todo = cases(physical)
    bad = events = scans = 0
    for case in todo:
        answer = levels_agree(shortened(case, seconds), physical)
        events, scans = events + answer.events, scans + answer.scans
        if answer.differs:
            bad += 1
            sys.stdout.write(f"{case.name}: {answer.differs}\n")
    sys.stdout.write(f"{len(todo) - bad} of {len(todo)} the same at both levels: {events} events, {scans} scans\n")
    return bad


if __name__ == "__main__":
    sys.exit(min(1, main(sys.argv[1] if len(sys.argv) > 1 else "boathouse")))
