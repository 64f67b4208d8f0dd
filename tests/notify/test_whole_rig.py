"""The real link and the real guard on a bench, killed as memory runs short kills: the word comes from elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.cli.demo import Company, Demo
from controller.notify.decide import Rules
from tests.broker import Mosquitto, mosquitto, until
from tests.notify.ends import Web, web
from tests.notify.test_process import notifying

PATIENCE_S = 60.0
SILENT_S = 12.0  # three minutes as they ship; here a little more than a will takes


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as found:
        yield found


class Rig:
    """Bench, guard and link, each a process. The first start comes up tripped, which is told."""

    def __init__(self, folder: Path, broker: Mosquitto) -> None:
        self._broker = broker
        self.company = Company(folder)
        self.demo = Demo(self.company, "minimal")
        self.company.lyewatch("bench", "bench", "minimal", "--dir", str(folder))
        until((folder / "control").exists, PATIENCE_S)
        self.demo.start_guard()
        self.start_link()

    def start_link(self) -> None:
        arguments = ("minimal", "--bench", str(self.company.folder), "--broker-port", str(self._broker.port))
        self.company.lyewatch("link", "link", *arguments)


def told(person: Web, what: str) -> dict[str, str] | None:
    return next((got for got in person.got if what in got["title"]), None)


@pytest.mark.parametrize("part", ["link", "guard"])
def test_killing_a_part_of_the_rig_is_told_from_elsewhere_and_so_is_its_return(
    part: str, tmp_path: Path, broker: Mosquitto
) -> None:
    folder = tmp_path / "rig"
    folder.mkdir()
    with web() as first, web() as second, notifying(broker, first, second, Rules(silent_s=SILENT_S)):
        rig = Rig(folder, broker)
        try:
            until(lambda: told(first, "tripped") is not None, PATIENCE_S, "the first start's trip")
            rig.company.kill(part)
            until(lambda: told(first, "silent") is not None, PATIENCE_S, "silence")
            if part == "link":
                rig.start_link()
            else:
                rig.demo.start_guard()
            until(lambda: told(first, "back") is not None, PATIENCE_S, "the return")
        finally:
            rig.company.end()
    silence = told(first, "silent")
    assert silence is not None
    assert silence["title"].startswith("SIMULATED, minimal: silent")
