"""What a person asks from the phone: held, reasoned, signed, and answered by the guard before it shows as done."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from playwright.sync_api import Locator, Page, expect

from controller.cli.faults import FAULTS
from controller.page.signing import page_key
from tests.page.conftest import Look
from tests.page.stage import PASSWORD, Stage, fresh_is


def hold(page: Page, button: Locator) -> None:
    """A thumb that presses and stays until something has happened."""
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()


def log_in(page: Page, stage: Stage, name: str) -> None:
    page.goto(f"{stage.address}/rig/boathouse#act")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("button", name="Log out").wait_for()
    fresh_is(page, "live")


@pytest.fixture
def operator(stage: Stage, look: Look) -> Page:
    page = look(stage, "/rig/boathouse#act", storage_state=stage.logged_in_as("ada", "operator"))
    page.get_by_role("button", name="Log out").wait_for()
    return page


def test_a_held_stop_is_asked_at_once_and_shows_the_guards_answer(stage: Stage, look: Look) -> None:
    stage.link.answer = lambda ask: (True, "stopping: 24.0 A going down")
    page = look(stage)
    hold(page, page.get_by_role("button", name="Stop", exact=True))
    expect(page.locator("[data-answer=true]")).to_contain_text("stopping: 24.0 A going down")
    page.mouse.up()
    asked = stage.link.asked.get_nowait()
    assert (asked.verb, asked.signature) == ("stop", "")  # unsigned: obeyed also where this page is not enrolled
    assert stage.link.asked.empty()


def test_a_tap_on_stop_asks_first(stage: Stage, look: Look) -> None:
    page = look(stage)
    page.get_by_role("button", name="Stop", exact=True).tap()
    expect(page.get_by_role("dialog")).to_contain_text("Nothing starts again by itself")
    assert stage.link.asked.empty()
    page.get_by_role("button", name="Stop now").tap()
    expect(page.locator("[data-answer=true]")).to_be_visible()
    assert stage.link.asked.get_nowait().verb == "stop"


@pytest.mark.parametrize("tab", ["now", "trends", "record", "act"])
def test_stop_is_within_reach_on_every_part(stage: Stage, look: Look, tab: str) -> None:
    page = look(stage, f"/rig/boathouse#{tab}")
    box = page.get_by_role("button", name="Stop", exact=True).bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 740
    assert box["y"] > 600


def test_a_stop_is_tried_although_nothing_is_heard_of_the_rig(stage: Stage, look: Look) -> None:
    page = look(stage)
    stage.link.frozen = True
    fresh_is(page, "silent")
    hold(page, page.get_by_role("button", name="Stop", exact=True))
    expect(page.locator("[data-answer=true]")).to_be_visible()


def test_a_start_needs_an_end_and_a_reason_and_is_signed_with_the_newest_challenge(
    stage: Stage, operator: Page
) -> None:
    stage.link.show("off", enabled_until_s=None, cells=3)
    operator.get_by_role("button", name="Start a run").click()
    start = operator.get_by_role("button", name="Hold: Start a run")
    expect(start).to_have_attribute("aria-disabled", "true")
    operator.get_by_label("Current, A").fill("24")
    operator.get_by_label("How many").fill("10")
    operator.get_by_label("Reason").fill("a bag for the flame test")
    expect(start).to_have_attribute("aria-disabled", "false")
    hold(operator, start)
    operator.locator("[data-answer=true]").wait_for()
    asked = stage.link.asked.get_nowait()
    key = page_key(stage.state)
    Ed25519PublicKey.from_public_bytes(key.public).verify(bytes.fromhex(asked.signature), asked.signed.encode())
    said = json.loads(asked.signed)
    assert said["do"] == "start"
    assert said["who"] == "ada"
    assert said["text"] == "a bag for the flame test"
    assert said["number"] == 24.0
    assert said["challenge"].startswith("c-")
    # 10 L at 25 C and 1 atm are 0.4087 mol; 2 F each, shared by three cells in series (Faraday; CODATA constants)
    assert said["charge_c"] == pytest.approx(0.40874 * 2 * 96485.332 / 3, rel=1e-3)


def test_a_refusal_is_shown_in_the_guards_own_words_and_nothing_as_done(stage: Stage, operator: Page) -> None:
    stage.link.show("tripped", remote_may=["reset"])
    stage.link.answer = lambda ask: (False, "this trip is reset at the rig only")
    operator.get_by_role("button", name="Reset the trip").click()
    operator.get_by_label("Reason").fill("hose was kinked")
    hold(operator, operator.get_by_role("button", name="Hold: Reset the trip"))
    expect(operator.locator("[data-answer=false]")).to_contain_text("The guard refused")
    expect(operator.locator("[data-answer=false]")).to_contain_text("this trip is reset at the rig only")
    assert operator.locator("[data-answer=true]").count() == 0


def test_no_answer_is_said_to_be_unknown(stage: Stage, operator: Page) -> None:
    stage.link.answer = lambda ask: None
    hold(operator, operator.get_by_role("button", name="Stop", exact=True))
    expect(operator.locator("[data-answer=null]")).to_contain_text("not known whether it was done", timeout=12_000)


def test_what_the_rig_file_does_not_grant_is_not_offered(stage: Stage, operator: Page) -> None:
    stage.link.show("tripped", remote_may=["stop"])
    expect(operator.locator("#commands")).to_contain_text("The rig file does not let this be asked from afar")
    assert operator.get_by_role("button", name="Reset the trip").count() == 0


def test_a_viewer_is_offered_a_stop_and_nothing_else(stage: Stage, look: Look) -> None:
    stage.person("eve", "viewer")
    page = look(stage)
    log_in(page, stage, "eve")
    expect(page.locator("#commands")).to_contain_text("Log in as operator")
    assert page.locator("#commands button").count() == 0


def test_an_alarm_is_acknowledged_by_name(stage: Stage, operator: Page) -> None:
    stage.link.show("warm")
    operator.get_by_role("link", name="Now").click()
    operator.locator(".alarm", has_text="Lye warm").get_by_role("button", name="I have seen it").click()
    hold(operator, operator.get_by_role("button", name="Hold: I have seen it"))
    operator.locator("[data-answer=true]").wait_for()
    asked = stage.link.asked.get_nowait()
    assert (asked.verb, asked.subject, json.loads(asked.signed)["who"]) == ("acknowledge", "lye warm", "ada")


def test_a_jug_of_water_is_written_down_in_two_taps(stage: Stage, operator: Page) -> None:
    operator.get_by_role("link", name="Now").click()
    operator.get_by_role("button", name="I topped up").tap()
    operator.get_by_role("button", name="600 mL").tap()
    operator.locator("[data-sent]").wait_for()
    entry = stage.link.logged.get_nowait()
    assert (entry.kind, entry.number, entry.unit, entry.who) == ("topped up", 600.0, "mL", "ada")


def test_faults_are_offered_on_a_simulated_rig_only_and_it_says_so_everywhere(
    tmp_path: Path, look: Look, bench_folder: Path
) -> None:
    stage = Stage(tmp_path / "s", "--open-view", "--open-faults", "--bench", f"boathouse={bench_folder}")
    try:
        stage.link.show("running", simulated=False)
        page = look(stage, "/rig/boathouse#act")
        assert page.locator("#faults").count() == 0
        with stage.client() as client:
            refused = client.post("/api/fault", json={"rig": "boathouse", "name": "coolant-lost"})
        assert (refused.status_code, refused.json()["why"]) == (403, "this rig is not simulated")
        stage.link.show("running", simulated=True)
        for tab in ("now", "trends", "record", "act"):
            page.goto(f"{stage.address}/rig/boathouse#{tab}")
            expect(page.locator(".sim")).to_have_text("Simulated: no real rig")
        cause, clear = (f"{does}: {FAULTS['coolant-lost'].title}" for does in ("Cause", "Clear"))
        page.get_by_role("button", name=cause).click()
        page.get_by_role("button", name=clear).click()
        expect(page.get_by_role("button", name=cause)).to_be_visible()
    finally:
        stage.close()
