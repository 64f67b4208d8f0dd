"""What a person sees: live values, trips, and every way in which nothing new arrives."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import paho.mqtt.publish as mqtt_publish
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from controller.link.broker import Address
from controller.link.messages import NotifyPresence
from controller.notify.ear import Ear
from tests.broker import until
from tests.page.conftest import Look
from tests.page.scenes import SCENES
from tests.page.stage import Stage, fresh_is, phone
from tests.page.troubles import HOSTILE

TAGS = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}}


COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}  # all that a theme changes


def violations(page: Page, rules: dict[str, Any] = TAGS) -> list[str]:
    """axe's findings in the page's present state, by rule and place."""
    found = Axe().run(page, options=rules).response["violations"]
    return [f"{v['id']}: {n['target']} {n['html'][:100]}" for v in found for n in v["nodes"]]


def test_the_first_value_is_in_the_html_before_any_script_has_run(stage: Stage, browser_of_all: Browser) -> None:
    until(lambda: "old when this page was sent" in stage.text())
    context = phone(browser_of_all, java_script_enabled=False)
    page = context.new_page()
    page.goto(stage.address)
    expect(page.locator("body")).to_contain_text("Running at 24 A")
    expect(page.locator(".fresh")).to_contain_text("old when this page was sent")
    expect(page.locator(".first-value")).to_contain_text("Lye temperature: 54.2 °C, 15.8 °C left")
    context.close()


def test_values_follow_the_rig_and_each_limit_says_how_far_it_is(stage: Stage, look: Look) -> None:
    page = look(stage)
    row = page.locator(".way", has_text="Lye temperature")
    expect(row.locator(".way-left")).to_have_text("15.8 °C left")
    expect(row.locator(".way-limit")).to_have_text("trips ≥ 70 °C")
    stage.link.show("running", values={"cell_temperature": 61.0})
    expect(row.locator(".way-left")).to_have_text("9.0 °C left")


def test_a_trip_is_on_the_screen_within_a_second_of_the_guards_word(stage: Stage, look: Look) -> None:
    page = look(stage)
    began_s = time.monotonic()
    stage.link.show("tripped")
    page.locator(".cause.first-out").wait_for()
    took_s = time.monotonic() - began_s
    expect(page.locator(".cause.first-out")).to_contain_text("came first")
    expect(page.locator(".sentence")).to_contain_text("Tripped: no coolant flow")
    assert took_s < 1.0, took_s


def test_the_worst_of_trips_and_alarms_is_on_the_first_screen_and_leads_to_what_to_do(stage: Stage, look: Look) -> None:
    page = look(stage)
    expect(page.locator(".strip")).to_have_text("No trip. No alarm.")
    stage.link.show("warm")
    expect(page.locator(".strip.alarm")).to_contain_text("Lye warm and 1 more")
    stage.link.show("tripped")
    expect(page.locator(".strip.trip")).to_contain_text("Coolant flow low and 1 more")
    assert page.locator(".strip").bounding_box()["y"] < 740 - 120  # type: ignore[index]
    page.locator(".strip").tap()
    expect(page.locator(".cause.first-out")).to_be_in_viewport()


def test_whether_anybody_would_be_told_is_said_in_words_and_never_looks_like_a_trip(stage: Stage, look: Look) -> None:
    """From no notify to one that speaks, one that dies, and one that only the broker remembers."""
    page = look(stage)
    line = page.locator("#leave [data-told]")
    expect(line).to_have_attribute("data-told", "nobody")
    expect(line).to_contain_text("Nobody would be told")
    expect(page.locator("#trouble .cause, #trouble .alarm, .strip.trip, .strip.alarm, .band.lost")).to_have_count(0)
    ear = Ear(Address(port=stage.broker.port), "watch")
    try:
        expect(line).to_have_attribute("data-told", "yes")
        expect(line).to_contain_text("people are told")
    finally:
        ear._client._sock_close()  # as a killed process: the broker sends its last will
        ear._client.loop_stop()
    expect(line).to_have_attribute("data-told", "nobody")
    word = NotifyPresence(present="here", time_s=1.0).model_dump_json()
    mqtt_publish.single("lyewatch/notify/watch", word, qos=1, retain=True, port=stage.broker.port)
    expect(line).to_have_attribute("data-told", "yes")  # heard as it was said
    stage.stop_page()
    stage.start_page()
    page.goto(stage.address)
    expect(line).to_have_attribute("data-told", "unknown")  # the broker's memory is no word of a notify
    expect(line).to_contain_text("not known yet")
    mqtt_publish.single("lyewatch/notify/watch", "", qos=1, retain=True, port=stage.broker.port)


def test_a_bypassed_limit_is_marked_and_not_shown_as_clear(stage: Stage, look: Look) -> None:
    page = look(stage)
    stage.link.show("in doubt")
    expect(page.locator(".yesno.bypassed")).to_contain_text("Level, oxygen side")
    expect(page.locator(".yesno.bypassed b")).to_have_text("bypassed")
    expect(page.locator(".yesno.bypassed .mark")).to_be_visible()


def test_rows_keep_their_places_whatever_their_values_do(stage: Stage, look: Look) -> None:
    page = look(stage)
    before = page.locator(".ways .way-title").all_inner_texts()
    stage.link.show("running", values={"room_hydrogen": 0.79, "cell_temperature": 30.0}, nearest="room hydrogen")
    expect(page.locator(".way.nearest")).to_contain_text("Hydrogen in the room")
    after = page.locator(".ways .way-title").all_inner_texts()
    assert [t.split("\n")[0].replace("nearest", "").strip() for t in before] == [
        t.split("\n")[0].replace("nearest", "").strip() for t in after
    ]


def test_a_frozen_guard_is_told_in_the_past_tense_and_back_when_it_thaws(stage: Stage, look: Look) -> None:
    page = look(stage)
    stage.link.frozen = True
    fresh_is(page, "silent")
    expect(page.locator("[data-fresh=silent].band")).to_contain_text("The guard has stopped reporting")
    expect(page.locator(".says")).to_contain_text("It said then:")
    expect(page.locator("blockquote.sentence")).to_contain_text("“Running at 24 A")
    expect(page.locator(".way").first.locator(".way-left")).to_have_text("had 15.8 °C left")
    expect(page.locator(".pulse")).to_have_text(re.compile(r"\d+ s old"))
    stage.link.frozen = False
    fresh_is(page, "live")
    expect(page.locator(".way").first.locator(".way-left")).to_have_text("15.8 °C left")


def test_a_guard_that_died_and_one_that_was_shut_down_are_two_texts(stage: Stage, look: Look) -> None:
    page = look(stage)
    stage.link.die()
    fresh_is(page, "gone")
    expect(page.locator(".band[data-fresh=gone]")).to_contain_text("The controller is gone")
    stage.link = stage.links["boathouse"] = type(stage.link)(stage.broker.port, "boathouse", period_s=0.5)
    stage.link.boot = "b2"
    fresh_is(page, "live")
    stage.link.close()
    fresh_is(page, "ended")
    expect(page.locator(".band[data-fresh=ended]")).to_contain_text("was shut down")


def test_a_lost_broker_is_said_at_once_and_the_page_comes_back_by_itself(stage: Stage, look: Look) -> None:
    page = look(stage)
    stage.broker.stop()
    fresh_is(page, "broker")
    expect(page.locator(".band[data-fresh=broker]")).to_contain_text("The page has lost the broker")
    stage.broker.start()
    page.locator("html[data-fresh=live]").wait_for(state="attached", timeout=30_000)


def test_a_dead_page_process_is_said_to_be_the_phones_own_loss(stage: Stage, look: Look) -> None:
    page = look(stage)
    stage.stop_page()
    fresh_is(page, "phone")
    expect(page.locator(".band[data-fresh=phone]")).to_contain_text("This phone has lost the page")
    stage.start_page()
    page.locator("html[data-fresh=live]").wait_for(state="attached", timeout=30_000)


def test_no_two_ways_of_hearing_nothing_share_a_text(stage: Stage, look: Look) -> None:
    page = look(stage)
    stage.link.frozen = True
    fresh_is(page, "silent")
    silent = page.locator(".band.lost").inner_text()
    stage.broker.stop()
    fresh_is(page, "broker")
    broker = page.locator(".band.lost").inner_text()
    stage.stop_page()
    fresh_is(page, "phone")
    lost = page.locator(".band.lost").inner_text()
    assert len({silent, broker, lost}) == 3


def test_a_lost_sensor_and_a_wrong_clock_are_told_apart_from_all_well(stage: Stage, look: Look) -> None:
    page = look(stage)
    expect(page.locator(".band")).to_have_count(0)
    stage.link.show("sensor lost")
    expect(page.locator("[data-doubt=sensor]")).to_contain_text("Lye temperature: sensor lost: no answer for 34 s")
    expect(page.locator(".way.unseen")).to_contain_text("not seen")
    assert "54.2" not in page.locator(".ways").inner_text()
    stage.link.show("wrong clock")
    expect(page.locator("[data-doubt=clock]")).to_contain_text("clock is not set")
    expect(page.locator(".since").first).to_have_text("running for 1 h 23 min")  # no time of day that may be wrong


def test_a_retained_message_alone_is_never_live(stage: Stage, look: Look) -> None:
    """Case A39, variant: the broker restarts with what it kept."""
    stage.link.frozen = True
    stage.stop_page()
    stage.start_page()  # hears only what the broker has kept
    page = look(stage, kind="retained")
    expect(page.locator("blockquote.sentence")).to_contain_text("Running at 24 A")
    expect(page.locator(".pulse.off")).to_be_visible()
    assert page.locator(".way:not(.stale)").count() == 0


def test_a_phone_that_slept_shows_what_it_has_as_old_and_then_is_live_again(stage: Stage, look: Look) -> None:
    """Case A39, variant: the phone slept for ten minutes."""
    page = look(stage)
    # its steady clock stood still, nothing was read, the wall clock has gone on
    woken = page.evaluate(
        """() => {
            const now = Date.now
            Date.now = () => now() + 600000
            document.dispatchEvent(new Event('visibilitychange'))
            return new Promise(done => setTimeout(() => done([document.documentElement.dataset.fresh,
              document.querySelector('.pulse').innerText.trim()]), 0))
        }"""
    )
    assert woken == ["phone", "10 min old"]
    fresh_is(page, "live")


def test_hostile_names_and_reasons_are_text_and_no_script_runs(stage: Stage, look: Look) -> None:
    stage.link.show("hostile")
    until(lambda: "owned" in stage.text())
    page = look(stage)
    expect(page.locator(".sentence")).to_contain_text(HOSTILE)
    for tab in ("#trends", "#record", "#act", "#now"):
        page.goto(stage.address + "/rig/boathouse" + tab)
        page.wait_for_timeout(200)
    assert page.locator("img").count() == 0
    assert page.title() != "owned"
    assert "<img" not in stage.text()


def test_fahrenheit_is_a_matter_of_this_phone_alone(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#act")
    page.get_by_role("button", name="°F").click()
    page.get_by_role("link", name="Now").click()
    row = page.locator(".way", has_text="Lye temperature")
    expect(row.locator(".way-left")).to_have_text("28 °F left")  # 15.8 K x 1.8
    expect(row.locator(".way-limit")).to_have_text("trips ≥ 158 °F")
    page.reload()
    expect(row.locator(".way-left")).to_have_text("28 °F left")
    assert "°F" not in look(stage).locator(".ways").inner_text()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_in_any_state(stage: Stage, look: Look, theme: str) -> None:
    page = look(stage, theme=theme)
    rules = TAGS if theme == "light" else COLOURS
    found = {}
    for name in SCENES:
        stage.link.show(name)
        expect(page.locator(".sentence").first).to_contain_text(SCENES[name](0.0).sentence.split(" C,")[0][:40])
        found[name] = violations(page, rules)
    stage.link.show("warm", simulated=True)
    for tab in ("trends", "record", "act"):
        page.goto(f"{stage.address}/rig/boathouse#{tab}")
        page.wait_for_timeout(600)
        found[tab] = violations(page, rules)
    page.goto(f"{stage.address}/rig/boathouse#now")
    stage.link.frozen = True
    fresh_is(page, "silent")
    found["stale"] = violations(page, rules)
    stage.stop_page()
    fresh_is(page, "phone")
    found["phone"] = violations(page, rules)
    assert {name: v for name, v in found.items() if v} == {}


def test_axe_would_find_a_pale_text(stage: Stage, look: Look) -> None:
    page = look(stage)
    page.evaluate("() => { document.querySelector('.since').style.color = '#c8c8c0' }")
    assert any("color-contrast" in v for v in violations(page))


@pytest.mark.parametrize("width", [320, 360])
def test_nothing_scrolls_sideways_and_every_target_is_a_thumb_wide(stage: Stage, look: Look, width: int) -> None:
    ada = stage.logged_in_as("ada", "operator")
    page = look(stage, viewport={"width": width, "height": 640}, storage_state=ada)
    small = []
    for scene, tab in [("warm", "now"), ("tripped", "now"), ("warm", "trends"), ("warm", "record"), ("off", "act")]:
        stage.link.show(scene, simulated=True)
        page.goto(f"{stage.address}/rig/boathouse#{tab}")
        page.wait_for_timeout(500)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width, (scene, tab)
        small += page.evaluate(
            """() => [...document.querySelectorAll('button, a, input, select')]
               .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
               .filter(([, r]) => r.width && (r.width < 48 || r.height < 48)).map(([h]) => h)"""
        )
    # a link inside a sentence, and the round of a radio button whose label is the target, are excepted (WCAG 2.5.8)
    assert [s for s in small if "openapi" not in s and 'type="radio"' not in s] == []


def test_two_rigs_are_listed_with_the_worst_first_and_keep_their_places(tmp_path: Path, look: Look) -> None:
    both = Stage(tmp_path, "--open-view", rigs=("annex", "boathouse"))
    try:
        both.links["boathouse"].show("tripped")
        until(lambda: '"trips":2' in both.text())
        page = look(both, kind=None)
        names = page.locator(".rigs b")
        expect(names).to_have_count(2)
        assert [n.strip() for n in names.all_inner_texts()] == ["boathouse", "annex"]
        both.links["boathouse"].show("running")
        both.links["annex"].show("tripped")
        expect(page.locator(".rigs li").nth(1)).to_contain_text("tripped")
        assert [n.strip() for n in names.all_inner_texts()] == ["boathouse", "annex"]
        page.get_by_text("annex").click()
        expect(page.locator("h1")).to_have_text("annex")
        expect(page.locator(".cause.first-out")).to_be_visible()
        page.get_by_role("link", name="All rigs").click()
        expect(names.first).to_have_text("annex")  # opened anew: the worst is another one
    finally:
        both.close()


def test_nothing_is_asked_of_anybody_else(stage: Stage, look: Look) -> None:
    page = look(stage, kind=None)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for tab in ("now", "trends", "record", "act"):
        page.goto(f"{stage.address}/rig/boathouse#{tab}")
        page.reload()
        fresh_is(page, "live")
    assert asked
    assert [a for a in asked if not a.startswith((stage.address, "data:"))] == []
