"""Pictures of every state, to be looked at: `python -m tests.page.pictures FOLDER [--theme dark] [--size 1280x800]`.

Whole pages, as a phone shows them. No test can judge whether a page is calm, legible or cut off; a person can.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect

from tests.broker import until
from tests.page.scenes import SCENES
from tests.page.stage import PASSWORD, Stage, chromium, fresh_is, phone

RIG = "/rig/boathouse"
Show = Callable[[Stage, Page], None]


def _to(tab: str, scene: str, ready: str) -> Show:
    def show(stage: Stage, page: Page) -> None:
        stage.link.show(scene)
        page.goto(f"{stage.address}{RIG}#{tab}")
        page.locator(ready).first.wait_for()
        page.wait_for_timeout(400)  # canvases are drawn after they are there

    return show


def _scene(name: str) -> Show:
    def show(stage: Stage, page: Page) -> None:
        said = stage.link.show(name).sentence
        expect(page.locator(".sentence").first).to_contain_text(said.split(" C,")[0][:40])  # its C is shown as °C

    return show


def _opened(stage: Stage, page: Page) -> None:
    _to("record", "tripped", ".opener")(stage, page)
    page.locator(".opener").first.click()
    page.locator(".entry canvas").first.wait_for()
    page.wait_for_timeout(400)


def _sheet(scene: str, tab: str, button: str) -> Show:
    def show(stage: Stage, page: Page) -> None:
        stage.link.show(scene)
        page.goto(f"{stage.address}{RIG}#{tab}")
        page.get_by_role("button", name=button).first.click()
        page.get_by_role("dialog").wait_for()

    return show


def _answered(stage: Stage, page: Page) -> None:
    stage.link.answer = lambda ask: (False, "tripped by 'coolant flow low': reset it first")
    _sheet("running", "act", "Set the current …")(stage, page)
    page.get_by_label("Reason").fill("more sun")
    page.get_by_role("button", name="Hold: Set the current").click()
    page.locator("[data-answer]").wait_for()


def _stale(stage: Stage, page: Page) -> None:
    stage.link.show("warm")
    page.goto(f"{stage.address}{RIG}#now")
    page.evaluate("() => scrollTo(0, 0)")
    fresh_is(page, "live")
    stage.link.frozen = True
    fresh_is(page, "silent")


def _killed(stage: Stage, page: Page) -> None:
    stage.link.die()
    fresh_is(page, "gone")


def _no_broker(stage: Stage, page: Page) -> None:
    stage.broker.stop()
    fresh_is(page, "broker")


def _no_page(stage: Stage, page: Page) -> None:
    stage.stop_page()
    fresh_is(page, "phone")


# In this order: the last ones end something for good.
OPERATOR: dict[str, Show] = {
    **{name: _scene(name) for name in SCENES},
    "trends": _to("trends", "running", "canvas"),
    "record": _to("record", "tripped", ".opener"),
    "incident": _opened,
    "act off": _to("act", "off", ".login, [type=button]"),
    "act running": _to("act", "running", "#commands"),
    "act simulated": _to("act", "simulated", "#faults"),
    "act tripped": _to("act", "tripped", "#commands"),
    "start": _sheet("off", "act", "Start a run …"),
    "stop": _sheet("running", "now", "Stop"),
    "refused": _answered,
    "top-up": _sheet("running", "now", "I topped up …"),
    "stale": _stale,
    "guard dead": _killed,
    "broker lost": _no_broker,
    "phone alone": _no_page,
}


def _log_in(stage: Stage, page: Page) -> None:
    page.goto(f"{stage.address}{RIG}#act")
    page.get_by_label("Name").fill("ada")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("button", name="Log out").wait_for()
    page.goto(f"{stage.address}{RIG}#now")
    fresh_is(page, "live")


def _take(stage: Stage, page: Page, shows: dict[str, Show], only: list[str], folder: Path) -> None:
    for name, show in shows.items():
        if only and name not in only:
            continue
        page.evaluate("() => scrollTo(0, 0)")
        show(stage, page)
        over = page.get_by_role("dialog").count() > 0  # a sheet covers what is in view, not a whole page
        page.screenshot(path=folder / f"{name.replace(' ', '-')}.png", full_page=not over)
        if over:
            page.keyboard.press("Escape")


def _others(stage: Stage, page: Page) -> None:
    stage.links["boathouse"].show("warm")
    stage.links["annex"].show("tripped")
    until(lambda: '"trips":2' in stage.text())
    page.goto(stage.address)
    page.locator(".rigs li").nth(1).wait_for()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", nargs="+", default=[], metavar="NAME")
    parser.add_argument("--theme", choices=("light", "dark"), default="light")
    parser.add_argument("--size", default="360x740", help="width x height")
    asked = parser.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    width, height = map(int, asked.size.split("x"))
    size: dict[str, Any] = {"viewport": {"width": width, "height": height}, "device_scale_factor": 1}
    with chromium() as browser, tempfile.TemporaryDirectory() as scratch:
        page = phone(browser, theme=asked.theme, **size).new_page()
        shut = Stage(Path(scratch) / "shut")
        try:
            page.goto(shut.address)
            page.get_by_label("Password").wait_for()
            _take(shut, page, {"login": lambda _s, _p: None}, asked.only, asked.folder)
        finally:
            shut.close()
        two = Stage(Path(scratch) / "two", "--open-view", rigs=("annex", "boathouse"))
        try:
            _take(two, page, {"two rigs": _others}, asked.only, asked.folder)
        finally:
            two.close()
        stage = Stage(Path(scratch) / "one", "--open-view")
        try:
            stage.person("ada", "operator")
            _log_in(stage, page)
            _take(stage, page, OPERATOR, asked.only, asked.folder)
        finally:
            stage.close()
    sys.stdout.write(f"{len(list(asked.folder.glob('*.png')))} pictures in {asked.folder}\n")


if __name__ == "__main__":
    main()
