"""The server's own parts: differences, rigs, the OpenAPI document, bad messages from the broker, the command line."""

from __future__ import annotations

import asyncio
import json
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import paho.mqtt.publish as mqtt_publish
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from controller.cli.page import page as command
from controller.link.described import describe, told, written
from controller.link.messages import StateNow, topic
from controller.page import api, leases, verbs
from controller.page.api import CommandAnswer, CommandWanted
from controller.page.difference import applied, difference
from controller.page.people import Role
from controller.page.rigs import RIGS_AT_MOST, Rigs
from controller.page.shell import DIST, NotBuilt, page, read_built
from tests.broker import until
from tests.page.scenes import SCENES, running
from tests.page.stage import Stage

leaves = st.none() | st.booleans() | st.integers(-3, 3) | st.text("ab", max_size=2) | st.floats(-2, 2)
documents = st.recursive(
    leaves,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", max_size=1), inner, max_size=3),
    max_leaves=12,
)


@given(documents, documents)
def test_a_difference_applied_to_the_old_gives_the_new(old: Any, new: Any) -> None:
    change = difference(old, new)
    found = old if change is None else applied(old, json.loads(json.dumps(change)))
    assert json.dumps(found) == json.dumps(new) or found == new


def test_a_second_of_normal_running_costs_a_ninth_of_the_whole() -> None:
    now_s = time.time()
    first = running(now_s, number=1).model_dump(mode="json")
    warmer = {"cell_temperature": 54.3, "coolant_flow": 0.61, "current": 24.05, "voltage": 6.47}
    second = running(now_s + 1, number=2, values=warmer).model_dump(mode="json")
    assert len(json.dumps(difference(first, second))) < len(json.dumps(second)) / 9


def test_a_repeat_or_an_older_number_changes_nothing_and_does_not_count_as_arrived() -> None:
    rigs = Rigs()
    assert rigs.take_state(running(0.0, number=5), retained=False, now_s=10.0)
    assert not rigs.take_state(running(0.0, number=5), retained=False, now_s=12.0)
    assert not rigs.take_state(running(0.0, number=4), retained=True, now_s=12.0)
    assert rigs.seen["boathouse"].arrived_s == 10.0
    assert rigs.take_state(running(0.0, number=1, boot="b2"), retained=False, now_s=13.0)


def test_an_old_moment_under_a_new_number_does_not_count_as_arrived() -> None:
    rigs = Rigs()
    rigs.take_state(running(50.0, number=1), retained=False, now_s=10.0)
    rigs.take_state(running(50.0, number=2), retained=False, now_s=11.0)
    assert rigs.seen["boathouse"].arrived_s == 10.0
    rigs.take_state(running(51.0, number=3), retained=False, now_s=12.0)
    assert rigs.seen["boathouse"].arrived_s == 12.0


def test_a_retained_state_never_has_a_time_of_arrival() -> None:
    rigs = Rigs()
    rigs.take_state(running(0.0), retained=True, now_s=10.0)
    assert rigs.seen["boathouse"].arrived_s is None


def test_a_flood_of_rig_names_is_bounded() -> None:
    rigs = Rigs()
    for n in range(3 * RIGS_AT_MOST):
        rigs.take_state(running(0.0, rig=f"r{n}"), retained=False, now_s=0.0)
    assert len(rigs.seen) == RIGS_AT_MOST
    assert rigs.refused == 2 * RIGS_AT_MOST


def test_messages_that_are_not_ours_are_refused_and_the_page_goes_on(stage: Stage) -> None:
    now = running(time.time(), number=10**6)
    good = json.loads(written(told(now, describe(now).id)))
    bad = [
        b"", b"{}", b"\xff\xfe", b"[1]", b"x" * 300_000,
        json.dumps(good | {"rig": "another"}).encode(),
        json.dumps(good | {"surprise": 1}).encode(),
        json.dumps(good | {"time_s": "soon"}).encode(),
    ]  # fmt: skip
    mqtt_publish.multiple(
        [{"topic": topic("boathouse", "state"), "payload": b, "qos": 1} for b in bad], port=stage.broker.port
    )
    until(lambda: stage.log.count("refused a message") == len(bad), what=stage.log)
    number = stage.link.say().number
    until(lambda: f'"number":{number}' in stage.text().replace(" ", ""), at_most_s=5)
    assert "Traceback" not in stage.log


def test_an_answer_that_was_retained_or_is_not_for_us_answers_nothing(stage: Stage) -> None:
    stage.link.answer = lambda ask: None
    with stage.client() as client:
        client.timeout = 15
        answer = client.post("/api/command", json={"rig": "boathouse", "verb": "stop", "id": "1" * 16})
    assert answer.json()["accepted"] is None


def test_every_request_is_in_the_openapi_document_and_the_other_way_round(stage: Stage) -> None:
    with stage.client() as client:
        document = client.get("/api/openapi.json").json()
        described = {(p, m.upper()) for p, methods in document["paths"].items() for m in methods} - {("/live", "GET")}
        assert described == {(r.path, r.method) for r in api.REQUESTS}
        assert document == json.loads(json.dumps(api.openapi(document["info"]["version"])))
        references = set(_references(document))
        assert {r.rsplit("/", 1)[1] for r in references} <= set(document["components"]["schemas"])
        me = client.get("/api/me").json()
        assert set(me) == set(document["components"]["schemas"]["Me"]["properties"])


def _references(node: Any) -> list[str]:
    if isinstance(node, dict):
        return [r for k, v in node.items() for r in ([v] if k == "$ref" else _references(v))]
    return [r for v in node for r in _references(v)] if isinstance(node, list) else []


def wanted(**more: Any) -> CommandWanted:
    return CommandWanted(rig="r", id="0" * 16, **more)


@pytest.mark.parametrize(
    ("asked", "role", "says"),
    [
        (wanted(verb="release", text="x"), Role.OPERATOR, "cannot be asked from a page"),
        (wanted(verb="bypass", text="x"), Role.OPERATOR, "cannot be asked from a page"),
        (wanted(verb="renew"), Role.OPERATOR, "cannot be asked from a page"),
        (wanted(verb="start", number=10, litres=1, text="x"), Role.VIEWER, "operator"),
        (wanted(verb="start", number=10, litres=1, text=" "), Role.OPERATOR, "reason"),
        (wanted(verb="start", number=10, text="x"), Role.OPERATOR, "litres or hours"),
        (wanted(verb="start", number=10, litres=1, hours=1, text="x"), Role.OPERATOR, "litres or hours"),
        (wanted(verb="set-current", text="x"), Role.OPERATOR, "between"),
        (wanted(verb="shelve", text="x"), Role.OPERATOR, "which alarm"),
    ],
)
def test_what_may_not_be_asked_is_refused_before_the_guard(asked: CommandWanted, role: Role, says: str) -> None:
    refused = verbs.wrong_with(asked, role)
    assert refused is not None
    assert says in refused[1]


def test_what_may_be_asked_is_let_through() -> None:
    assert verbs.wrong_with(wanted(verb="start", number=10, litres=1, text="x"), Role.OPERATOR) is None
    assert verbs.wrong_with(wanted(verb="stop"), Role.VIEWER) is None


async def _renewed(state: StateNow, answer: CommandAnswer) -> tuple[list[str], bool]:
    rigs, asked = Rigs(), list[str]()

    async def ask(command: CommandWanted, _name: str) -> CommandAnswer:
        asked.append(command.verb)
        return answer

    rigs.take_state(running(0.0), retained=False, now_s=0.0)
    held = leases.Leases(rigs, ask)
    held.keep("boathouse", "ada")
    rigs.take_state(state, retained=False, now_s=1.0)
    await held.renew()
    return asked, "boathouse" in held.held


@pytest.mark.parametrize(
    ("state", "accepted", "asks", "goes_on"),
    [
        (running(1.0, number=2), True, ["renew"], True),
        (running(1.0, number=2), None, ["renew"], True),
        (running(1.0, number=2), False, ["renew"], False),
        (SCENES["tripped"](1.0, number=2), True, [], False),
        (running(1.0, number=2, boot="b2"), True, [], False),
    ],
    ids=["goes on", "no answer, tried again", "refused", "tripped", "another guard"],
)
def test_a_lease_is_renewed_while_the_run_it_was_for_goes_on(
    state: StateNow, accepted: bool | None, asks: list[str], goes_on: bool
) -> None:
    found = _renewed(state, CommandAnswer(accepted=accepted, why=""))
    with ThreadPoolExecutor(1) as aside:  # Playwright's own loop may be running in this thread
        assert aside.submit(asyncio.run, found).result() == (asks, goes_on)


def test_the_kept_shell_holds_no_value_and_the_template_is_filled_once() -> None:
    built = read_built(DIST)
    kept = page(built, None, None)
    assert "%STYLE%" not in kept
    assert '<script type="application/json" id="first">null</script>' in kept
    rigs = Rigs()
    rigs.take_state(
        running(0.0, sentence="a rig may say %SCRIPT% and </script>"), retained=False, now_s=time.monotonic()
    )
    shown = page(built, rigs.view("boathouse", built.build), None)
    assert shown.count(built.script) == 1
    assert "</script> " not in shown.split('id="first">')[1].split("</script>")[0]


def test_an_installation_without_the_page_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(NotBuilt, match="LYEWATCH_NO_DASHBOARD"):
        read_built(tmp_path / "nowhere")


def test_people_are_added_listed_and_removed_at_the_command_line(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("a long pass phrase\n")
    run = CliRunner()
    state = ["--state", str(tmp_path / "state")]
    assert run.invoke(command, [*state, "people"]).output.startswith("Nobody yet")
    done = run.invoke(command, [*state, "person", "ada", "--role", "operator", "--password-file", str(secret)])
    assert done.output == "ada may log in as operator.\n"
    assert run.invoke(command, [*state, "people"]).output == "ada\toperator\t0 sessions\n"
    assert "ada can no longer log in" in run.invoke(command, [*state, "remove", "ada"]).output
    key = run.invoke(command, [*state, "key"]).output
    assert run.invoke(command, [*state, "key"]).output == key
    shown = run.invoke(command, [*state, "authority"]).output
    assert "█" in shown
    assert "--own-authority" in shown
    assert json.loads(run.invoke(command, ["openapi"]).output)["openapi"] == "3.1.0"


def test_the_lock_file_names_no_registry() -> None:
    text = (DIST.parent / "package-lock.json").read_text()
    assert '"resolved"' not in text
