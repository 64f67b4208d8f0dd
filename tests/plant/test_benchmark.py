"""The benchmark's rows are whole and its sums right. What it measures is judged by whoever runs it, not here."""

from __future__ import annotations

import math

import pytest

from simulator.plant import benchmark


def test_every_row_has_a_number_and_a_ratio_only_beside_a_baseline(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, value in (("ROUNDS", 2), ("STEPS", 20), ("SOLVED_S", 20.0), ("DAY_S", 400)):
        monkeypatch.setattr(benchmark, name, value)
    rows = benchmark.rows()
    assert len({row.name for row in rows}) == len(rows)
    for row in rows:
        assert math.isfinite(row.value)
        assert row.value >= 0.0
        assert row.unit
        if row.baseline is None:
            assert row.ratio is None
        else:
            assert row.ratio == pytest.approx(row.value / row.baseline)
    exactness = {row.name: row.value for row in rows}
    assert exactness["plant_ten_minutes_difference"] < 0.01
    assert exactness["plant_day_worst_balance"] < 1e-9
