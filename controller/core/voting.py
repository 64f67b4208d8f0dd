"""How several members decide together: IEC 61511's "M out of N".

Each member demands, is clear, abstains (not good, still within its grace) or is blind (its grace is over, which counts
as a demand). So 1oo1 and 1oo2 trip on a blind member, 2oo2 becomes 1oo1, 2oo3 becomes 1oo2.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum
from typing import NamedTuple


class Ballot(IntEnum):
    CLEAR = 0
    DEMAND = 1
    ABSTAIN = 2
    BLIND = 3


class Verdict(IntEnum):
    CLEAR = 0
    UNDECIDED = 1  # too many abstain: neither starts nor clears a delay
    DEMAND = 2
    BLIND = 3  # the blind members alone decide: due at once, their grace was the delay


class VoteState(NamedTuple):
    """What is remembered of a vote's members: who is lost, and whether they tell of the same thing."""

    lost: int = 0  # one bit a member, the first member lowest
    degraded_s: float = 0.0  # of running with a member lost
    apart_s: float = 0.0  # that members have said different things
    apart: bool = False  # and the alarm that says so stands


def vote(ballots: Iterable[Ballot], needed: int) -> Verdict:
    """What `needed` out of the given members say together.

    >>> vote([Ballot.DEMAND, Ballot.BLIND, Ballot.CLEAR], needed=2).name
    'DEMAND'
    """
    demands = blind = abstain = 0
    for ballot in ballots:
        if ballot is Ballot.DEMAND:
            demands += 1
        elif ballot is Ballot.BLIND:
            blind += 1
        elif ballot is Ballot.ABSTAIN:
            abstain += 1
    if blind >= needed:
        return Verdict.BLIND
    if demands + blind >= needed:
        return Verdict.DEMAND
    return Verdict.UNDECIDED if demands + blind + abstain >= needed else Verdict.CLEAR
