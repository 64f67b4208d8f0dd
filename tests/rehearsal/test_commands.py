"""The commands as a person or a program calls them: exit codes, the JSON as it is fixed, the table, the page."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from controller.cli.problems import Problem
from controller.cli.rehearse import rehearse
from simulator.rehearsal import stock
from simulator.rehearsal.judge import cut_by
from simulator.rehearsal.report import of_stock
from simulator.rehearsal.stock import Case, Fate, Line, cases, line_of, play_case
from simulator.rehearsal.world import Physical

GOOD = """title = "coolant lost"
rig = "boathouse"
duration_s = 40
[[at]]
t_s = 5
fault = "coolant-lost"
[expect]
trips = true
first_out = "coolant flow low"
"""
KEYS = {
    "title", "passed", "failures", "tripped", "first_out", "causes", "fault_to_off_s", "extremes", "alarms",
    "end_state", "simulated_s", "wall_s",
}  # fmt: skip


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "lost.toml"
    path.write_text(GOOD)
    return path


@pytest.mark.parametrize("drivers", [[], ["--drivers"]])
def test_a_program_gets_exactly_what_is_fixed(file: Path, drivers: list[str]) -> None:
    result = CliRunner().invoke(rehearse, [str(file), "--json", *drivers])
    assert result.exit_code == 0
    [found] = json.loads(result.output)
    assert set(found) == KEYS
    assert found["passed"] is True
    assert found["first_out"] == "coolant flow low"
    assert 10.0 < found["fault_to_off_s"] < 12.0
    assert found["extremes"]["current_a"]["max"] == pytest.approx(30.0, abs=0.5)
    assert found["simulated_s"] == pytest.approx(40.0)


def test_what_does_not_follow_answers_one_and_says_why(file: Path) -> None:
    file.write_text(GOOD.replace("coolant flow low", "leak"))
    result = CliRunner().invoke(rehearse, [str(file)])
    assert result.exit_code == 1
    assert "FAILED  coolant lost: the first cause is 'coolant flow low', not 'leak'" in result.output


def test_a_bad_file_answers_two_with_its_line(file: Path) -> None:
    file.write_text(GOOD.replace("t_s = 5", "t_s = 500"))
    raised = CliRunner().invoke(rehearse, [str(file)]).exception
    assert isinstance(raised, Problem)
    assert raised.code == 2
    assert "lost.toml line 5, at.0.t_s: 500 s is after the end" in str(raised)


def test_pictures_and_one_page_complete_in_itself(file: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    result = CliRunner().invoke(rehearse, [str(file), "--plot", str(tmp_path / "p"), "--report", str(page)])
    assert result.exit_code == 0
    assert (tmp_path / "p" / "lost.png").read_bytes().startswith(b"\x89PNG")
    text = page.read_text()
    assert "<svg" in text
    assert "coolant lost" in text
    assert "src=" not in text
    assert "@import" not in text


def _play(name: str, physical: Physical) -> Line:
    [case] = [case for case in cases(physical) if case.name == name]
    return line_of(case, play_case(case, physical))


@pytest.mark.parametrize(
    ("name", "fate", "by"),
    [
        ("coolant-lost", Fate.SAVED, "coolant flow low"),
        ("outlet-h-blocked", Fate.SAVED, "gas pressure hydrogen side"),
        ("scan-stalled", Fate.HARD_WIRED, "watchdog relay"),
        ("stop-pressed", Fate.SAVED, "stop chain or mains, then stop chain"),
        ("broker-gone", Fate.HARMLESS, "nothing had to be done"),
        ("main-welded", Fate.SAVED, "contactor not open"),
    ],
)
def test_a_line_of_the_table_says_by_what_a_rig_is_saved(name: str, fate: Fate, by: str, boathouse: Physical) -> None:
    line = _play(name, boathouse)
    assert (line.fate, line.by) == (fate, by)


def test_what_is_not_caught_is_said_with_the_cheapest_part_that_would(minimal: Physical) -> None:
    line = _play("outlet-h-blocked", minimal)
    assert line.fate is Fate.NOT_CAUGHT
    assert line.harm == "hydrogen side bursts through"
    assert line.remedy.startswith("a pressure sensor on the hydrogen side, about 12 EUR: sees it ")


@pytest.mark.parametrize(
    ("name", "remedy", "by"),
    [
        ("sensor-stuck hydrogen_in_oxygen", "a second one of: an analyser for hydrogen in the oxygen", ""),
        (
            "sensor-wrong-scale hydrogen_in_oxygen",
            "a second one of: an analyser for hydrogen in the oxygen",
            "an alarm alone, hydrogen in oxygen warn",
        ),
        ("sensor-stuck pressure_oxygen", "a second one of: a pressure sensor on the oxygen side", ""),
    ],
)
def test_a_sensor_that_lies_is_answered_by_a_second_of_its_own_kind(
    name: str, remedy: str, by: str, boathouse: Physical
) -> None:
    line = _play(name, boathouse)
    assert (line.fate, line.by) == (Fate.NOT_CAUGHT, by)
    assert line.remedy.startswith(remedy)


def test_a_part_that_is_there_and_tells_the_truth_needs_only_a_limit(boathouse: Physical) -> None:
    """Without what makes use of it, the float near the top still sees the coolant that runs into the lye."""
    core = boathouse.rig.core
    left = tuple(limit for limit in core.limits if limit.name != "level high")
    blind = replace(core, limits=left, roles=replace(core.roles, level=-1))
    line = _play("coolant-into-cell", boathouse._replace(rig=replace(boathouse.rig, core=blind)))
    assert line.fate in (Fate.NOT_CAUGHT, Fate.LATE)
    assert line.remedy.startswith('a limit of your own, effect = "trip", on level_')
    assert "EUR" not in line.remedy


def test_a_hose_off_is_seen_by_its_flow_but_one_that_only_spills_wants_a_leak_sensor(minimal: Physical) -> None:
    """A third of the water beside the hose is 1.13 x the flow, which a tap may have by itself."""
    line = _play("hose-off", minimal)
    assert (line.fate, line.by) == (Fate.SAVED, "coolant flow high")
    [whole] = [case for case in cases(minimal) if case.name == "hose-off"]
    entry = whole.scenario.at[0].model_copy(update={"numbers": {"share": 0.33}})
    spills = whole._replace(scenario=whole.scenario.model_copy(update={"at": [entry, *whole.scenario.at[1:]]}))
    line = line_of(spills, play_case(spills, minimal))
    assert line.fate in (Fate.NOT_CAUGHT, Fate.LATE)
    assert "leak sensor" in line.remedy


def test_no_stock_fault_is_bound_to_the_rig_that_ships(boathouse: Physical, minimal: Physical) -> None:
    ours, theirs = ({case.name.split()[0] for case in cases(p)} for p in (boathouse, minimal))
    assert len(ours) > 100
    assert len(theirs) > 75
    assert "second-welded" not in theirs
    assert not [case for case in cases(minimal) if "pressure_" in case.name]


def test_the_table_is_sorted_worst_first_and_made_into_a_page(boathouse: Physical) -> None:
    def line(name: str, fate: Fate) -> Line:
        return Line(name, name, fate, "", None, "", None, "", "", 1.0, 1.0)

    lines = stock.sorted_lines([line("b", Fate.SAVED), line("a", Fate.NOT_CAUGHT), line("c", Fate.HARMLESS)])
    assert [one.name for one in lines] == ["a", "b", "c"]
    page = of_stock(lines, boathouse)
    assert page.index("NOT CAUGHT") < page.index("no harm")


def test_the_kernel_letting_go_is_told_apart_from_the_guard(boathouse: Physical) -> None:
    [case] = [c for c in cases(boathouse) if c.name == "guard-killed"]
    assert isinstance(case, Case)
    assert "kernel" in cut_by(play_case(case, boathouse))
