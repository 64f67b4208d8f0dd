"""Which tests start processes, brokers or browsers, and what those that draw their cases at random draw.

Those share cores, ports and time with whatever else runs on the machine, so `deploy/test.sh` runs no more than two of
their files at once, in their order. All others depend on nothing outside themselves and run side by side, in any order.

A plain `pytest` draws other cases each time, which is how faults are found. `deploy/test.sh` draws the same ones for
the same code, so that a verdict can be repeated and a change is judged by itself.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

# No deadline in either: how long a case takes tells of the machine.
settings.register_profile("searching", deadline=None, print_blob=True)
settings.register_profile("repeatable", deadline=None, derandomize=True, database=None, print_blob=True)
settings.load_profile("searching")  # unless another is asked for

HERE = Path(__file__).parent
REAL = tuple(
    HERE / part
    for part in ("boards/test_processes.py", "cli/test_measure.py", "conformance", "link", "notify", "page", "system")
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if any(item.path.is_relative_to(part) for part in REAL):
            item.add_marker(pytest.mark.real)
