"""The demo cell's curves: numbers that agree with the running plant, a picture that is one, a command that says so."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from controller.cli.curve import COMMANDS, curve
from controller.cli.problems import Problem
from simulator.plant import BOATHOUSE, RUN30, steady_state
from simulator.plant.curves import PictureError, draw, minimum_current_a, polarisation

from .bench import run, seen


def test_a_point_of_the_curve_is_what_the_running_plant_shows_at_that_temperature() -> None:
    state = steady_state(BOATHOUSE)
    look = seen(state, RUN30)
    joints_v = 30.0 * 4 * BOATHOUSE.cell.joint_ohm
    (point,) = polarisation(BOATHOUSE, look.cell_temperature_c, (30.0,))
    assert point.cell_v == pytest.approx((look.stack_voltage_v - joints_v) / 3.0, abs=2e-3)
    assert point.density_ma_cm2 == pytest.approx(333.3, abs=0.1)
    hour = run(state, RUN30, 60.0)
    made_j = (hour.made_c / (2 * 96485.332)) * 285_830.0  # higher heating value, CODATA
    spent_j = hour.electrical_j - joints_v * hour.charge_c
    assert point.efficiency_hhv == pytest.approx(made_j / spent_j, abs=2e-3)


def test_the_minimum_current_is_where_the_running_plant_has_one_percent_of_hydrogen_in_the_oxygen() -> None:
    inputs = RUN30._replace(setpoint_a=minimum_current_a(BOATHOUSE))
    settled = run(steady_state(BOATHOUSE), inputs, 7200.0, 1.0)
    assert seen(settled, inputs).h2_in_o2_percent == pytest.approx(1.0, rel=0.05)


def test_the_picture_names_its_axes_with_units_and_both_temperatures(tmp_path: Path) -> None:
    """As text, so that it can be read: matplotlib writes SVG text as paths unless told not to."""
    import matplotlib

    with matplotlib.rc_context({"svg.fonttype": "none"}):
        draw(BOATHOUSE, tmp_path / "curve.svg")
    text = " ".join(ElementTree.parse(tmp_path / "curve.svg").getroot().itertext())
    for words in ("cell voltage / V", "mA/cm²", "current / A", "higher heating value / %", "25 °C", "62 °C"):
        assert words in text
    assert "invented" in text
    assert "gas not fit" in text


def test_a_png_is_a_png(tmp_path: Path) -> None:
    draw(BOATHOUSE, tmp_path / "curve.png", (40.0,))
    assert (tmp_path / "curve.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_another_kind_of_picture_is_refused_with_what_would_do(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match=r"ends in \.gif; give a name that ends in \.png or \.svg"):
        draw(BOATHOUSE, tmp_path / "curve.gif")


def test_the_command_prints_a_table_or_json_and_draws(tmp_path: Path) -> None:
    assert [curve] == COMMANDS
    picture = tmp_path / "curve.png"
    said = CliRunner().invoke(curve, ["--at", "25", "--at", "62", "--picture", str(picture)])
    assert said.exit_code == 0, said.output
    assert picture.exists()
    assert "invented" in said.output
    assert "gas not fit" in said.output
    parsed = json.loads(CliRunner().invoke(curve, ["--json", "--at", "50"]).output)
    points = parsed["curves"][0]["points"]
    assert [p["cell_v"] for p in points] == sorted(p["cell_v"] for p in points)
    assert 8.0 < parsed["minimum_current_a"] < 10.0


def test_the_command_says_what_is_wrong_with_a_picture_s_name(tmp_path: Path) -> None:
    refused = CliRunner().invoke(curve, ["--picture", str(tmp_path / "curve.gif")])
    assert isinstance(refused.exception, Problem)
    assert refused.exception.code == 2
    assert ".png or .svg" in str(refused.exception)
