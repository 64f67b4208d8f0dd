"""A guard frozen at random instants, in short: `python -m tests.system.freeze --count 2000` is the long form."""

from __future__ import annotations

import os

from tests.system.freeze import many, report

COUNT = int(os.environ.get("LYEWATCH_FREEZES", "8"))


def test_a_guard_frozen_at_random_instants_never_closes_a_contact_that_had_opened() -> None:
    found = many(COUNT, "short")
    assert [f for f in found if f.wrong] == [], report(found)
    assert len(found) == COUNT
