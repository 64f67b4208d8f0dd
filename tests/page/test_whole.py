"""One real rig behind the phone, simulated below its drivers: what a person sees and asks reaches guard and record."""

from __future__ import annotations

import itertools
import re
import signal
import threading
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from controller.cli.faults import FAULTS
from controller.record.logbook import KINDS
from tests.broker import until
from tests.page.stage import PASSWORD, bad_words, fresh_is, phone
from tests.page.whole import RIG, Whole, logged_in

PATIENCE_MS = 60_000  # five processes on a machine that may be busy


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Whole]:
    made = Whole(tmp_path_factory.mktemp("whole") / "rig")
    yield made
    made.close()


@pytest.fixture(scope="module")
def phone_of_ada(whole: Whole, browser_of_all: Browser) -> Iterator[Page]:
    """Ada's phone."""
    context = phone(browser_of_all)
    context.set_default_timeout(PATIENCE_MS)
    found = context.new_page()
    words = bad_words(found)
    found.goto(f"{whole.address}rig/{RIG}#act")
    found.get_by_label("Name").fill("ada")
    found.get_by_label("Password").fill("not the pass phrase")
    found.get_by_role("button", name="Log in").click()
    expect(found.get_by_role("alert")).to_contain_text("name or password is wrong")
    found.get_by_label("Password").fill(PASSWORD)
    found.get_by_role("button", name="Log in").click()
    found.get_by_role("button", name="Log out").wait_for()
    yield found
    context.close()
    assert words == []


@pytest.fixture
def now(phone_of_ada: Page) -> Page:
    """Her phone on its first screen, live."""
    phone_of_ada.get_by_role("link", name="Now").click()
    fresh_is(phone_of_ada, "live")
    return phone_of_ada


@pytest.fixture(scope="module")
def ada(whole: Whole) -> Iterator[httpx.Client]:
    with logged_in(whole.address) as client:
        yield client


PAUSE = threading.Event()
_numbers = itertools.count(1)


def ask(client: httpx.Client, verb: str, **more: Any) -> dict[str, Any]:
    """The guard's own answer."""
    found = client.post("/api/command", json={"rig": RIG, "verb": verb, "id": f"{next(_numbers):016x}", **more})
    assert found.status_code == 200, found.text
    answer: dict[str, Any] = found.json()
    return answer


def history(client: httpx.Client, what: str, **more: Any) -> dict[str, Any]:
    found = client.post("/api/history", json={"rig": RIG, "what": what, **more})
    assert found.status_code == 200, found.text
    answer: dict[str, Any] = found.json()
    assert answer["complete"], answer["why"]
    return answer


def rows(client: httpx.Client, what: str, so: Callable[[dict[str, Any]], bool]) -> list[dict[str, Any]]:
    """Those of the record for which it is so, once there are any."""
    found: list[dict[str, Any]] = []

    def some() -> bool:
        PAUSE.wait(1.0)  # the page asks the rig anew each 5 s at most
        found[:] = [row for row in history(client, what)["rows"] if so(row)]
        return bool(found)

    until(some, at_most_s=90.0, what=f"{what} in the record")
    return found


# Notes in the page itself when a first-out cause is first on the screen.
WATCH = """() => {
  window.shown = []
  new MutationObserver(() => {
    if (window.shown.length === 0 && document.querySelector('.cause.first-out')) window.shown.push(Date.now() / 1000)
  }).observe(document.body, { subtree: true, childList: true })
}"""


def test_a_page_that_is_not_enrolled_is_refused_a_start_and_its_stop_is_obeyed(whole: Whole, now: Page) -> None:
    whole.power_on(now)
    with logged_in(whole.strangers_page()) as stranger:
        until(lambda: whole.view(stranger)["arrived"] is not None, what="the stranger's page hears the rig")
        refused = ask(stranger, "set-current", number=20, text="try")
        assert refused["accepted"] is False
        assert "enrol" in refused["why"]
        assert ask(stranger, "stop")["accepted"] is True
    until(whole.demo.dead, what="power off", at_most_s=60.0)


def test_an_enrolled_pages_start_is_refused_in_the_guards_words_and_in_the_record(
    whole: Whole, now: Page, ada: httpx.Client
) -> None:
    ask(ada, "stop")
    until(lambda: whole.view(ada)["state"]["state"] in ("off", "cooling"), what="the stop at its end", at_most_s=60.0)
    assert whole.demo.dead()
    refused = ask(ada, "start", number=20, hours=1, text="sun is out")
    assert refused["accepted"] is False
    assert "enable" in refused["why"]  # nobody at the rig has given it
    assert rows(ada, "events", lambda row: row["what"] == "refused" and "start" in row["sentence"])
    assert whole.demo.dead()


def test_a_frozen_guard_is_never_shown_as_well_and_comes_back_tripped(whole: Whole, now: Page) -> None:
    whole.power_on(now)
    whole.guard(signal.SIGSTOP)
    fresh_is(now, "silent")
    expect(now.locator("blockquote.sentence")).to_be_visible()
    whole.guard(signal.SIGCONT)
    fresh_is(now, "live")
    now.locator(".cause.first-out").wait_for()  # it paused while power was on: that is a trip of its own


def test_a_fault_caused_on_the_phone_trips_the_rig_and_is_on_the_phone_within_a_second(
    whole: Whole, now: Page, ada: httpx.Client
) -> None:
    whole.power_on(now)
    expect(now.locator(".sim")).to_be_visible()
    expect(now.locator(".cause.first-out")).to_have_count(0)
    now.evaluate(WATCH)
    now.get_by_role("link", name="Act").click()
    now.get_by_role("button", name=f"Cause: {FAULTS['over-current'].title}").click()
    now.get_by_role("link", name="Now").click()
    now.locator(".cause.first-out").wait_for()
    expect(now.locator(".proven")).to_contain_text("main contactor open", timeout=PATIENCE_MS)
    decided_s = whole.view(ada)["state"]["causes"][0]["time_s"]
    shown_s = float(now.evaluate("() => window.shown[0]"))
    assert shown_s - decided_s < 1.0, shown_s - decided_s
    fresh_is(now, "live")


def test_an_alarm_is_acknowledged_and_put_aside_on_the_phone(now: Page, ada: httpx.Client, whole: Whole) -> None:
    """The trip before left one standing."""
    card = now.locator(".alarm.standing").first
    expect(card).to_contain_text("not yet seen", timeout=PATIENCE_MS)
    card.get_by_role("button", name="I have seen it").click()
    now.get_by_role("dialog").get_by_role("button", name="Hold: I have seen it").click()
    expect(now.locator("[data-answer=true]")).to_be_visible(timeout=PATIENCE_MS)
    now.get_by_role("button", name="Close").click()
    expect(card).not_to_contain_text("not yet seen", timeout=PATIENCE_MS)
    card.get_by_role("button", name="Put aside").click()
    now.get_by_label("Reason").fill("the cause is known")
    now.get_by_role("dialog").get_by_role("button", name="Hold: Put aside").click()
    expect(now.locator("[data-answer=true]")).to_be_visible(timeout=PATIENCE_MS)
    now.get_by_role("button", name="Close").click()
    expect(now.locator(".alarm", has_text="put aside until")).to_have_count(1, timeout=PATIENCE_MS)
    assert [a["acknowledged"] for a in whole.view(ada)["state"]["alarms"] if a["shelved_until_s"]] == [True]


def test_the_trips_incident_opens_on_the_phone_with_its_plots(
    whole: Whole, phone_of_ada: Page, ada: httpx.Client
) -> None:
    whole.restart_guard()
    assert rows(ada, "incidents", lambda row: row["name"] != "")
    phone_of_ada.get_by_role("link", name="Now").click()
    phone_of_ada.get_by_role("link", name="Record").click()
    phone_of_ada.locator(".opener").first.click()
    phone_of_ada.locator(".entry canvas").first.wait_for()
    expect(phone_of_ada.locator(".entry .log li").first).to_be_visible()
    expect(phone_of_ada.locator(".entry [role=img]").first).to_have_attribute(
        "aria-label", re.compile(r"between .* and ")
    )


def test_a_trend_holds_the_run_that_the_record_saw(ada: httpx.Client) -> None:
    lines = history(ada, "trend", signals=["current", "cell_temperature"], points=300)["trends"]
    amps, lye = (next(t for t in lines if t["signal"] == name) for name in ("current", "cell_temperature"))
    seen = [a for a in amps["value"] if a is not None]
    assert max(seen) > 5.0  # the least that a start asks for is more
    assert abs(seen[-1]) < 0.5
    assert all(15.0 < c < 70.0 for c in lye["value"] if c is not None)


def test_every_line_that_the_form_offers_is_one_that_the_record_takes(phone_of_ada: Page, ada: httpx.Client) -> None:
    amounts = {"density read": "1.236", "lye changed": "25", "gas collected": "0.4", "topped up": "150"}
    phone_of_ada.get_by_role("link", name="Now").click()
    phone_of_ada.get_by_role("link", name="Record").click()
    offered = phone_of_ada.locator("#logbook .chips button")
    expect(offered).to_have_count(len(KINDS))
    for at, title in enumerate(offered.all_inner_texts()):
        offered.nth(at).click()
        sheet = phone_of_ada.get_by_role("dialog")
        if title.lower() in amounts:
            sheet.locator("input[type=number]").fill(amounts[title.lower()])
        sheet.get_by_label("In words").fill(f"line {at} of this test")
        sheet.get_by_role("button", name="Write it down").click()
        expect(sheet.locator("[data-sent]")).to_be_visible(timeout=PATIENCE_MS)
        sheet.get_by_role("button", name="Close").click()
    until(
        lambda: {r["kind"] for r in rows(ada, "logbook", lambda row: row["who"] == "ada")} == set(KINDS),
        at_most_s=90.0,
        what="every kind of line in the record",
    )


def test_what_the_record_would_not_take_is_said_before_it_is_lost(ada: httpx.Client) -> None:
    no_side = {"rig": RIG, "kind": "topped up", "number": 600, "unit": "mL"}
    refused = ada.post("/api/logbook", json=no_side)
    assert refused.status_code == 400
    assert "needs a side" in refused.json()["why"]


def test_a_killed_guard_is_never_shown_as_well(whole: Whole, now: Page) -> None:
    """The last of this file: nothing comes back from it."""
    whole.guard(signal.SIGKILL)
    fresh_is(now, "silent")
    expect(now.locator(".band.lost")).to_contain_text("The guard has stopped reporting")
