"""Who gets in: guessing, stealing, forging and asking from elsewhere."""

from __future__ import annotations

import base64
import hashlib
import re
import socket
import stat
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from playwright.sync_api import Browser, expect

from controller.page.gate import at_home
from controller.page.limits import ASKERS_AT_MOST, RATES, Limits
from controller.page.people import SESSION_S, People, Role
from tests.broker import until
from tests.page.stage import PASSWORD, Stage, phone
from tests.page.test_looking import violations

LOOK = {"rig": "boathouse", "what": "events"}


@pytest.fixture
def closed(tmp_path: Path) -> Iterator[Stage]:
    """A page that nobody sees without an account."""
    made = Stage(tmp_path)
    made.person("ada", "operator")
    made.person("eve", "viewer")
    yield made
    made.close()


def ask(client: httpx.Client, path: str, body: object = None) -> httpx.Response:
    return client.post(path, json=body if body is not None else {})


def test_nothing_of_a_rig_is_told_to_who_is_not_logged_in(closed: Stage) -> None:
    with closed.client() as client:
        assert "Running at" not in client.get("/").text
        assert client.get("/live").status_code == 401
        assert ask(client, "/api/history", LOOK).status_code == 401
        assert ask(client, "/api/command", {"rig": "boathouse", "verb": "stop", "id": "0" * 16}).status_code == 401
        assert client.get("/api/faults/boathouse").status_code == 401
        assert client.get("/api/me").json()["role"] == "nobody"


def test_the_log_in_page_lets_in_with_the_right_password_only(closed: Stage, browser_of_all: Browser) -> None:
    context = phone(browser_of_all)
    page = context.new_page()
    page.goto(closed.address)
    page.get_by_label("Name").fill("ada")
    assert violations(page) == []
    page.get_by_label("Password").fill("not the pass phrase")
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("alert")).to_contain_text("name or password is wrong")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    expect(page.locator(".sentence")).to_contain_text("Running at 24 A")
    cookie = context.cookies()[0]
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
    assert PASSWORD not in page.url
    context.close()


def test_guessing_is_slowed_down_and_the_right_password_waits_with_it(closed: Stage) -> None:
    with closed.client() as client:
        answers = [ask(client, "/api/login", {"name": "ada", "password": f"guess {n:06}"}) for n in range(8)]
        assert [a.status_code for a in answers] == [403] * 5 + [429] * 3
        assert int(answers[-1].headers["retry-after"]) > 10
        assert ask(client, "/api/login", {"name": "ada", "password": PASSWORD}).status_code == 429


def test_an_unknown_name_is_answered_like_a_wrong_password(closed: Stage) -> None:
    with closed.client() as client:
        wrong = ask(client, "/api/login", {"name": "ada", "password": "not this one"})
        unknown = ask(client, "/api/login", {"name": "nobody-here", "password": "not this one"})
    assert (wrong.status_code, wrong.json()) == (unknown.status_code, unknown.json())


def test_a_cookie_that_was_stolen_opens_nothing_after_log_out(closed: Stage) -> None:
    with closed.logged_in("ada") as owner, closed.client() as thief:
        stolen = owner.cookies["lyewatch"]
        thief.headers["Cookie"] = f"lyewatch={stolen}"
        assert thief.get("/api/me").json()["name"] == "ada"
        assert ask(owner, "/api/logout").status_code == 200
        assert thief.get("/api/me").json()["role"] == "nobody"
        assert thief.get("/live").status_code == 401


def test_a_stream_ends_when_its_session_is_taken_back(closed: Stage) -> None:
    with closed.logged_in("eve") as client, client.stream("GET", "/live?rig=boathouse") as live:
        lines = live.iter_lines()
        assert next(lines).startswith("data: ")
        People(closed.state).log_out_everywhere("eve")
        assert len([line for line in lines if line]) < 20  # ends by itself


def test_who_was_an_operator_is_one_no_longer_at_once(closed: Stage) -> None:
    with closed.logged_in("ada") as client:
        assert "start" in client.get("/api/me").json()["may"]
        People(closed.state).add("ada", "viewer", PASSWORD)
        assert client.get("/api/me").json()["role"] == "nobody"


def test_a_viewer_may_stop_but_not_start(closed: Stage) -> None:
    start = {"rig": "boathouse", "verb": "start", "id": "a" * 16, "number": 10, "hours": 1, "text": "why not"}
    with closed.logged_in("eve") as client:
        refused = ask(client, "/api/command", start)
        assert (refused.status_code, "operator" in refused.json()["why"]) == (403, True)
        stopped = ask(client, "/api/command", {"rig": "boathouse", "verb": "stop", "id": "b" * 16})
        assert stopped.json()["accepted"] is True
    assert closed.link.asked.get_nowait().verb == "stop"
    assert closed.link.asked.empty()


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
    ],
)
def test_another_sites_request_is_refused_although_it_carries_the_cookie(
    closed: Stage, headers: dict[str, str]
) -> None:
    body = b'{"rig":"boathouse","verb":"stop","id":"cccccccccccccccc"}'
    with closed.logged_in("ada") as client:
        answer = client.post("/api/command", content=body, headers={"Content-Type": "application/json"} | headers)
    assert answer.status_code in (400, 403)
    assert closed.link.asked.empty()


def test_a_request_without_an_origin_is_refused(closed: Stage) -> None:
    with closed.logged_in("ada") as client:
        del client.headers["Origin"]
        assert ask(client, "/api/logout").status_code == 403


def test_a_strange_name_for_this_machine_is_not_answered(stage: Stage) -> None:
    with stage.client() as client:
        strange = client.get("/", headers={"Host": f"rebound.example:{stage.port}"})
        assert strange.status_code == 421
        assert "Running" not in strange.text
        assert client.get("/", headers={"Host": f"{socket.gethostname()}:{stage.port}"}).status_code == 200


def test_the_policy_allows_our_two_scripts_and_nothing_inline_else(stage: Stage) -> None:
    with stage.client() as client:
        answer = client.get("/")
    policy = dict(part.split(" ", 1) for part in answer.headers["content-security-policy"].split("; "))
    allowed = set(re.findall(r"'sha256-([^']+)'", policy["script-src"]))
    inline = re.findall(r"<script(?: type=\"module\")?>(.*?)</script>", answer.text, re.S)
    assert {base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in inline} == allowed
    assert len(inline) == 2
    assert "unsafe" not in str(policy)
    assert (policy["default-src"], policy["frame-ancestors"], policy["base-uri"]) == ("'none'", "'none'", "'none'")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"


def test_secrets_stand_in_no_log_and_no_file_in_the_clear(closed: Stage) -> None:
    with closed.logged_in("ada") as client:
        token = client.cookies["lyewatch"]
        ask(client, "/api/login", {"name": "ada", "password": "a wrong pass phrase"})
    kept = closed.state / "people.json"
    for text in (closed.log, kept.read_text()):
        assert PASSWORD not in text
        assert token not in text
        assert "a wrong pass phrase" not in text
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE((closed.state / "page-key.pem").stat().st_mode) == 0o600
    assert "$argon2id$" in kept.read_text()


def test_too_much_and_too_strange_is_refused_in_words(closed: Stage) -> None:
    with closed.logged_in("ada") as client:
        long = client.post(
            "/api/command", content=b'{"rig":"' + b"x" * 20_000 + b'"}', headers={"Content-Type": "application/json"}
        )
        assert long.status_code == 413
        for body in (
            b"",
            b"[]",
            b"{",
            b'{"rig":"a/b","verb":"stop","id":"dddddddddddddddd"}',
            b'{"rig":1}',
            b"\xff\xfe",
        ):
            answer = client.post("/api/command", content=body, headers={"Content-Type": "application/json"})
            assert answer.status_code == 400, body
            assert answer.json()["why"]
        nan = b'{"rig":"boathouse","verb":"set-current","id":"eeeeeeeeeeeeeeee","number":NaN,"text":"x"}'
        assert client.post("/api/command", content=nan, headers={"Content-Type": "application/json"}).status_code == 400
    assert closed.link.asked.empty()
    assert "Traceback" not in closed.log


def test_the_same_request_twice_is_asked_of_the_guard_once(closed: Stage) -> None:
    body = {"rig": "boathouse", "verb": "stop", "id": "f" * 16}
    with closed.logged_in("ada") as client:
        assert [ask(client, "/api/command", body).status_code for _ in range(2)] == [200, 409]
    closed.link.asked.get_nowait()
    assert closed.link.asked.empty()


def test_a_stop_gets_through_when_everything_else_is_used_up(closed: Stage) -> None:
    with closed.logged_in("ada") as client:
        many = {"rig": "boathouse", "verb": "disable", "text": ""}
        codes = [ask(client, "/api/command", many | {"id": f"{n:016x}"}).status_code for n in range(14)]
        assert 429 in codes
        assert ask(client, "/api/command", {"rig": "boathouse", "verb": "stop", "id": "9" * 16}).status_code == 200


def test_files_beside_the_page_cannot_be_fetched(stage: Stage) -> None:
    with stage.client() as client:
        for path in (
            "/index.html",
            "/app.css",
            "/.built-from",
            "/a/x/../../people.json",
            "/%2e%2e/page-key.pem",
            "/a/0/trend.js",
        ):
            assert client.get(path).status_code == 404, path


def test_home_is_private_addresses_only() -> None:
    assert all(
        map(at_home, ["192.168.1.7", "10.0.0.2", "127.0.0.1", "::1", "fe80::1%wlan0", "::ffff:192.168.1.7", "fd00::1"])
    )
    assert not any(map(at_home, ["8.8.8.8", "2a00::1", "::ffff:8.8.8.8", "", "nonsense"]))


def test_a_session_runs_out(tmp_path: Path) -> None:
    now_s = [1000.0]
    people = People(tmp_path, lambda: now_s[0])
    people.add("ada", "operator", PASSWORD)
    token = people.log_in("ada", PASSWORD)
    assert people.who(token) == ("ada", Role.OPERATOR)
    now_s[0] += SESSION_S["operator"] + 1
    assert people.who(token).role is Role.NOBODY


@pytest.mark.parametrize(
    ("name", "role", "password", "says"),
    [
        ("a b", "viewer", PASSWORD, "letters, digits"),
        ("ada", "king", PASSWORD, "'viewer' or 'operator'"),
        ("ada", "viewer", "short", "10 to 256"),
    ],
)
def test_what_is_wrong_with_an_account_is_said(tmp_path: Path, name: str, role: str, password: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        People(tmp_path).add(name, role, password)


def test_a_damaged_file_of_people_lets_nobody_in_and_says_where(tmp_path: Path) -> None:
    (tmp_path / "people.json").write_text("{")
    with pytest.raises(ValueError, match=r"people\.json is damaged"):
        People(tmp_path).who("anything")


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0, 20), min_size=1, max_size=60))
def test_a_bucket_never_gives_more_than_its_rate(gaps: list[float]) -> None:
    limits, now_s, given_out = Limits(), 0.0, 0
    rate = RATES["ask"]
    for gap in gaps:
        now_s += gap
        given_out += limits.wait_s("ask", "somebody", now_s) == 0.0
    assert given_out <= rate.at_once + now_s / rate.each_s + 1e-6


def test_a_crowd_of_askers_takes_bounded_memory() -> None:
    limits = Limits()
    for n in range(3 * ASKERS_AT_MOST):
        limits.wait_s("page", str(n), 0.0)
    assert len(limits._buckets) <= ASKERS_AT_MOST


def test_an_open_page_does_not_say_who_else_may_log_in(stage: Stage) -> None:
    stage.person("ada", "operator")
    until(lambda: "boathouse" in stage.text())
    assert "ada" not in stage.text()
