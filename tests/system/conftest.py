"""A bench of real processes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.system.site import Site


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """A bench; the test starts its guard."""
    with Site(tmp_path / "s") as made:
        yield made
