"""The record as CSV and Parquet: units in the heading, gaps empty, and the numbers of the stored line."""

from __future__ import annotations

import csv
import io
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from controller.record import export
from controller.record.blocks import JOINED, Points
from controller.record.history import History
from tests.record.workshop import NOON_S, historian, moment, quiet


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Ten minutes of a ramp of 0.01 A a second, its sensor lost from 200 s to 299 s, nothing from 400 s to 499 s."""
    one = historian(tmp_path / "record.sqlite")
    for at_s in range(600):
        if 400 <= at_s < 500:
            continue
        values = list(quiet(0.01 * at_s))
        if 200 <= at_s < 300:
            values[0] = (None, 4)
        one.measure(moment(at_s), values)
    one.flush(moment(600))
    one.close()
    return tmp_path / "record.sqlite"


def test_csv_has_units_in_its_heading_and_gaps_are_empty(path: Path) -> None:
    with History.open(path) as history:
        wanted = export.columns(history, ["current", "leak"])
        out = io.StringIO()
        rows = export.to_csv(out, wanted, export.parts(history, wanted, NOON_S, NOON_S + 599, 50.0))
    heading, *lines = csv.reader(io.StringIO(out.getvalue()))
    assert heading == ["time [UTC]", "clock synchronised", "current [A]", "leak [1]"]
    assert rows == len(lines) == 10  # 0, 50 ... 350, then 500 and 550: what nobody saw has no row
    first = datetime.fromtimestamp(NOON_S, UTC)
    assert datetime.fromisoformat(lines[0][0]) == first
    by_s = {(datetime.fromisoformat(line[0]) - first).total_seconds(): line for line in lines}
    assert float(by_s[150.0][2]) == pytest.approx(1.5, abs=0.05)
    assert by_s[250.0][2:] == ["", "1"]
    assert 450.0 not in by_s
    assert {line[1] for line in lines} == {"1"}


def test_parquet_has_units_in_its_metadata(path: Path, tmp_path: Path) -> None:
    with History.open(path) as history:
        wanted = export.columns(history, ["current"])
        rows = export.to_parquet(
            tmp_path / "a.parquet", wanted, export.parts(history, wanted, NOON_S, NOON_S + 599, 1.0)
        )
    table = pq.read_table(tmp_path / "a.parquet")
    assert table.num_rows == rows == 400
    assert table.schema.field("current").metadata[b"unit"] == b"A"
    when = table.column("time").to_pylist()
    measured = [0.01 * (t.timestamp() - NOON_S) for t in when]
    assert np.abs(np.array(table.column("current").to_pylist()) - measured).max() <= 0.0501


def test_a_long_table_comes_in_pieces_that_join(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with History.open(path) as history:
        wanted = export.columns(history, ["current"])
        (whole,) = export.parts(history, wanted, NOON_S, NOON_S + 599, 1.0)
        monkeypatch.setattr(export, "ROWS_AT_ONCE", 7)
        pieces = list(export.parts(history, wanted, NOON_S, NOON_S + 599, 1.0))
    assert len(pieces) > 50
    assert np.concatenate([p.time_s for p in pieces]) == pytest.approx(whole.time_s)
    assert np.concatenate([p.values[0] for p in pieces]) == pytest.approx(whole.values[0])


def test_a_signal_that_was_never_recorded_is_named_with_those_that_were(path: Path) -> None:
    with History.open(path) as history, pytest.raises(KeyError, match=r"never recorded: curent; known: current, "):
        export.columns(history, ["curent"])


def test_between_points_the_line_is_straight_and_beyond_them_there_is_none() -> None:
    values = np.array([0.0, 1.0, math.nan, 5.0])
    points = Points(np.array([0.0, 10.0, 20.0, 30.0]), values, np.array([0, JOINED, 0, 0], np.uint8))
    found = export.on_line(points, np.array([-1.0, 0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 31.0]))
    assert [None if math.isnan(x) else x for x in found] == [None, 0.0, 0.5, 1.0, None, None, None, 5.0, None]
