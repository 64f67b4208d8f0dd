"""The whole of it, nothing pretended but the physics: bench, guard, link, broker, page and a phone."""

from __future__ import annotations

import re
import signal
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from controller.cli.demo import Company, Demo
from controller.page.people import People
from tests.broker import until
from tests.page.stage import PASSWORD, bad_words, fresh_is, phone


class Whole:
    """What `lyewatch demo` starts, without its screen, which would end with the guard."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        self.company = Company(folder)
        self.demo = Demo(self.company, "boathouse")
        assert self.demo.start() == []  # nothing is left out
        self.address = self.demo.page
        until(self._answers, what="the page")
        self.demo.to_power()

    def _answers(self) -> bool:
        try:
            return httpx.get(f"{self.address}shell", timeout=2).status_code == 200
        except httpx.HTTPError:
            return False

    def guard(self, number: int) -> None:
        self.company._running["guard"].send_signal(number)


@pytest.fixture
def whole(tmp_path: Path) -> Iterator[Whole]:
    made = Whole(tmp_path / "rig")
    yield made
    made.company.end()


# Notes in the page itself when a first-out cause is first on the screen, and how old the cause then was.
WATCH = """() => {
  window.shown = []
  new MutationObserver(() => {
    if (window.shown.length === 0 && document.querySelector('.cause.first-out')) window.shown.push(Date.now() / 1000)
  }).observe(document.body, { subtree: true, childList: true })
}"""


def test_a_fault_caused_on_the_phone_trips_the_rig_and_is_on_the_phone_within_a_second(
    whole: Whole, browser_of_all: Browser
) -> None:
    context = phone(browser_of_all)
    page = context.new_page()
    words = bad_words(page)
    page.goto(whole.address)
    fresh_is(page, "live")
    expect(page.locator(".sim")).to_be_visible()
    expect(page.locator(".since").first).to_contain_text(re.compile("venting|running"), timeout=60_000)
    page.evaluate(WATCH)
    page.get_by_role("link", name="Act").click()
    page.get_by_role("button", name="Cause: the supply runs away").click()
    page.get_by_role("link", name="Now").click()
    page.locator(".cause.first-out").wait_for(timeout=20_000)
    expect(page.locator(".proven")).to_contain_text("main contactor open", timeout=20_000)
    decided_s = _number(page, "causes.0.time_s")
    shown_s = float(page.evaluate("() => window.shown[0]"))
    assert shown_s - decided_s < 1.0, shown_s - decided_s
    expect(page.locator("[data-fresh=live]").first).to_be_attached()
    assert words == []
    context.close()


def _number(page: Page, path: str) -> float:
    """A number in the rig's newest state, as the page's own stream has it."""
    found: float = page.evaluate(
        """async (path) => {
          const reader = (await fetch('/live', { cache: 'no-store' })).body.getReader()
          let text = ''
          while (!text.includes('\\n\\n')) text += new TextDecoder().decode((await reader.read()).value)
          await reader.cancel()
          return path.split('.').reduce((at, key) => at[key], JSON.parse(text.split('\\n\\n')[0].slice(6)).all.state)
        }""",
        path,
    )
    return found


def test_a_frozen_and_a_killed_guard_are_never_shown_as_well(whole: Whole, browser_of_all: Browser) -> None:
    context = phone(browser_of_all)
    page = context.new_page()
    page.goto(whole.address)
    fresh_is(page, "live")
    expect(page.locator(".since").first).to_contain_text(re.compile("venting|running"), timeout=60_000)
    whole.guard(signal.SIGSTOP)
    fresh_is(page, "silent")
    expect(page.locator("blockquote.sentence")).to_be_visible()
    whole.guard(signal.SIGCONT)
    fresh_is(page, "live")
    page.locator(".cause.first-out").wait_for()  # it paused while power was on: that is a trip of its own
    whole.guard(signal.SIGKILL)
    fresh_is(page, "silent")
    expect(page.locator(".band.lost")).to_contain_text("The guard has stopped reporting")
    context.close()


def test_the_guard_refuses_a_start_from_a_page_that_is_not_enrolled_and_obeys_its_stop(whole: Whole) -> None:
    People(whole.company.folder / "page").add("ada", "operator", PASSWORD)
    origin = {"Origin": whole.address.rstrip("/")}
    with httpx.Client(base_url=whole.address, headers=origin, timeout=20) as client:
        assert client.post("/api/login", json={"name": "ada", "password": PASSWORD}).status_code == 200
        current = {"rig": "boathouse", "verb": "set-current", "number": 20, "text": "try", "id": "1" * 16}
        refused = client.post("/api/command", json=current).json()
        assert refused["accepted"] is False
        assert "enrol" in refused["why"]
        stopped = client.post("/api/command", json={"rig": "boathouse", "verb": "stop", "id": "2" * 16}).json()
        assert stopped["accepted"] is True
    until(whole.demo.dead, what="power off")
