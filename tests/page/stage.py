"""A real broker, a real page process and a pretend rig; and a phone: Debian's Chromium at the size of one."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from controller.page.people import People
from controller.page.shell import DIST
from tests.broker import Mosquitto, free_port, until
from tests.page.pretend_link import PretendLink

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
PASSWORD = "a long pass phrase"


class Stage:
    """Everything behind the phone. `link` is the pretend rig."""

    def __init__(self, folder: Path, *options: str, rigs: tuple[str, ...] = ("boathouse",), dist: Path = DIST) -> None:
        self.folder, self.options = folder, (*options, "--dist", str(dist))
        self.broker = Mosquitto(folder / "broker")
        self.broker.start()
        self.links = {rig: PretendLink(self.broker.port, rig, period_s=0.5) for rig in rigs}
        self.link = self.links[rigs[0]]
        self.port = free_port()
        self.state = folder / "state"
        self._process: subprocess.Popen[bytes] | None = None
        self._tokens: dict[str, str] = {}
        self.start_page()

    @property
    def address(self) -> str:
        return f"{'https' if '--own-authority' in self.options else 'http'}://127.0.0.1:{self.port}"

    @property
    def process(self) -> subprocess.Popen[bytes]:
        assert self._process is not None
        return self._process

    @property
    def log(self) -> str:
        path = self.folder / "page.log"
        return path.read_text() if path.exists() else ""

    def _new_log(self) -> str:
        return self.log[self._log_begins :]

    def start_page(self) -> None:
        self._log_begins = len(self.log)
        command = [sys.executable, "-m", "controller.cli", "page", "--broker-port", str(self.broker.port)]
        command += ["--port", str(self.port), "--state", str(self.state), *self.options]
        with open(self.folder / "page.log", "ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            until(self._hears_all, what="the page hears every rig")
        except AssertionError:
            self.close()
            raise

    def _hears_all(self) -> bool:
        assert self.process.poll() is None, self.log
        try:
            answer = httpx.get(f"{self.address}/shell", verify=False, timeout=2)
        except httpx.HTTPError:
            return False
        return answer.status_code == 200 and all(f"rig {r!r} is heard" in self._new_log() for r in self.links)

    def stop_page(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGTERM)
            self._process.wait(10)
            self._process = None

    @property
    def well(self) -> bool:
        """Whether every process is still there, and every rig has a link that speaks."""
        there = self._process is not None and self._process.poll() is None and self.broker.runs
        return there and not any(link.ended for link in self.links.values())

    def as_new(self) -> None:
        """As it was when it was made: every rig runs and speaks, and the page has heard so."""
        numbers = {rig: link.as_new() for rig, link in self.links.items()}

        def heard() -> bool:
            return all(_number(self.text(f"/rig/{rig}")) >= number for rig, number in numbers.items())

        until(heard, what="every rig as new")

    def logged_in_as(self, name: str, role: str) -> dict[str, Any]:
        """What a browser keeps of somebody who is logged in. Logs in once: log-ins are slowed down."""
        if name not in self._tokens:
            self.person(name, role)
            with self.logged_in(name) as client:
                self._tokens[name] = client.cookies["lyewatch"]
        cookie = {"name": "lyewatch", "value": self._tokens[name], "domain": "127.0.0.1", "path": "/", "expires": -1}
        return {"cookies": [cookie | {"httpOnly": True, "secure": False, "sameSite": "Strict"}], "origins": []}

    def person(self, name: str, role: str) -> None:
        People(self.state).add(name, role, PASSWORD)

    def client(self, **more: Any) -> httpx.Client:
        """A program that asks as a browser does, from the page's own origin."""
        headers = {"Origin": self.address} | more.pop("headers", {})
        return httpx.Client(base_url=self.address, headers=headers, timeout=15, verify=False, **more)

    def text(self, path: str = "/") -> str:
        with self.client() as client:
            return client.get(path).text

    @contextmanager
    def logged_in(self, name: str) -> Iterator[httpx.Client]:
        with self.client() as client:
            answer = client.post("/api/login", json={"name": name, "password": PASSWORD})
            assert answer.status_code == 200, answer.text
            yield client

    def resident_mb(self) -> float:
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(status.split("VmRSS:")[1].split()[0]) / 1024

    def close(self) -> None:
        self.stop_page()
        for link in self.links.values():
            link.close()
        self.broker.stop()


def _number(html: str) -> int:
    """Under which the newest state in a page was told."""
    found = re.search(r'"number":(\d+)', html)
    return int(found[1]) if found else 0


@contextmanager
def chromium() -> Iterator[Browser]:
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


def phone(browser: Browser, theme: str = "light", workers: bool = False, **more: Any) -> BrowserContext:
    """360 x 740 at twice the density, with a finger."""
    settings: dict[str, Any] = {
        "viewport": {"width": 360, "height": 740},
        "device_scale_factor": 2,
        "is_mobile": True,
        "has_touch": True,
        "color_scheme": theme,
        "service_workers": "allow" if workers else "block",
        "locale": "en-US",
    }
    context = browser.new_context(**(settings | more))
    context.set_default_timeout(10_000)
    return context


def fresh_is(page: Page, kind: str) -> None:
    """Wait until the page says so."""
    page.locator(f"html[data-fresh={kind}]").wait_for(state="attached")


def bad_words(page: Page) -> list[str]:
    """Collects errors and violations of the policy from now on; blocked service workers are the test's own doing."""
    found: list[str] = []
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on(
        "console",
        lambda message: (
            found.append(message.text)
            if message.type == "error" and "Failed to load resource" not in message.text
            else None
        ),
    )
    return found


def freeze(pid: int) -> None:
    os.kill(pid, signal.SIGSTOP)


def thaw(pid: int) -> None:
    os.kill(pid, signal.SIGCONT)
