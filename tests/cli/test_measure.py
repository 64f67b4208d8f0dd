"""Every figure is there, with its unit and something to compare it with."""

from __future__ import annotations

import json
import math

import pytest
from click.testing import CliRunner

from controller.cli.measure import SUBJECTS, measure
from controller.cli.measures import others
from controller.cli.measures.row import row

FIGURES = {
    "scan": {"scan_12_signals_16_limits", "scan_minimal", "scan_boathouse"},
    "frame": {"frame_pack", "frame_size"},
    "drivers": {
        "scan_through_drivers_minimal",
        "scan_with_plant_minimal",
        "scan_through_drivers_boathouse",
        "scan_with_plant_boathouse",
    },
    "plant": {"plant_step"},
    "record": {"a_months_trend_at_500_points", "a_days_trend_at_500_points"},
    "start": {"guard_start"},
    "memory": {"guard_memory", "guard_memory_with_key"},
}


@pytest.mark.parametrize("name", [subject.name for subject in SUBJECTS])
def test_each_figure_is_finite_and_has_a_unit_a_baseline_and_their_ratio(name: str) -> None:
    done = CliRunner().invoke(measure, [name, "--quick", "--json"], catch_exceptions=False)
    assert done.exit_code == 0
    rows = json.loads(done.output)
    assert {one["name"] for one in rows} == FIGURES[name]
    for one in rows:
        assert list(one) == ["name", "value", "unit", "baseline", "ratio"]
        assert one["unit"] in ("us", "ms", "s", "byte", "MB")
        assert math.isfinite(one["value"])
        assert one["value"] > 0.0
        assert one["baseline"] > 0.0
        assert one["ratio"] == one["value"] / one["baseline"]


def test_the_rig_of_twelve_and_sixteen_is_one() -> None:
    from controller.cli.measures.scan import twelve_and_sixteen

    rig = twelve_and_sixteen().rig.core
    assert (len(rig.signals), len(rig.limits)) == (12, 16)


def test_the_bare_loop_compares_every_number_with_its_range_and_every_limit_with_its_number() -> None:
    from controller.cli.measures.scan import bare_loop, recorded
    from simulator.rehearsal.rigs import find

    physical = find("minimal")
    frames = recorded(physical, 3)
    rig = physical.rig.core
    beyond = bare_loop(rig, frames)()
    by_hand = sum(
        not signal.low <= (reading.number or 0.0) <= signal.high
        for frame in frames[1:]
        for signal, reading in zip(rig.signals, frame.inputs.readings, strict=True)
    ) + sum(
        (number >= limit.threshold) if limit.rises else (number <= limit.threshold)
        for frame in frames[1:]
        for limit in rig.limits
        for number in [frame.inputs.readings[limit.members[0]].number or 0.0]
    )
    assert beyond == by_hand


def test_what_is_not_installed_is_named_and_the_rest_is_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(others, "find_spec", lambda name: None)
    from controller.cli.problems import Problem

    done = CliRunner().invoke(measure, ["plant", "frame", "--quick"])
    assert isinstance(done.exception, Problem)
    assert done.exception.code == 1
    assert "plant is not measured" in str(done.exception)
    assert "lyewatch[rehearse]" in str(done.exception)
    assert "frame_pack" in done.output


def test_a_name_that_is_not_known_is_answered_with_those_that_are() -> None:
    from controller.cli.problems import Problem

    done = CliRunner().invoke(measure, ["scann"])
    assert isinstance(done.exception, Problem)
    assert done.exception.code == 2
    assert "it measures scan, frame" in str(done.exception)


def test_a_ratio_is_the_figure_over_its_baseline() -> None:
    assert row("x", 3.0, "us", 2.0, "y").ratio == 1.5
