"""All of it, nothing pretended but the physics: bench, guard, link, broker and page, each a process of its own."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
from click.testing import CliRunner
from playwright.sync_api import Page

from controller.cli.demo import Company, Demo
from controller.cli.enrol import enrol
from controller.cli.guard import Handed, in_memory
from controller.cli.rigs import path_of
from controller.guard.main import Places
from controller.page.people import People
from controller.page.signing import page_key
from tests.broker import free_port, until
from tests.page.stage import PASSWORD
from tests.system.site import quick_rig

RIG = "boathouse"


class QuickDemo(Demo):
    """The demo with a guard that has no waits between starts, so that one set of processes serves many tests."""

    def start_guard(self) -> dict[str, Any]:
        rig, hardware = quick_rig()
        places = Places(path_of(RIG), self.folder, self.folder / "state", self.folder, ("bench",))
        handed = in_memory(Handed(rig, hardware, places, self.folder))
        with (self.folder / "guard.log").open("ab") as log:
            self.company._running["guard"] = subprocess.Popen(
                [sys.executable, "-m", "controller.cli.guard_process", str(handed)],
                pass_fds=[handed],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        os.close(handed)
        return self.guard_answers()


class Whole:
    """One rig with its page, whose key is enrolled; ada is an operator there."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        self.folder = folder
        self.company = Company(folder)
        self.demo = QuickDemo(self.company, RIG)
        key = page_key(folder / "page")
        enrolled = CliRunner().invoke(
            enrol,
            [key.public.hex(), "--whose", "this test", "--code", key.id, "--state-dir", str(folder / "state")],
        )
        assert enrolled.exit_code == 0, enrolled.output
        People(folder / "page").add("ada", "operator", PASSWORD)
        try:
            assert self.demo.start() == []  # nothing is left out
            self.address = self.demo.page
            until(lambda: answers(self.address), what="the page", at_most_s=60.0)
        except BaseException:
            self.close()
            raise

    def strangers_page(self) -> str:
        """The address of a second page on the same broker, whose key nobody has enrolled."""
        port, state = free_port(), self.folder / "stranger"
        People(state).add("ada", "operator", PASSWORD)
        broker = re.search(r"listener (\d+)", (self.folder / "broker.conf").read_text())
        assert broker is not None
        self.company.lyewatch(
            "stranger", "page", "--broker-port", broker[1], "--port", str(port), "--state", str(state)
        )
        address = f"http://127.0.0.1:{port}/"
        until(lambda: answers(address), what="the stranger's page", at_most_s=60.0)
        return address

    def guard(self, number: int) -> None:
        self.company._running["guard"].send_signal(number)

    def restart_guard(self) -> None:
        """In order, so that it writes what it has of an incident now and not two minutes after the trip."""
        guard = self.company._running["guard"]
        guard.terminate()
        guard.wait(60.0)
        self.demo.start_guard()

    def view(self, client: httpx.Client) -> dict[str, Any]:
        """What that page now tells a phone that looks at the rig."""
        with client.stream("GET", "/live", params={"rig": RIG}) as live:
            line = next(line for line in live.iter_lines() if line.startswith("data: "))
        found: dict[str, Any] = json.loads(line[6:])["all"]
        return found

    def power_on(self, page: Page) -> None:
        """Power flows and the phone says so. On a busy machine a guard may trip itself meanwhile: then again."""
        self.demo.to_power()

        def shown() -> bool:
            said = page.locator(".since").first.inner_text()
            if said.startswith(("tripped", "cooling", "off")):
                self.demo.to_power()
            return said.startswith(("ramping", "venting", "running"))

        until(shown, at_most_s=120.0, what="power on the phone")

    def close(self) -> None:
        self.company.end()


def answers(address: str) -> bool:
    try:
        return httpx.get(f"{address}shell", timeout=2).status_code == 200
    except httpx.HTTPError:
        return False


@contextmanager
def logged_in(address: str) -> Iterator[httpx.Client]:
    """As ada, from the page's own origin."""
    with httpx.Client(base_url=address, headers={"Origin": address.rstrip("/")}, timeout=30) as client:
        found = client.post("/api/login", json={"name": "ada", "password": PASSWORD})
        assert found.status_code == 200, found.text
        yield client
