"""Votes against truth tables written out by hand, and against what IEC 61511 calls M out of N."""

from __future__ import annotations

import itertools

import pytest

from controller.core.voting import Ballot, Verdict, vote

BALLOTS = {"c": Ballot.CLEAR, "d": Ballot.DEMAND, "a": Ballot.ABSTAIN, "b": Ballot.BLIND}

# c clear, d demand, a abstains within its grace, b blind after it; C clear, D demand, U undecided, B blind.
ONE_OF_ONE = {"c": "C", "d": "D", "a": "U", "b": "B"}
ONE_OF_TWO = {
    "cc": "C", "cd": "D", "ca": "U", "cb": "B",
    "dd": "D", "da": "D", "db": "B",
    "aa": "U", "ab": "B", "bb": "B",
}  # fmt: skip
TWO_OF_TWO = {
    "cc": "C", "cd": "C", "ca": "C", "cb": "C",
    "dd": "D", "da": "U", "db": "D",
    "aa": "U", "ab": "U", "bb": "B",
}  # fmt: skip
TWO_OF_THREE = {
    "ccc": "C", "ccd": "C", "cca": "C", "ccb": "C",
    "cdd": "D", "cda": "U", "cdb": "D",
    "caa": "U", "cab": "U", "cbb": "B",
    "ddd": "D", "dda": "D", "ddb": "D",
    "daa": "U", "dab": "D", "dbb": "B",
    "aaa": "U", "aab": "U", "abb": "B", "bbb": "B",
}  # fmt: skip
TABLES = [(1, ONE_OF_ONE), (1, ONE_OF_TWO), (2, TWO_OF_TWO), (2, TWO_OF_THREE)]


@pytest.mark.parametrize(("needed", "ballots", "verdict"), [(n, b, v) for n, table in TABLES for b, v in table.items()])
def test_votes_in_any_order_are_counted_as_the_table_says(needed: int, ballots: str, verdict: str) -> None:
    for order in set(itertools.permutations(ballots)):
        assert vote([BALLOTS[b] for b in order], needed).name[0] == verdict


def test_the_tables_are_complete() -> None:
    for members, (_, table) in zip((1, 2, 2, 3), TABLES, strict=True):
        every = itertools.combinations_with_replacement("abcd", members)
        assert {"".join(sorted(k)) for k in table} == {"".join(m) for m in every}


@pytest.mark.parametrize(("needed", "members"), [(1, 1), (1, 2), (2, 2), (2, 3)])
def test_one_worse_ballot_never_makes_a_milder_verdict(needed: int, members: int) -> None:
    """Clear < abstain < demand in how near it is to a trip; a blind member is at least as near as a demanding one."""
    nearer = {Ballot.CLEAR: 0, Ballot.ABSTAIN: 1, Ballot.DEMAND: 2, Ballot.BLIND: 3}
    for ballots in itertools.product(Ballot, repeat=members):
        for at, worse in itertools.product(range(members), Ballot):
            if nearer[worse] >= nearer[ballots[at]]:
                changed = [*ballots[:at], worse, *ballots[at + 1 :]]
                assert vote(changed, needed) >= vote(ballots, needed)


@pytest.mark.parametrize(("needed", "members", "left"), [(2, 2, "1oo1"), (2, 3, "1oo2")])
def test_a_blind_member_leaves_the_vote_that_the_rule_says(needed: int, members: int, left: str) -> None:
    needed_left, members_left = int(left[0]), int(left[-1])
    for others in itertools.product([Ballot.CLEAR, Ballot.DEMAND], repeat=members_left):
        assert members_left == members - 1
        assert vote([Ballot.BLIND, *others], needed) is vote(others, needed_left)


def test_one_of_one_and_one_of_two_trip_on_a_blind_member() -> None:
    assert vote([Ballot.BLIND], 1) is Verdict.BLIND
    assert vote([Ballot.BLIND, Ballot.CLEAR], 1) is Verdict.BLIND
