"""Rigs are compiled once for all of these tests."""

from __future__ import annotations

from datetime import date

import pytest

from simulator.rehearsal.rigs import find
from simulator.rehearsal.world import Physical

TODAY = date(2026, 6, 1)  # a month after the shipped rig's proof tests


@pytest.fixture(scope="session")
def boathouse() -> Physical:
    return find("boathouse", TODAY)


@pytest.fixture(scope="session")
def minimal() -> Physical:
    return find("minimal", TODAY)
