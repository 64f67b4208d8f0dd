"""Who may ask what through the link: strangers may stop, and nothing else; and no flood keeps a stop from arriving."""

from __future__ import annotations

import json
import statistics
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from controller.core.commands import Command, Source, Verb
from controller.core.events import Happened
from controller.guard.challenge import Challenges
from controller.link import messages as m
from controller.link.gate import COMMAND_BYTES, EACH_CLIENT, Gate, Refused, Told
from controller.page.signing import PageKey
from tests.broker import Onlooker, mosquitto, until
from tests.link.site import RIG, Running


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    with mosquitto(tmp_path / "broker") as broker:
        found = Running(tmp_path, broker)
        yield found
        found.close()


def enrol(running: Running, key: PageKey) -> None:
    running.places.keys.mkdir(parents=True, exist_ok=True)
    (running.places.keys / f"{key.id}.pub").write_text(key.public.hex())


def asked(running: Running, ask: m.CommandAsk) -> dict[str, Any]:
    """The answer to a command. What is said before the link has subscribed is heard by nobody."""
    until(lambda: bool(running.onlooker.of("/state")), what="the link to be there")
    running.onlooker.publish(running.topic("command"), ask.model_dump_json())
    until(lambda: any(r["id"] == ask.id for r in running.onlooker.of(f"/reply/{ask.client}")))
    found: dict[str, Any] = next(r for r in running.onlooker.of(f"/reply/{ask.client}") if r["id"] == ask.id)
    return found


def alarm(running: Running) -> str:
    """One that stands."""
    running.bench.numbers["cell temperature"] = 62.0
    until(lambda: bool(running.state()["alarms"]), what="an alarm")
    name: str = running.state()["alarms"][0]["name"]
    return name


def of(verb: str, running: Running, name: str, ident: str, **more: Any) -> m.CommandAsk:
    challenge = running.state()["challenge"]
    return m.CommandAsk(verb=verb, client="phone", id=ident, subject=name, text="seen", challenge=challenge, **more)


def test_an_alarm_is_acknowledged_with_an_enrolled_key_and_with_no_other(running: Running) -> None:
    key = PageKey(Ed25519PrivateKey.generate())
    name = alarm(running)
    unsigned = asked(running, of("acknowledge", running, name, "1"))
    assert (unsigned["accepted"], "signature" in unsigned["why"]) == (False, True)
    stranger = asked(running, key.sign(of("acknowledge", running, name, "2"), "Ada", 3))
    assert (stranger["accepted"], "enrolled" in stranger["why"]) == (False, True)
    enrol(running, key)
    running.guard.renew()
    signed = key.sign(of("acknowledge", running, name, "3"), "Ada", 3)
    assert asked(running, signed)["accepted"] is True
    until(lambda: running.state()["alarms"][0]["acknowledged"])
    replayed = asked(running, signed.model_copy(update={"id": "4"}))
    assert (replayed["accepted"], "used before" in replayed["why"]) == (False, True)


def test_a_shelved_alarm_says_until_when(running: Running) -> None:
    key = PageKey(Ed25519PrivateKey.generate())
    enrol(running, key)
    name = alarm(running)
    answer = asked(running, key.sign(of("shelve", running, name, "1", hours=2.0), "Ada", 3))
    assert answer["accepted"] is True, answer
    until(lambda: any(a["shelved_until_s"] for a in running.state()["alarms"]))
    until_s = next(a["shelved_until_s"] for a in running.state()["alarms"] if a["name"] == name)
    assert 0.0 < until_s - running.state()["time_s"] <= 7200.0
    unknown = asked(running, key.sign(of("shelve", running, "no such thing", "2"), "Ada", 3))
    assert unknown["accepted"] is False


def test_a_stop_comes_through_a_thousand_messages_a_second(running: Running) -> None:
    """A stop is answered within a second while the flood goes on."""

    def stopped(ident: str) -> float:
        sent_s = time.monotonic()
        ask = m.CommandAsk(verb="stop", client="phone", id=ident)
        running.onlooker.publish(running.topic("command"), ask.model_dump_json())
        until(lambda: any(r["id"] == ident for r in running.onlooker.of("/reply/phone")))
        return time.monotonic() - sent_s

    running.guard.ask(Command(Verb.START, Source.LOCAL))
    until(lambda: running.state()["state"] == "running")
    flooding, over = Flood(running), threading.Event()
    flooding.begin(over)
    until(lambda: flooding.sent > 2000)
    stops = [stopped(f"s{nth}") for nth in range(3)]
    rate = flooding.rate()
    over.set()
    flooding.end()
    assert rate >= 1000.0
    assert statistics.median(stops) < 1.0, stops
    until(lambda: running.state()["state"] in ("stopping", "cooling", "off"))
    refused = running.onlooker.of("/link")[-1]["refused"]
    until(lambda: sum(running.onlooker.of("/link")[-1]["refused"].values()) > 1000, what=str(refused))


class Flood:
    """Junk of every kind at the command topic, from a client of its own."""

    JUNK = (b"{", b"", b'{"verb":"start","client":"x","id":"1"}', b"\xff" * 50, b"x" * 9000, b'{"verb":"go"}')

    A_SECOND = 1500

    def __init__(self, running: Running) -> None:
        self._topic, self._client = running.topic("command"), Onlooker(running.broker.port, "nothing/here")
        self.sent = 0
        self._thread: threading.Thread | None = None

    def begin(self, over: threading.Event) -> None:
        self._began_s = time.monotonic()

        def go() -> None:
            while not over.is_set():
                behind = int(self.A_SECOND * (time.monotonic() - self._began_s)) - self.sent
                for _ in range(behind):
                    self._client.throw(self._topic, self.JUNK[self.sent % len(self.JUNK)])
                    self.sent += 1
                over.wait(0.012)

        self._thread = threading.Thread(target=go, daemon=True)
        self._thread.start()

    def rate(self) -> float:
        return self.sent / (time.monotonic() - self._began_s)

    def end(self) -> None:
        assert self._thread is not None
        self._thread.join(5.0)
        self._client.close()


def test_what_is_refused_is_counted_by_reason_and_written_down(running: Running) -> None:
    running.state()
    for payload in (b"{", b"x" * (COMMAND_BYTES + 1), b'{"verb":"reset","client":"a","id":"1"}'):
        running.onlooker.publish(running.topic("command"), payload)
    wanted = {"malformed", "oversized", "unsigned"}
    until(lambda: wanted <= set(running.onlooker.of("/link")[-1]["refused"]))
    until(
        lambda: (
            wanted
            <= {w for e in running.onlooker.of("/events") if e["what"] == "refused" for w in wanted if w in e["detail"]}
        ),
        30.0,
    )


# -- the gate alone


def command(verb: str = "start", ident: str = "1", client: str = "phone", **more: Any) -> bytes:
    signed = json.dumps({"do": verb})
    fields: dict[str, Any] = {"verb": verb, "client": client, "id": ident, "signed": signed, "signature": "00"}
    return m.CommandAsk(**(fields | more)).model_dump_json().encode()


def why(found: m.CommandAsk | Refused) -> str:
    return found.why if isinstance(found, Refused) else ""


def test_one_client_that_asks_too_often_does_not_shut_out_another() -> None:
    gate = Gate()
    answers = [why(gate.command(command(ident=str(n)), False, 0.0)) for n in range(20)]
    assert answers.count("") == EACH_CLIENT[0]
    assert why(gate.command(command(client="other"), False, 0.0)) == ""
    assert why(gate.command(command(ident="later"), False, 5.0)) == ""


def test_a_repeated_command_is_told_its_first_answer_and_not_done_again() -> None:
    gate = Gate()
    ask = gate.command(command(), False, 0.0)
    assert isinstance(ask, m.CommandAsk)
    reply = m.CommandReply(
        rig=RIG, boot="", number=1, time_s=0.0, clock_synchronised=True, id="1", accepted=True, why=""
    )
    gate.answered(ask, reply, 0.0)
    again = gate.command(command(), False, 1.0)
    assert isinstance(again, Refused)
    assert (again.why, again.reply) == ("repeated", reply)


def test_a_verb_outside_that_differs_from_the_signed_one_is_refused() -> None:
    assert why(Gate().command(command(signed='{"do":"reset"}'), False, 0.0)) == "malformed"
    assert why(Gate().command(command(signed="[" * 100_000), False, 0.0)) == "oversized"
    assert why(Gate().command(command(signed="[" * 3000), False, 0.0)) == "malformed"


@pytest.mark.parametrize("client", ["a/b", "+", "#", "x" * 65])
def test_a_client_whose_name_is_no_level_of_a_topic_is_not_answered(client: str) -> None:
    assert why(Gate().command(command(client=client), False, 0.0)) == "malformed"


def test_a_challenge_told_is_good_once_and_for_ten_seconds() -> None:
    told = Told()
    guards = Challenges("boot")
    first, second = guards.newest(0.0), guards.newest(1.0)
    told.add(first, 0.0)
    told.add(second, 1.0)
    assert told.take(first, 9.0) == ""
    assert told.take(first, 9.0) == "the challenge was used before"
    assert "too old" in told.take(second, 11.0)
    assert told.take("", 0.0) == "quotes no challenge of this rig"


def test_nothing_but_a_stop_was_ever_done_for_a_stranger(running: Running) -> None:
    for verb in ("start", "reset", "enable", "set-current", "renew", "bypass", "drive", "lift", "release"):
        answer = asked(running, m.CommandAsk(verb=verb, client=f"phone-{verb}", id=verb, number=1.0))
        assert answer["accepted"] is False, verb
        if verb in ("start", "reset"):
            scans = running.bench.memory.scan
            until(lambda scans=scans: running.bench.memory.scan > scans + 300)  # type: ignore[misc]
    accepted = [e for e in running.guard.events if e.what is Happened.ACCEPTED]
    assert accepted == []
    assert running.bench.parts.closings == []
