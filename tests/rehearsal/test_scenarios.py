"""Every scenario that ships goes as it says. Those of hours are played by `lyewatch rehearse --stock boathouse`."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulator.rehearsal.judge import failures
from simulator.rehearsal.rigs import find
from simulator.rehearsal.runner import play
from simulator.rehearsal.scenario import read_scenario, shipped
from simulator.rehearsal.world import Level, Physical

from .conftest import TODAY

LONG_S = 300.0
SHIPPED = [(path, read_scenario(path)) for path in shipped()]
SHORT = [pair for pair in SHIPPED if pair[1].duration_s <= LONG_S]


@pytest.mark.parametrize(("path", "scenario"), SHORT, ids=[path.stem for path, _ in SHORT])
def test_it_goes_as_the_file_says(path: Path, scenario: object, boathouse: Physical, minimal: Physical) -> None:
    read = read_scenario(path)
    ours = {"any": boathouse, "boathouse": boathouse, "minimal": minimal}
    physical = ours.get(read.rig) or find(read.rig, TODAY)
    assert failures(play(read, physical, Level.SIGNALS, every_s=None)) == []


def test_a_quarter_of_the_noisy_day_trips_nothing(boathouse: Physical) -> None:
    [scenario] = [scenario for path, scenario in SHIPPED if path.stem == "a-noisy-day"]
    short = scenario.model_copy(update={"duration_s": 1800.0})
    record = play(short, boathouse, Level.SIGNALS, every_s=None)
    assert failures(record) == []
    assert record.ended_powered


def test_every_case_names_itself_in_its_title() -> None:
    assert len({scenario.case for _, scenario in SHIPPED if scenario.case}) >= 28
    assert all(scenario.case in scenario.title for _, scenario in SHIPPED)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"trips": False}, "it tripped by 'coolant flow low'"),
        ({"first_out": "over-current"}, "the first cause is 'coolant flow low', not 'over-current'"),
        ({"fault_to_off_s": [0.0, 1.0]}, "took 10."),
        ({"never": {"coolant_flow_l_min": {"below": 1.0}}}, "the true coolant_flow_l_min fell to"),
        ({"alarms": ["leak"]}, "the alarm 'leak' did not come"),
        ({"no_alarms": ["any"]}, "alarms came: coolant flow warn"),
        ({"end_state": "running"}, "it ended tripped, not running"),
        ({"says": ["pigs fly"]}, "the record does not say 'pigs fly'"),
        ({"powered_at_end": True}, "at the end current cannot flow"),
        ({"never_powered": True}, "current could flow"),
        ({"causes": ["leak"]}, "'leak' is not among the causes"),
        ({"reached": ["service"]}, "it never reached service"),
        ({"never_reached": ["tripped"]}, "it reached tripped"),
    ],
)
def test_what_does_not_follow_is_a_failure_in_words(change: dict[str, object], says: str, boathouse: Physical) -> None:
    from simulator.rehearsal.scenario import Expect, FaultEntry, Scenario

    scenario = Scenario(
        title="lost", duration_s=30.0, at=(FaultEntry(t_s=5.0, fault="coolant-lost"),), expect=Expect(**change)
    )
    [failed] = failures(play(scenario, boathouse, Level.SIGNALS, every_s=None))
    assert says in failed
