"""`lyewatch check`: one page for a person, JSON for a program, and an exit code that answers "may I leave it?"."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from controller.cli.check import check, page
from controller.cli.new import new
from controller.config.load import load
from controller.config.rigs import names, shipped
from controller.core.commands import Source
from controller.core.memory import first
from controller.core.permissives import UNMEASURED, permissives
from controller.core.trips import Latch


def run(*arguments: str) -> Result:
    return CliRunner().invoke(check, arguments, catch_exceptions=False)


@pytest.mark.parametrize(("rig", "code", "answer"), [("boathouse", 0, "Yes"), ("minimal", 1, "No")])
def test_the_exit_code_answers_whether_it_may_be_left(rig: str, code: int, answer: str) -> None:
    result = run(rig)
    assert result.exit_code == code
    assert f"May I leave it?  {answer}" in result.stdout


def test_every_limit_is_printed_with_its_number_and_reason() -> None:
    shown = run("boathouse").stdout
    rig = load(shipped("boathouse"))
    for limit in rig.core.limits:
        line = next(x for x in shown.splitlines() if x.startswith(f"  {limit.name}  "))
        if not limit.is_switch:
            assert f"{limit.threshold:g} {rig.core.signals[limit.members[0]].unit}" in line
        assert rig.reasons[limit.name] in shown
    assert "either way >= 45.5 A, at once" in shown
    assert "unseen for 6 s (30 s while far away)" in shown


@pytest.mark.parametrize("rig", names())
def test_on_a_narrow_terminal_no_line_is_cut_and_no_word_is_lost(rig: str) -> None:
    whole = page(load(shipped(rig)))
    narrow = page(load(shipped(rig)), 80)
    assert max(map(len, narrow.splitlines())) <= 80
    assert narrow.split() == whole.split()


def test_what_is_missing_is_listed_in_plain_words() -> None:
    shown = run("minimal").stdout
    assert "at most 10 A, 30 min, a press at the bench every 10 min" in shown
    for what in load(shipped("minimal")).core.missing:
        assert f"  - {what}" in shown


def test_a_rig_that_measures_no_current_is_told_that_it_cannot_run_and_what_would_do(tmp_path: Path) -> None:
    """What proves power off after each stop, and a weld before each start, is the current: every start is refused."""
    file = tmp_path / "blind.toml"
    answers = ["--yes", "--set", "current=none"]
    written = CliRunner().invoke(new, [str(file), *answers], catch_exceptions=False)
    shown = run(str(file))
    assert shown.exit_code == 1
    assert json.loads(run(str(file), "--json").stdout)["may_start"] is False
    rig = load(file).core
    memory = first(rig, Latch(0, rig.rig_hash, False), 0.0)
    [refusal] = [p.why for p in permissives(rig, memory, Source.LOCAL) if UNMEASURED in p.why]
    for said in (shown.stdout, " ".join(written.stdout.split())):
        assert refusal in said
        assert "beside it at up to" not in said
        assert "May I leave it?  No. It may run" not in said
    assert json.loads(run("minimal", "--json").stdout)["may_start"] is True


def test_json_says_the_same() -> None:
    said = json.loads(run("minimal", "--json").stdout)
    assert said["may_be_left"] is False
    assert len(said["missing"]) == 6
    flow = next(x for x in said["limits"] if x["name"] == "coolant flow low")
    assert (flow["threshold"], flow["unit"], flow["rises"], flow["delay_s"]) == (0.75, "L/min", False, 10.0)


def test_a_file_that_cannot_be_used_exits_with_2_and_says_where(tmp_path: Path) -> None:
    broken = tmp_path / "mine.toml"
    broken.write_text(shipped("minimal").read_text().replace("rated_A = 30", 'rated_A = "30"'))
    result = run(str(broken))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "mine.toml line" in result.stderr
    assert "supply.rated_A" in result.stderr
    as_json = run(str(broken), "--json")
    assert as_json.exit_code == 2
    (problem,) = json.loads(as_json.stdout)["problems"]
    assert problem["key"] == "supply.rated_A"


def test_no_file_and_no_rig_are_answered_in_words() -> None:
    for arguments in ((), ("nowhere.toml",)):
        result = run(*arguments)
        assert result.exit_code == 2
        assert "boathouse" in result.stderr


def test_the_schema_is_json() -> None:
    result = run("--schema")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["title"] == "RigFile"
