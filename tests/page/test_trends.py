"""Trends and incidents as a finger finds them: drawn, moved, zoomed, with gaps and marks."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from playwright.sync_api import CDPSession, Page, expect

from controller.link.messages import HistoryAsk, HistoryReply
from tests.broker import until
from tests.page import pretend_link
from tests.page.conftest import Look
from tests.page.stage import Stage


def drawn(page: Page) -> None:
    page.locator(".plot-box canvas").first.wait_for()


def dark_points(page: Page) -> int:
    """How many points of the first picture are painted at all."""
    count: int = page.locator(".plot-box canvas").first.evaluate(
        """c => c.getContext('2d').getImageData(0, 0, c.width, c.height).data
               .filter((v, i) => i % 4 === 3 && v > 0).length"""
    )
    return count


def asked(page: Page) -> list[dict[str, Any]]:
    """Bodies of the trend questions from now on."""
    found: list[dict[str, Any]] = []

    def see(request: Any) -> None:
        if request.url.endswith("/api/history") and request.post_data_json["what"] == "trend":
            found.append(request.post_data_json)

    page.on("request", see)
    return found


def until_asked(page: Page, reached: Callable[[], bool], what: str) -> None:
    """Playwright tells of requests only while it is itself waiting."""

    def look() -> bool:
        page.wait_for_timeout(50)
        return reached()

    until(look, what=what)


def test_an_hour_is_drawn_with_limits_and_told_in_words(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#trends")
    drawn(page)
    assert dark_points(page) > 3000
    said = page.locator(".plot-box").first.get_attribute("aria-label") or ""
    assert re.match(r"Lye temperature: between [\d.]+ °C and [\d.]+ °C, last [\d.]+ °C", said), said
    assert "trips 70 °C" in said
    assert "alarm 60 °C" in said


def test_signals_are_chosen_by_tapping_and_kept_on_this_phone(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#trends")
    drawn(page)
    page.get_by_role("button", name="Coolant flow", exact=True).tap()
    expect(page.locator("figure")).to_have_count(2)
    expect(page.locator("figcaption").nth(1)).to_contain_text("Coolant flow")
    page.reload()
    expect(page.locator("figure")).to_have_count(2)


def test_a_gap_is_a_gap_and_is_counted(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#trends")
    page.get_by_role("button", name="8 h").tap()
    expect(page.locator(".plot-box").first).to_have_attribute("aria-label", re.compile(r"[34] gaps in the record"))


def test_two_fingers_zoom_in_and_the_rig_is_asked_for_the_finer_range(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#trends")
    drawn(page)
    questions = asked(page)
    page.locator(".u-over").first.scroll_into_view_if_needed()
    box = page.locator(".u-over").first.bounding_box()
    assert box is not None
    finger: CDPSession = page.context.new_cdp_session(page)
    middle, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def touch(kind: str, half: float) -> None:
        points = [{"x": middle - half, "y": y, "id": 0}, {"x": middle + half, "y": y, "id": 1}]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points if kind != "touchEnd" else []})

    touch("touchStart", 30)
    for half in range(35, 95, 10):
        touch("touchMove", half)
    touch("touchEnd", 0)
    until_asked(page, lambda: any(q["to_s"] - q["from_s"] < 2400 for q in questions), "a finer range")
    fine = next(q for q in questions if q["to_s"] - q["from_s"] < 2400)
    assert 900 < fine["to_s"] - fine["from_s"] < 2000  # an hour, fingers three times as far apart


def test_a_finger_drags_through_time_and_buttons_do_the_same(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#trends")
    drawn(page)
    questions = asked(page)
    page.locator(".u-over").first.scroll_into_view_if_needed()
    box = page.locator(".u-over").first.bounding_box()
    assert box is not None
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 20, y)
    page.mouse.down()
    page.mouse.move(box["x"] + 20 + box["width"] / 2, y, steps=6)
    page.mouse.up()
    expect(page.get_by_role("button", name="Back to now")).to_be_visible()
    dragged = questions[-1]
    page.get_by_role("button", name="Earlier").tap()
    until_asked(page, lambda: questions[-1] is not dragged, "earlier")
    assert abs(dragged["to_s"] - questions[-1]["to_s"] - 1800) < 60  # half of the hour shown
    assert abs(questions[-1]["to_s"] - questions[-1]["from_s"] - 3600) < 1


def test_events_stand_at_their_time_and_in_a_list(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#trends")
    drawn(page)
    expect(page.locator("#trends .log li")).to_have_count(3)
    expect(page.locator("#trends .log")).to_contain_text("Trip: coolant flow low")


def test_an_incident_opens_with_its_plots(stage: Stage, look: Look) -> None:
    page = look(stage, "/rig/boathouse#record")
    incident = page.locator("#incidents li", has_text="Coolant flow low")
    incident.get_by_role("button").tap()
    expect(incident.locator("figure")).to_have_count(2)
    drawn(page)
    expect(incident.locator("figcaption").first).to_contain_text("0.04 L/min")


def test_a_rig_that_does_not_answer_is_said_to_and_can_be_asked_again(stage: Stage, look: Look) -> None:
    asked = "lyewatch/v1/boathouse/history/request"
    stage.stop_page()
    stage.start_page()  # with no answer in store
    stage.link.client.unsubscribe(asked)
    try:
        page = look(stage, "/rig/boathouse#record")
        expect(page.locator("#incidents [role=alert]")).to_contain_text("no history within 10 s", timeout=60_000)
    finally:
        stage.link.client.subscribe(asked, 1)
    page.locator("#incidents").get_by_role("button", name="Ask again").tap()
    expect(page.locator("#incidents li")).to_have_count(2)


def test_many_phones_with_one_question_are_one_question_to_the_rig(stage: Stage, monkeypatch: Any) -> None:
    told: list[HistoryAsk] = []
    answer = pretend_link.history

    def count(rig: str, ask: HistoryAsk) -> list[HistoryReply]:
        told.append(ask)
        return answer(rig, ask)

    monkeypatch.setattr(pretend_link, "history", count)
    with stage.client() as client:
        body = {
            "rig": "boathouse",
            "what": "trend",
            "signals": ["current"],
            "from_s": 1.0,
            "to_s": 3600.0,
            "points": 100,
        }
        replies = [client.post("/api/history", json=body).json() for _ in range(5)]
    assert len(told) == 1
    assert all(r == replies[0] for r in replies)
    assert len(replies[0]["trends"][0]["time_s"]) == 100
