"""Every cause that can wake somebody says what to do about it."""

from __future__ import annotations

import pytest

from controller.config.defaults import DEFAULTS
from controller.config.load import load
from controller.config.rigs import names, shipped
from controller.core.advice import ADVICE, LOST_DEVICE, UNKNOWN, Advice, advice
from controller.core.trips import FINDINGS


@pytest.mark.parametrize("rig", names())
def test_every_limit_of_a_rig_that_ships_has_advice_of_its_own(rig: str) -> None:
    limits = load(shipped(rig)).core.limits
    assert len(limits) > 3
    assert [limit.name for limit in limits if advice(limit.name) is UNKNOWN] == []


@pytest.mark.parametrize("finding", FINDINGS)
def test_everything_the_controller_finds_itself_has_advice(finding: str) -> None:
    assert advice(finding) is not UNKNOWN


@pytest.mark.parametrize("limit", DEFAULTS)
def test_every_limit_that_a_rig_can_have_without_naming_it_has_advice(limit: str) -> None:
    assert advice(limit) is not UNKNOWN


def test_a_device_that_several_sensors_hang_on_has_its_own() -> None:
    """By the names that the drivers give: a cause then stands for all signals of the device."""
    rig = load(shipped("boathouse")).core
    shared = {s.device for s in rig.signals if sum(s.device == other.device for other in rig.signals) > 1}
    assert len(shared) == 3  # two converters and the thermometers' bus
    assert {advice(device) for device in shared} == {LOST_DEVICE}


def test_an_unknown_cause_gets_the_cautious_answer() -> None:
    assert advice("the converter on channel 3") is UNKNOWN
    assert UNKNOWN.urgency == "now"


@pytest.mark.parametrize("said", [*ADVICE.values(), LOST_DEVICE, UNKNOWN])
def test_each_says_what_to_do_and_what_not_to_do_in_a_line_of_a_phone(said: Advice) -> None:
    assert said.urgency in ("now", "morning")
    for text in (said.to_do, said.not_to_do, said.look):
        assert 0 < len(text) <= 90
    assert said.not_to_do.startswith("Do not ")
