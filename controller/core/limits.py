"""A limit: a threshold on a signal, or a vote over several, that holds for a while and then has an effect.

At the threshold or beyond counts. The deadband only decides when a limit lets go; it never delays one. A limit's
`grace_s` is how long it tolerates not seeing its signal; nothing is added to it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

from controller.core.signals import Code, Status, Value
from controller.core.timers import fill
from controller.core.voting import Ballot, Verdict, vote


class Effect(IntEnum):
    ALARM = 0
    DERATE = 1
    STOP = 2  # orderly, not latched; a start is refused while it stands
    TRIP = 3


class Arming(IntEnum):
    ALWAYS = 0
    POWERED = 1  # from the close command until current zero is proven; a permissive otherwise
    OPENED = 2  # while the main contactor is commanded open and has had its time to open
    COLLECTING = 3  # while gas is collected


class TripKind(IntEnum):
    """Who may reset a trip. Ordered: the worst cause decides."""

    RESETTABLE = 0  # at the rig; remotely where the rig file says so
    LOCAL = 1  # at the rig
    LOCK_OUT = 2  # at the rig, with a written reason, through a passed self-test


@dataclass(frozen=True, slots=True)
class Limit:
    """One threshold. Numbers in the unit of its signals."""

    name: str
    title: str
    members: tuple[int, ...]  # positions in Rig.signals
    threshold: float
    rises: bool  # True: trips at or above; False: at or below
    effect: Effect
    armed: Arming = Arming.POWERED
    kind: TripKind = TripKind.RESETTABLE
    needed: int = 1
    magnitude: bool = False  # compare the size, whatever the sign
    is_switch: bool = False  # the signal is the share for which the safe contact was proven
    deadband: float = 0.0
    delay_s: float = 0.0
    grace_s: float = 2.0
    far_grace_s: float = 0.0  # a longer grace while last seen at least `far` away, flow proven, current in range
    far: float = 0.0
    settle_s: float = 0.0  # for limits that power itself creates: armed this long after the measured closing
    bypassable: bool = False
    derate_to: float = 0.0  # for a derate: where the cap reaches the minimum current
    takes_refused: bool = True  # a refused reading on the trip side is a demand
    proving: bool = False  # needs something the start itself switches on: proven in `checking`, not before it


def clear_between(limit: Limit) -> tuple[float, float]:
    """The open interval of good numbers in which the limit demands nothing: what nearly every scan finds.

    Worked out once from the same comparisons that decide; empty where one member's number alone cannot say so.
    """
    if len(limit.members) != 1 or (limit.magnitude and not limit.rises):
        return math.inf, -math.inf
    if limit.is_switch:
        return math.nextafter(1.0, 0.0), math.inf
    if limit.rises:
        return (-limit.threshold if limit.magnitude else -math.inf), limit.threshold
    return limit.threshold, math.inf


class LimitState(NamedTuple):
    """What a limit remembers from one scan to the next."""

    filled_s: float  # of the on-delay
    demanded: bool  # by the last sample counted
    stamp_s: float  # of that sample
    onset_s: float  # stamp of the first sample of this demand
    due: bool  # the effect follows now
    standing: bool  # has been due and has not yet cleared beyond its deadband
    how: Code  # OK: seen beyond the threshold; otherwise what hid the signal or refused its number
    member: int  # position of the member that decided


RESTING = LimitState(0.0, False, 0.0, 0.0, False, False, Code.OK, -1)


def _beyond(limit: Limit, number: float) -> bool:
    if limit.magnitude:
        number = abs(number)
    return number >= limit.threshold if limit.rises else number <= limit.threshold


def demand_share(limit: Limit, number: float) -> float:
    """How much of the sample demands the effect: 0 or 1, or the unproven share of a switch."""
    if limit.is_switch:
        return 1.0 - number
    return 1.0 if _beyond(limit, number) else 0.0


def cleared(limit: Limit, value: Value) -> bool:
    """The member is seen, and clear of the threshold by more than the deadband."""
    number = value.number
    if number is None:
        return False
    if limit.is_switch:
        return number >= 1.0
    if limit.magnitude:
        number = abs(number)
    if limit.rises:
        return number < limit.threshold - limit.deadband
    return number > limit.threshold + limit.deadband


def grace_s(limit: Limit, value: Value, calm: bool) -> float:
    """Seconds this limit tolerates not seeing the member.

    calm: flow is proven and the current in range, so that a quantity far from its limit cannot reach it soon.
    """
    if calm and limit.far_grace_s > limit.grace_s and value.good_number is not None:
        number = abs(value.good_number) if limit.magnitude else value.good_number
        away = limit.threshold - number if limit.rises else number - limit.threshold
        if away >= limit.far:
            return limit.far_grace_s
    return limit.grace_s


def ballot(limit: Limit, value: Value, now_s: float, calm: bool) -> tuple[Ballot, float]:
    """What one member says, and the share of its sample that demands (1 unless it is a switch)."""
    number = value.number
    if number is not None:
        share = demand_share(limit, number)
        return (Ballot.DEMAND if share > 0.0 else Ballot.CLEAR), share
    if value.rejected is not None and limit.takes_refused and _beyond(limit, value.rejected):
        return Ballot.DEMAND, 1.0
    if value.status is not Status.FUNCTION_CHECK and now_s - value.good_stamp_s >= grace_s(limit, value, calm):
        return Ballot.BLIND, 1.0  # a forced signal forbids power by itself
    return Ballot.ABSTAIN, 0.0


def watch(
    limit: Limit, state: LimitState, values: Sequence[Value], last_s: float, now_s: float, calm: bool
) -> LimitState:
    """The state of an armed limit after this scan. Returns RESTING itself while nothing is the matter.

    last_s, now_s: times of the scan before and of this one.
    """
    if limit.needed == 1 and len(limit.members) == 1:
        member = limit.members[0]
        said, share = ballot(limit, values[member], now_s, calm)
        if said is Ballot.CLEAR and state is RESTING:
            return state
        verdict = _ALONE[said]
    else:
        said_by = [(*ballot(limit, values[m], now_s, calm), m) for m in limit.members]
        verdict = vote((b for b, _, _ in said_by), limit.needed)
        voters = [(b, s, m) for b, s, m in said_by if b is Ballot.DEMAND or b is Ballot.BLIND]
        share = max((s for _, s, _ in voters), default=0.0)
        member = voters[0][2] if voters else limit.members[0]
        if verdict is Verdict.CLEAR and state is RESTING:
            return state
    return _advance(limit, state, verdict, share, member, values, last_s, now_s)


_ALONE = {
    Ballot.CLEAR: Verdict.CLEAR,
    Ballot.DEMAND: Verdict.DEMAND,
    Ballot.ABSTAIN: Verdict.UNDECIDED,
    Ballot.BLIND: Verdict.BLIND,
}


def _advance(
    limit: Limit,
    state: LimitState,
    verdict: Verdict,
    share: float,
    member: int,
    values: Sequence[Value],
    last_s: float,
    now_s: float,
) -> LimitState:
    value = values[member]
    if verdict is Verdict.BLIND:
        return LimitState(limit.delay_s, True, now_s, value.good_stamp_s, True, True, value.code, member)
    if verdict is Verdict.UNDECIDED:
        # says nothing: neither starts nor clears a delay; the time passes uncounted
        return state if state is RESTING else state._replace(due=False, stamp_s=now_s)
    # a delay counts between samples, so that one held sample cannot satisfy it; blind voters have no newer sample
    stamp_s = max(values[m].seen_stamp_s for m in limit.members) if limit.needed == 1 else now_s
    demanded = verdict is Verdict.DEMAND
    if state is RESTING and demanded and not limit.is_switch:
        state = LimitState(0.0, True, stamp_s, stamp_s, False, False, Code.OK, member)
    dt_s = max(0.0, stamp_s - (last_s if state is RESTING else state.stamp_s))
    if limit.is_switch:  # its share describes the time since the last poll
        filled_s = fill(state.filled_s, dt_s, share, limit.delay_s)
    else:  # sample and hold: what the last sample said held until this one
        filled_s = fill(state.filled_s, dt_s, 1.0 if state.demanded else 0.0, limit.delay_s)
    due = demanded and filled_s >= limit.delay_s
    standing = due or (state.standing and not all(cleared(limit, values[m]) for m in limit.members))
    if not demanded and not standing and filled_s <= 0.0:
        return RESTING
    onset_s = state.onset_s if state.demanded and demanded else stamp_s
    how = Code.OK if value.number is not None else value.code
    return LimitState(filled_s, demanded, stamp_s, onset_s, due, standing, how, member)
