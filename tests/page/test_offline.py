"""The page as it is kept on the phone: it opens without a network, shows no number, gives way to a newer one."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from playwright.sync_api import Browser, Error, Page, expect

from controller.page import shell
from tests.broker import until
from tests.page.stage import Stage, fresh_is, phone


def kept(page: Page) -> None:
    """Wait until the service worker has the shell and answers for the page."""
    page.evaluate(
        """() => navigator.serviceWorker.ready.then(() => new Promise(done => {
             if (navigator.serviceWorker.controller) done()
             else navigator.serviceWorker.addEventListener('controllerchange', done) }))"""
    )


def build_of(page: Page) -> str:
    """Which page the phone shows now; "" while it is being replaced."""
    page.wait_for_timeout(100)
    try:
        return str(page.evaluate("() => window.lyewatch.build"))
    except Error:
        return ""


def test_offline_it_opens_says_so_and_shows_no_number(stage: Stage, browser_of_all: Browser) -> None:
    context = phone(browser_of_all, workers=True)
    page = context.new_page()
    page.goto(stage.address)
    fresh_is(page, "live")
    kept(page)
    context.set_offline(True)
    page.reload()
    fresh_is(page, "phone")
    expect(page.locator(".band")).to_contain_text("This phone has lost the page")
    assert not re.search(r"\d", page.locator("main").inner_text())
    context.set_offline(False)
    fresh_is(page, "live")
    expect(page.locator(".way").first).to_contain_text("15.8 °C left")
    context.close()


def test_what_is_kept_holds_nothing_that_a_rig_said(stage: Stage, browser_of_all: Browser) -> None:
    context = phone(browser_of_all, workers=True)
    page = context.new_page()
    page.goto(stage.address)
    fresh_is(page, "live")
    kept(page)
    everything = page.evaluate(
        """async () => { let all = ''
          for (const key of await caches.keys()) { const c = await caches.open(key)
            for (const r of await c.keys()) { all += r.url + ' ' + await (await c.match(r)).text() } }
          return all }"""
    )
    assert "/shell" in everything
    assert "boathouse" not in everything
    assert "Running at" not in everything
    context.close()


def test_a_newer_page_replaces_the_kept_one_by_itself(tmp_path: Path, browser_of_all: Browser) -> None:
    mark = "--dist-of-this-test"
    dist = tmp_path / "dist"
    shutil.copytree(shell.DIST, dist)
    stage = Stage(tmp_path, "--open-view", dist=dist)
    context = phone(browser_of_all, workers=True)
    try:
        page = context.new_page()
        page.goto(stage.address)
        fresh_is(page, "live")
        kept(page)
        stage.stop_page()
        (dist / "app.css").write_text((dist / "app.css").read_text() + f":root{{{mark}:1}}")
        stage.start_page()
        newer = shell.read_built(dist).build
        until(lambda: build_of(page) == newer, at_most_s=30.0)
        fresh_is(page, "live")
        context.set_offline(True)
        page.reload()
        fresh_is(page, "phone")
        assert page.evaluate("() => window.lyewatch.build") == newer  # the kept one is the newer one too
    finally:
        context.close()
        stage.close()
