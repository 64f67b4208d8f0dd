"""A desk without keys, and lines to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.core.commands import Source
from controller.guard.challenge import Keys
from tests.guard.pretend import Desk, Line


@pytest.fixture
def no_keys(tmp_path: Path) -> Keys:
    return Keys(tmp_path / "no keys")


@pytest.fixture
def desk(no_keys: Keys) -> Desk:
    return Desk(no_keys)


@pytest.fixture
def line() -> Iterator[Callable[[Source], Line]]:
    made: list[Line] = []

    def make(source: Source) -> Line:
        made.append(Line(source))
        return made[-1]

    yield make
    for one in made:
        one.close()
