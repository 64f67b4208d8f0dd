"""`lyewatch log` and `export`: nothing written down is lost, with or without a link."""

from __future__ import annotations

import csv
import json
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from controller.cli.log import RECORD, export, log
from controller.cli.problems import Problem
from controller.link import process
from controller.link.clock import machine_boot
from controller.record.historian import Historian, Moment, Tracked
from controller.record.spool import FOLDER


def call(state: Path, *arguments: str) -> Result:
    return CliRunner().invoke(log, [*arguments, "--state-dir", str(state)])


def taken_in(state: Path) -> int:
    """The link comes by."""
    now = Moment(time.clock_gettime(time.CLOCK_BOOTTIME), time.time(), True)
    one = Historian(state / RECORD, "boathouse", [Tracked("current", "Current", "A", 0.1)], machine_boot(), now)
    found = one.take_in(state / FOLDER, now)
    one.close()
    return found


def test_the_record_is_where_the_link_puts_it() -> None:
    assert process.RECORD == RECORD


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["topped-up", "250", "mL", "--side", "hydrogen"], "topped up, 250 mL, hydrogen side"),
        (["topped-up", "0,25L", "--side", "both"], "topped up, 0.25 L, both sides"),
        (["density-read", "1.27"], "density read, 1.27 g/mL"),
        (["lye-changed", "28", "%", "new batch"], "lye changed, 28 %: new batch"),
        (["lye-changed", "from the can"], "lye changed: from the can"),
        (["gas-collected", "0.52", "--text", "500 mL in 58 s"], "gas collected, 0.52 L/min: 500 mL in 58 s"),
        (["gasket"], "gasket"),
        (["note", "seal", "refilled"], "note: seal refilled"),
    ],
)
def test_a_line_is_written_down_whole_and_found_after_the_link_came_by(
    tmp_path: Path, arguments: list[str], said: str
) -> None:
    result = call(tmp_path, *arguments, "--who", "Ada")
    assert result.exit_code == 0, result.exception
    assert result.output == f"Written down: {said}\n"
    before = call(tmp_path).output
    assert said in before
    assert "Ada" in before
    assert "not taken in yet" in before
    assert taken_in(tmp_path) == 1
    assert taken_in(tmp_path) == 0
    after = call(tmp_path).output
    assert said in after
    assert "not taken in yet" not in after


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["toped-up", "250"], "no kind 'toped-up'; known: topped-up, density-read"),
        (["topped-up", "250"], "'topped up' needs a side: hydrogen, oxygen, both"),
        (["topped-up", "--side", "both"], "'topped up' needs a number in mL or L"),
        (["topped-up", "250", "--side", "both", "--when", "tomorrow"], "'tomorrow' is not a time"),
        (["topped-up", "250", "--side", "both", "--when", "2999-01-01"], "'2999-01-01' lies ahead"),
        (["topped-up", "250gal", "--side", "both"], "gal for 'topped up'; give mL or L"),
        (["density-read", "127"], "127 g/mL for 'density read'; give 0.95 to 1.6 g/mL"),
        (["note"], "'note' needs a text"),
    ],
)
def test_a_wrong_line_is_refused_with_what_would_be_right(tmp_path: Path, arguments: list[str], said: str) -> None:
    result = call(tmp_path, *arguments)
    assert isinstance(result.exception, Problem)
    assert said in str(result.exception)
    assert result.exception.code == 2
    assert not list(tmp_path.iterdir())


def test_json_for_programs_newest_first(tmp_path: Path) -> None:
    call(tmp_path, "note", "first", "--when", "2026-01-01 10:00", "--who", "Ada")
    call(tmp_path, "topped-up", "250", "mL", "--side", "oxygen", "--who", "Ben")
    taken_in(tmp_path)
    call(tmp_path, "note", "third", "--who", "Cleo")
    rows = json.loads(call(tmp_path, "--json").output)
    assert [(row["who"], row["stored"]) for row in rows] == [("Cleo", False), ("Ben", True), ("Ada", True)]
    assert (rows[1]["number"], rows[1]["unit"], rows[1]["side"]) == (250.0, "mL", "oxygen")
    assert [row["text"] for row in json.loads(call(tmp_path, "--json", "--number", "1").output)] == ["third"]


def test_without_a_record_it_says_where_it_looked(tmp_path: Path) -> None:
    result = call(tmp_path)
    assert isinstance(result.exception, Problem)
    assert f"no record in {tmp_path} yet" in str(result.exception)


def test_a_table_comes_out_with_units(tmp_path: Path) -> None:
    begin_s = time.time() - 600.0
    one = Historian(
        tmp_path / RECORD, "boathouse", [Tracked("current", "Current", "A", 0.1)], "m", Moment(0.0, begin_s, True)
    )
    for at_s in range(300):
        one.measure(Moment(at_s, begin_s + at_s, True), [(20.0, 0)])
    one.flush(Moment(300.0, begin_s + 300.0, True))
    one.close()
    file = tmp_path / "day.csv"
    result = CliRunner().invoke(export, [str(file), "--every", "60", "--state-dir", str(tmp_path)])
    assert result.exit_code == 0, result.exception
    heading, *rows = csv.reader(file.read_text().splitlines())
    assert heading == ["time [UTC]", "clock synchronised", "current [A]"]
    assert {float(row[2]) for row in rows} == {20.0}
    assert len(rows) in (4, 5)  # as the minutes fall
    for arguments, said in (
        (["a.xls"], "ends in .csv or .parquet"),
        ([str(file), "--signals", "curent"], "never recorded: curent; known: current"),
        ([str(file), "--since", "2026-05-02", "--until", "2026-05-01"], "--since is not before --until"),
    ):
        refused = CliRunner().invoke(export, [*arguments, "--state-dir", str(tmp_path)])
        assert isinstance(refused.exception, Problem)
        assert said in str(refused.exception)
