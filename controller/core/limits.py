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
    differ: float = 0.0  # members of a vote may differ by so much besides their errors: they stand in different places
    proving: bool = False  # needs something the start itself switches on: proven in `checking`, not before it


def clear_between(limit: Limit) -> tuple[float, float]:
    """The open interval of good numbers in which a member demands nothing: what nearly every scan finds.

    Worked out once from the same comparisons that decide; empty where they would leave two intervals.
    """
    if limit.magnitude and not limit.rises:
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


def made_by_power(limit: Limit) -> bool:
    """A rig without power breaks this limit (no current, volts under load): its window means more than the inrush."""
    return _beyond(limit, 0.0)


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


def is_clear(limit: Limit, values: Sequence[Value]) -> bool:
    """So many members are seen and clear beyond the deadband that the others could not decide without them."""
    clear = 0
    for member in limit.members:
        clear += cleared(limit, values[member])
    return len(limit.members) - clear < limit.needed


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


def refused_beyond(limit: Limit, value: Value) -> bool:
    """A number was refused, and it lies on the trip side."""
    return limit.takes_refused and value.rejected is not None and _beyond(limit, value.rejected)


def _says_so(limit: Limit, value: Value) -> bool:
    """The member's own sample demands the effect."""
    if value.number is not None:
        return demand_share(limit, value.number) > 0.0
    return refused_beyond(limit, value)


def ballot(limit: Limit, value: Value, now_s: float, calm: bool) -> tuple[Ballot, float]:
    """What one member says, and the share of its sample that demands (1 unless it is a switch)."""
    if value.number is not None:
        share = demand_share(limit, value.number)
        return (Ballot.DEMAND if share > 0.0 else Ballot.CLEAR), share
    if value.status is not Status.FUNCTION_CHECK and now_s - value.good_stamp_s >= grace_s(limit, value, calm):
        return Ballot.BLIND, 1.0  # a forced signal forbids power by itself
    if refused_beyond(limit, value):
        return Ballot.DEMAND, 1.0
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
        if verdict is Verdict.CLEAR and state is RESTING:
            return state
        # the share for which enough members demand together: that of the last one needed
        share = sorted((s for _, s, _ in said_by), reverse=True)[limit.needed - 1]
        decisive = Ballot.BLIND if verdict is Verdict.BLIND else Ballot.DEMAND
        member = next((m for b, _, m in said_by if b is decisive), limit.members[0])
    return _advance(limit, state, verdict, share, member, values, last_s, now_s)


def _sampled_s(limit: Limit, values: Sequence[Value], demanded: bool) -> float:
    """Stamp of the sample that a delay counts to, so that one held sample cannot satisfy it: of those that demand, the
    oldest; otherwise the newest there is."""
    members = limit.members
    if len(members) == 1:
        return values[members[0]].seen_stamp_s
    stamps = [values[m].seen_stamp_s for m in members if not demanded or _says_so(limit, values[m])]
    return (min if demanded else max)(stamps)


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
        # says nothing: neither starts nor clears a delay. What the last good sample said holds until the next one, but
        # a switch's share is that of its own poll alone, so its time passes uncounted.
        if state == RESTING:
            return RESTING
        return state._replace(due=False, stamp_s=now_s if limit.is_switch else state.stamp_s)
    demanded = verdict is Verdict.DEMAND
    resting = state == RESTING  # not `is`: a memory that was written down and read back is another object
    stamp_s = _sampled_s(limit, values, demanded)
    if resting and demanded and not limit.is_switch:
        state, resting = LimitState(0.0, True, stamp_s, stamp_s, False, False, Code.OK, member), False
    since_s = last_s if resting else state.stamp_s
    stamp_s = max(stamp_s, since_s)
    dt_s = stamp_s - since_s
    if limit.is_switch:  # its share describes the time since the last poll
        filled_s = fill(state.filled_s, dt_s, share, limit.delay_s)
    else:  # sample and hold: what the last sample said held until this one
        filled_s = fill(state.filled_s, dt_s, 1.0 if state.demanded else 0.0, limit.delay_s)
    due = demanded and filled_s >= limit.delay_s
    standing = due or (state.standing and not is_clear(limit, values))
    if not demanded and not standing and filled_s <= 0.0:
        return RESTING
    onset_s = state.onset_s if state.demanded and demanded else stamp_s
    how = Code.OK if value.number is not None else value.code
    return LimitState(filled_s, demanded, stamp_s, onset_s, due, standing, how, member)
