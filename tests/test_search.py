"""The search for rare cases finds one, names a seed, and that seed finds it again."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.search import one_round, search

RARE = """
from hypothesis import given, strategies as st

@given(st.integers(0, 60))
def test_rare(number):
    assert number != 53
"""


def test_a_case_is_found_and_its_seed_finds_it_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rare = tmp_path / "test_rare.py"
    rare.write_text(RARE, encoding="utf-8")
    [seed] = search(0.0, [str(rare)], 1)
    assert f"--hypothesis-seed={seed}" in capsys.readouterr().out
    passed, said = one_round(seed, [str(rare)])
    assert not passed
    assert "number=53" in said


def test_where_there_is_no_property_test_it_says_so(tmp_path: Path) -> None:
    (tmp_path / "test_plain.py").write_text("def test_plain(): pass\n", encoding="utf-8")
    with pytest.raises(ValueError, match="no property test"):
        search(0.0, [str(tmp_path)], 1)
