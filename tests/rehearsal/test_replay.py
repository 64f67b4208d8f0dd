"""An incident written by a guard's own loop: read, told, exported, and decided again bit for bit."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from click.testing import CliRunner

from controller.cli.incidents import incidents, replay
from controller.guard.incidents import SUFFIX, Incident, encode
from simulator.rehearsal import shown
from simulator.rehearsal.replay import (
    frames_of,
    read_incident,
    replay_changed,
    settings,
)
from simulator.rehearsal.replay import replay as decide
from simulator.rehearsal.runner import play
from simulator.rehearsal.scenario import FaultEntry, Scenario
from simulator.rehearsal.world import Level, Physical, World


@pytest.fixture(scope="module")
def lost(boathouse: Physical, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Coolant lost on the boathouse: the incident file its guard handed over."""
    folder = tmp_path_factory.mktemp("incidents")
    given: dict[str, Incident] = {}

    def keep(world: World) -> None:
        given.update(world.incidents.given)

    scenario = Scenario(title="lost", duration_s=145.0, at=(FaultEntry(t_s=10.0, fault="coolant-lost"),))
    play(scenario, boathouse, Level.SIGNALS, every_s=None, frames=True, keep=keep)
    [(name, incident)] = given.items()
    path = folder / f"{name}{SUFFIX}"
    path.write_bytes(encode(incident))
    return path


def test_every_decision_is_the_same_again(lost: Path, boathouse: Physical) -> None:
    frames = frames_of(boathouse.rig.core, read_incident(lost))
    result = decide(boathouse.rig.core, frames)
    assert result.difference is None
    assert (result.scans, result.gaps) == (len(frames) - 1, 0)
    assert result.scans > 1300  # ten seconds before the limit's ten, and two minutes after


def test_a_changed_reading_is_found_in_its_scan_and_named(lost: Path, boathouse: Physical) -> None:
    rig = boathouse.rig.core
    frames = frames_of(rig, read_incident(lost))
    at = rig.position("coolant_flow")
    readings = list(frames[400].inputs.readings)
    readings[at] = readings[at]._replace(number=1.9)
    frames[400] = frames[400]._replace(inputs=frames[400].inputs._replace(readings=tuple(readings)))
    found = decide(rig, frames).difference
    assert found is not None
    assert found.scan == frames[400].memory.scan
    assert found.what.startswith("values.coolant_flow.number: ")


def test_other_settings_trip_at_another_time_and_the_rest_is_not_made_up(lost: Path, boathouse: Physical) -> None:
    from controller.config.load import load
    from controller.config.rigs import shipped
    from tests.rehearsal.conftest import TODAY

    rig = boathouse.rig.core
    frames = frames_of(rig, read_incident(lost))
    quicker = load(shipped("boathouse"), TODAY, settings(['limits."coolant flow low".delay_s=4'])).core
    answer = replay_changed(rig, quicker, frames)
    assert answer.recorded_s is not None
    assert answer.tripped_s is not None
    assert answer.recorded_s - answer.tripped_s == pytest.approx(6.0, abs=0.11)  # 10 s and 4 s of delay
    assert "6.0 s earlier" in answer.sentence
    slower = load(shipped("boathouse"), TODAY, settings(['limits."coolant flow low".delay_s=300'])).core
    assert "the changed rig would not have tripped" in replay_changed(rig, slower, frames).sentence


def test_the_commands_list_tell_export_and_replay(lost: Path, tmp_path: Path) -> None:
    run = CliRunner()
    table = run.invoke(incidents, ["--dir", str(lost.parent)])
    assert table.exit_code == 0
    assert "boathouse  coolant flow low" in table.output
    out = tmp_path / "trip.csv"
    told = run.invoke(incidents, ["last", "--dir", str(lost.parent), "--csv", str(out)])
    assert told.exit_code == 0
    assert "tripped by coolant flow low" in told.output
    assert "why: Coolant flow lost" in told.output
    rows = list(csv.DictReader(io.StringIO(out.read_text())))
    assert rows[0]["state"] == "running"
    tripped = [row for row in rows if float(row["t_s"]) >= 0.0]
    assert float(tripped[0]["coolant_flow [L/min]"]) == 0.0
    assert tripped[0]["main_hold"] == "False"
    again = run.invoke(replay, [str(lost)])
    assert (again.exit_code, "all the same" in again.output) == (0, True)
    changed = run.invoke(replay, [str(lost), "--set", 'limits."coolant flow low".delay_s=4'])
    assert "6.0 s earlier" in changed.output
    assert "not in a recording" in changed.output


def test_a_damaged_incident_is_refused_and_listed_with_why(lost: Path, tmp_path: Path) -> None:
    data = bytearray(lost.read_bytes())
    data[len(data) // 2] ^= 1
    bad = tmp_path / f"bad{SUFFIX}"
    bad.write_bytes(data)
    assert "checksum differs" in shown.listed(tmp_path)[0].trouble
    assert "checksum differs" in str(CliRunner().invoke(replay, [str(bad)]).exception)


def test_a_soak_of_random_faults_and_commands_is_replayed_bit_for_bit(boathouse: Physical) -> None:
    """An hour here; `python -m simulator.rehearsal.soak` plays a day. The rig is mended at the end of each half: it
    comes into running again, and trips again."""
    from simulator.rehearsal.soak import Soaked, soak

    halves: list[Soaked] = []
    result = soak(boathouse, hours=1.0, seed=1, told=halves.append)
    assert result.difference is None
    assert result.scans > 32_000
    assert result.faults >= 30
    assert result.states >= 8
    first, second = halves
    assert second.runs > first.runs >= 1
    assert second.trips > first.trips >= 1


@pytest.mark.parametrize("text", ["nonsense", "=3", "a b=1"])
def test_a_setting_that_is_none_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ValueError, match=r"key=value|Expected"):
        settings([text])


def test_unquoted_words_are_taken_as_text() -> None:
    assert settings(["supply.kind=current knob", "scan_s=0.2"]) == {"supply": {"kind": "current knob"}, "scan_s": 0.2}
