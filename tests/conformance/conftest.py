"""Every jig in turn: real driver, emulated chip, fake."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.hardware.ports import Ports

from .jigs import JIGS, Jig


@pytest.fixture(scope="module", params=JIGS, ids=lambda made: made.__name__)
def jig(request: pytest.FixtureRequest) -> Iterator[Jig]:
    with tempfile.TemporaryDirectory(prefix="jig") as folder, request.param(Path(folder)) as made:
        yield made


@pytest.fixture
def ports(jig: Jig) -> Iterator[Ports]:
    opened = jig.open()
    yield opened
    opened.close()
