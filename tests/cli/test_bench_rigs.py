"""What stands behind `lyewatch bench RIG`: the wiring and the plant of that very rig."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from controller.cli.bench import _what_is_there
from controller.cli.problems import Problem
from controller.config.rigs import shipped


@pytest.mark.parametrize(("rig", "cells"), [("boathouse", 3), ("fixed-voltage", 2)])
def test_a_rig_that_ships_has_its_own_plant(rig: str, cells: int) -> None:
    _, behind = _what_is_there(rig, 20.0)
    assert behind is not None
    assert behind.parameters.cell.cells == cells


def test_somebodys_own_file_runs_too_and_says_that_no_wiring_was_given(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(shipped("fixed-voltage"), tmp_path / "mine.toml")
    wiring, behind = _what_is_there(str(tmp_path / "mine.toml"), 20.0)
    assert "wired as its rig file says" in wiring.title
    assert behind is not None
    assert "a wrong scaling cannot show" in capsys.readouterr().err


def test_a_file_that_is_not_there_is_said_in_words() -> None:
    for name in ("nowhere.toml", "nowhere.wiring.toml"):
        with pytest.raises(Problem, match="nowhere"):
            _what_is_there(name, 20.0)
