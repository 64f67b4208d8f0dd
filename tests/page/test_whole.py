"""The whole of it, nothing pretended but the physics: bench, guard, link, broker, page and a phone."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.broker import until
from tests.page.stage import bad_words, fresh_is, phone


class Demo:
    """`lyewatch demo`, as a person starts it."""

    def __init__(self, folder: Path) -> None:
        self.log = folder / "demo.log"
        command = [sys.executable, "-m", "controller.cli", "demo", "--plain", "--dir", str(folder / "rig")]
        with open(self.log, "wb") as log:
            self.process = subprocess.Popen(command, stdout=log, stderr=log)
        until(lambda: "Phone page:" in self.log.read_text(), what="the demo's page")
        found = re.search(r"Phone page: (\S+)", self.log.read_text())
        assert found
        self.address = found[1]
        until(self._answers, what="the page")

    def _answers(self) -> bool:
        try:
            return httpx.get(f"{self.address}shell", timeout=2).status_code == 200
        except httpx.HTTPError:
            return False

    def guard(self) -> int:
        """The process that watches."""
        for path in Path("/proc").glob("[0-9]*/stat"):
            try:
                parent = int(path.read_text().rsplit(")", 1)[1].split()[1])
                words = (path.parent / "cmdline").read_text().split("\0")
            except (OSError, ValueError):
                continue
            if parent == self.process.pid and any("guard_process" in w or w == "guard" for w in words):
                return int(path.parent.name)
        raise AssertionError("no guard runs")

    def close(self) -> None:
        self.process.send_signal(signal.SIGINT)
        self.process.wait(20)


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    made = Demo(tmp_path)
    yield made
    made.close()


# Notes in the page itself when a first-out cause is first on the screen, and how old the cause then was.
WATCH = """() => {
  window.shown = []
  new MutationObserver(() => {
    if (window.shown.length === 0 && document.querySelector('.cause.first-out')) window.shown.push(Date.now() / 1000)
  }).observe(document.body, { subtree: true, childList: true })
}"""


def test_a_fault_caused_on_the_phone_trips_the_rig_and_is_on_the_phone_within_a_second(
    demo: Demo, browser_of_all: Browser
) -> None:
    context = phone(browser_of_all)
    page = context.new_page()
    words = bad_words(page)
    page.goto(demo.address)
    fresh_is(page, "live")
    expect(page.locator(".sim")).to_be_visible()
    expect(page.locator(".since").first).to_contain_text(re.compile("venting|running"), timeout=60_000)
    page.evaluate(WATCH)
    page.get_by_role("link", name="Act").click()
    page.get_by_role("button", name="Cause: the supply runs away").click()
    page.get_by_role("link", name="Now").click()
    page.locator(".cause.first-out").wait_for(timeout=20_000)
    expect(page.locator(".proven")).to_contain_text("main contactor open", timeout=20_000)
    decided_s = float(_state(page, "causes.0.time_s"))
    shown_s = float(page.evaluate("() => window.shown[0]"))
    assert shown_s - decided_s < 1.0, shown_s - decided_s
    expect(page.locator("[data-fresh=live]").first).to_be_attached()
    assert words == []
    context.close()


def _state(page: Page, path: str) -> object:
    """A field of the rig's newest state, as the page's own stream has it."""
    return page.evaluate(
        """async (path) => {
          const reader = (await fetch('/live', { cache: 'no-store' })).body.getReader()
          let text = ''
          while (!text.includes('\\n\\n')) text += new TextDecoder().decode((await reader.read()).value)
          await reader.cancel()
          return path.split('.').reduce((at, key) => at[key], JSON.parse(text.split('\\n\\n')[0].slice(6)).all.state)
        }""",
        path,
    )


def test_a_frozen_and_a_killed_guard_are_never_shown_as_well(demo: Demo, browser_of_all: Browser) -> None:
    context = phone(browser_of_all)
    page = context.new_page()
    page.goto(demo.address)
    fresh_is(page, "live")
    expect(page.locator(".since").first).to_contain_text(re.compile("venting|running"), timeout=60_000)
    guard = demo.guard()
    os.kill(guard, signal.SIGSTOP)
    fresh_is(page, "silent")
    expect(page.locator("blockquote.sentence")).to_be_visible()
    os.kill(guard, signal.SIGCONT)
    fresh_is(page, "live")
    page.locator(".cause.first-out").wait_for()  # it paused while power was on: that is a trip of its own
    os.kill(guard, signal.SIGKILL)
    fresh_is(page, "silent")
    expect(page.locator(".band.lost")).to_contain_text("The guard has stopped reporting")
    context.close()
