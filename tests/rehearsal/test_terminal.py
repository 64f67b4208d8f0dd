"""A probe on a terminal sees a joint that works loose, on a rig that has no other sense for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.config.rigs import shipped
from simulator.rehearsal.judge import alarms, first_out, tripped
from simulator.rehearsal.rigs import find
from simulator.rehearsal.runner import Record, play
from simulator.rehearsal.scenario import Expect, FaultEntry, Scenario
from simulator.rehearsal.world import Level, Physical
from tests.rehearsal.conftest import TODAY

PROBE = '\n[signals.terminal_temperature]\nsensor = "DS18B20"\nid = "28-0b0a7e1100ff"\n'


@pytest.fixture(scope="module")
def probed(tmp_path_factory: pytest.TempPathFactory) -> Physical:
    path: Path = tmp_path_factory.mktemp("rig") / "probed.toml"
    path.write_text(shipped("minimal").read_text(encoding="utf-8") + PROBE, encoding="utf-8")
    return find(str(path), TODAY)


def loosened(physical: Physical, ohm: float) -> Record:
    fault = FaultEntry(t_s=10.0, fault="joint-loose", **{"with": {"ohm": ohm}})
    scenario = Scenario(title="A joint works loose", rig="any", duration_s=900.0, at=(fault,), expect=Expect())
    return play(scenario, physical, Level.SIGNALS)


def test_a_loose_joint_is_an_alarm_and_then_a_trip(probed: Physical) -> None:
    record = loosened(probed, 0.12)
    assert first_out(record) == "terminal hot"
    assert alarms(record)[0] == "terminal warn"


def test_a_joint_that_is_merely_warm_trips_nothing(probed: Physical) -> None:
    assert not tripped(loosened(probed, 0.02))
