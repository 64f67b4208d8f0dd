"""Every cause that can wake somebody says what to do about it."""

from __future__ import annotations

import pytest

from controller.config.load import load
from controller.config.rigs import shipped
from controller.core.advice import ADVICE, UNKNOWN, Advice, advice
from controller.core.trips import FINDINGS


@pytest.mark.parametrize("rig", ["minimal", "boathouse"])
def test_every_limit_of_a_rig_that_ships_has_advice_of_its_own(rig: str) -> None:
    limits = load(shipped(rig)).core.limits
    assert len(limits) > 3
    assert [limit.name for limit in limits if advice(limit.name) is UNKNOWN] == []


@pytest.mark.parametrize("finding", FINDINGS)
def test_everything_the_controller_finds_itself_has_advice(finding: str) -> None:
    assert advice(finding) is not UNKNOWN


def test_an_unknown_cause_gets_the_cautious_answer() -> None:
    assert advice("the converter on channel 3") is UNKNOWN
    assert UNKNOWN.urgency == "now"


@pytest.mark.parametrize("said", [*ADVICE.values(), UNKNOWN])
def test_each_says_what_to_do_and_what_not_to_do_in_a_line_of_a_phone(said: Advice) -> None:
    assert said.urgency in ("now", "morning")
    for text in (said.to_do, said.not_to_do, said.look):
        assert 0 < len(text) <= 90
    assert said.not_to_do.startswith("Do not ")
