"""The figures are of the right thing: the trend that is timed has its points and its peaks."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from controller.record import speed
from controller.record.history import History


def test_the_figures_have_a_baseline_and_the_trend_that_is_timed_shows_the_whole_span(tmp_path: Path) -> None:
    speed._record(tmp_path / "record.db", 1)
    with History.open(tmp_path / "record.db") as history:
        (trend,) = history.trend(["signal 0"], 0.0, 86400.0, speed.POINTS)
    assert 250 <= trend.at_s.size <= speed.POINTS
    assert np.nanmax(trend.value) > 30.2
    assert np.nanmin(trend.value) < 9.8
    for figure in speed.figures(days=1):
        assert figure.baseline > 0.0
        assert figure.ratio == figure.value / figure.baseline
