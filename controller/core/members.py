"""The members of a vote beside each other: one that is lost, two that do not tell of the same thing.

A vote goes on without a member (2oo3 becomes 1oo2), and a sensor that sticks on the safe side is seen by nothing but
its neighbour. So both are said, by name, and a run does not go on for ever on what is left.
"""

from __future__ import annotations

from controller.core.advice import DEGRADED, DISAGREE
from controller.core.events import Happened
from controller.core.limits import Limit
from controller.core.rig import Rig
from controller.core.scan import Scan
from controller.core.signals import Signal, Status, Value
from controller.core.timers import fill
from controller.core.voting import VoteState

# Of running, not of the calendar: only a run leans on the vote. Empties as it fills, so that a loose plug is no excuse.
DEGRADED_AT_MOST_S = 24 * 3600.0
APART_FOR_S = 60.0
APART_SHARE = 0.5  # of a scan, for switches: more than a float that bobs on its edge


def compare(scan: Scan) -> None:
    """Every vote's members in this scan: alarms for the lost and for those that disagree."""
    if scan.rig.votes:
        # a pause is no observation: it counts as one late scan
        dt_s = min(scan.dt_s, 2.0 * scan.rig.scan_s)
        votes = zip(scan.rig.votes, scan.votes, strict=True)
        scan.votes = tuple(_apart(scan, at, _lost(scan, at, state, dt_s), dt_s) for at, state in votes)


def _lost(scan: Scan, at: int, state: VoteState, dt_s: float) -> VoteState:
    rig, limit = scan.rig, scan.rig.limits[at]
    lost = 0
    for bit, member in enumerate(limit.members):
        value = scan.values[member]
        if value.number is None and value.status is not Status.FUNCTION_CHECK:  # forced: forbids power by itself
            lost |= (scan.now_s - value.good_stamp_s >= rig.signals[member].lost_after_s) << bit
    if lost & ~state.lost:
        left = f"{len(limit.members) - lost.bit_count()} of {len(limit.members)} sensors left"
        hours = f"{DEGRADED_AT_MOST_S / 3600.0:.0f} h"
        words = f"{limit.title}: vote degraded, {left}, lost: {names(rig, limit, lost)}; a run ends after {hours} so"
        scan.say(Happened.ALARM, degraded(limit), words)
    elif state.lost and not lost:
        scan.say(Happened.ALARM_CLEARED, degraded(limit), f"{limit.title}: all sensors are back")
    filled_s = state.degraded_s
    if scan.seq.powered or not lost:
        filled_s = fill(filled_s, dt_s, 1.0 if lost else 0.0, DEGRADED_AT_MOST_S)
    return (
        state if lost == state.lost and filled_s == state.degraded_s else state._replace(lost=lost, degraded_s=filled_s)
    )


def _apart(scan: Scan, at: int, state: VoteState, dt_s: float) -> VoteState:
    """Numbers that lie apart by more than the errors of both; with less than two seen there is nothing to compare."""
    limit, signals = scan.rig.limits[at], scan.rig.signals
    seen = [(number, m) for m in limit.members if (number := scan.values[m].number) is not None]
    if len(seen) < 2:
        return state
    high, upper = max((number - signals[m].error, m) for number, m in seen)
    low, lower = min((number + signals[m].error, m) for number, m in seen)
    is_apart = high - low > (APART_SHARE if limit.is_switch else limit.differ)
    filled_s = fill(state.apart_s, dt_s, 1.0 if is_apart else 0.0, APART_FOR_S)
    stands = filled_s > 0.0 and (state.apart or (is_apart and filled_s >= APART_FOR_S))
    if stands and not state.apart:
        one, other = (f"{signals[m].title} ({_shown(limit, signals[m], scan.values[m])})" for m in (upper, lower))
        scan.say(Happened.ALARM, disagree(limit), f"{limit.title}: {one} and {other} disagree")
    elif state.apart and not stands:
        scan.say(Happened.ALARM_CLEARED, disagree(limit), f"{limit.title}: the sensors agree again")
    return state if filled_s == state.apart_s else state._replace(apart_s=filled_s, apart=stands)


def _shown(limit: Limit, signal: Signal, value: Value) -> str:
    if limit.is_switch:
        return "proven" if (value.number or 0.0) > APART_SHARE else "not proven"
    return f"{value.number:.4g} {signal.unit}"


def degraded(limit: Limit) -> str:
    """Name of the alarm."""
    return f"{limit.name}{DEGRADED}"


def disagree(limit: Limit) -> str:
    return f"{limit.name}{DISAGREE}"


def names(rig: Rig, limit: Limit, lost: int) -> str:
    return ", ".join(rig.signals[m].title for bit, m in enumerate(limit.members) if lost >> bit & 1)


def worn_out(rig: Rig, votes: tuple[VoteState, ...]) -> list[tuple[Limit, str]]:
    """Votes that have run without a member for as long as they may, and why nothing runs on them."""
    found = []
    for at, state in zip(rig.votes, votes, strict=True):
        if state.lost and state.degraded_s >= DEGRADED_AT_MOST_S:
            limit = rig.limits[at]
            hours = f"{DEGRADED_AT_MOST_S / 3600.0:.0f} h"
            found.append((limit, f"{limit.title}: {hours} of running without {names(rig, limit, state.lost)}: mend it"))
    return found
