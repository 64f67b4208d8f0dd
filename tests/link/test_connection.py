"""What brokers and networks do, and that the link says what it is and comes back. Cases A33, A35, A37."""

from __future__ import annotations

import signal
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from controller.core.commands import Command, Source, Verb
from controller.link import messages as m
from controller.link.broker import Address, Broker
from controller.link.connecting import MOST_S, TAKEN_OVER_S, in_words, pause_s
from tests.broker import Mosquitto, free_port, mosquitto, until
from tests.link.certificates import Authority
from tests.link.site import RIG, Running


class Alone:
    """A session of the link without the rest of it."""

    def __init__(self, address: Address) -> None:
        presence = m.topic(RIG, "presence")
        self.broker = Broker(address, f"lyewatch-link-{RIG}", presence, b"{}", [m.topic(RIG, "command", "#")], probe())
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._beat, daemon=True)
        self._thread.start()

    def _beat(self) -> None:
        while not self._over.wait(0.05):
            self.broker.beat(time.monotonic())

    @property
    def trouble(self) -> str:
        return self.broker.trouble(time.monotonic())

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        self.broker.close(m.topic(RIG, "presence"), b"{}")


def probe() -> str:
    return m.topic(RIG, "command", "probe")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as found:
        yield found


def test_commands_are_heard_again_after_a_broker_without_memory_restarts(tmp_path: Path, broker: Mosquitto) -> None:
    """Case A33."""
    running = Running(tmp_path, broker)
    running.state()
    broker.stop(signal.SIGKILL)
    broker.start()
    told = len(running.onlooker.of("/link"))
    until(lambda: any(x["commands_heard"] for x in running.onlooker.of("/link")[told:]))
    ask = m.CommandAsk(verb="stop", client="phone", id="1")
    running.onlooker.publish(running.topic("command"), ask.model_dump_json())
    until(lambda: bool(running.onlooker.of("/reply/phone")))
    assert running.onlooker.of("/reply/phone")[0]["accepted"] is True
    running.close()


def test_a_subscription_that_does_nothing_is_said_and_asked_for_again(tmp_path: Path) -> None:
    """Case A33, variant: Mosquitto grants what its ACL denies, and delivers nothing; only the probe finds it."""
    acl = tmp_path / "acl"
    acl.write_text(f"topic write lyewatch/#\ntopic read lyewatch/v1/{RIG}/state\n")
    with mosquitto(tmp_path / "broker", f"allow_anonymous true\nacl_file {acl}\n") as broker:
        alone = Alone(Address(port=broker.port))
        until(lambda: "commands are not heard" in alone.trouble)
        acl.write_text("topic readwrite lyewatch/#\n")
        broker.send(signal.SIGHUP)
        until(lambda: alone.trouble == "")
        alone.close()


def test_a_broker_that_stands_still_is_found_and_nothing_is_lost(tmp_path: Path, broker: Mosquitto) -> None:
    """Case A35, variant: the socket stays open and nothing is acknowledged."""
    running = Running(tmp_path, broker)
    running.state()
    broker.send(signal.SIGSTOP)
    for _ in range(40):
        running.guard.ask(Command(Verb.ENABLE, Source.LOCAL, number=1.0))
    newest = running.guard.events[-1].number
    scan = running.bench.memory.scan
    until(lambda: running.bench.memory.scan > scan + 800)  # the guard goes on
    broker.send(signal.SIGCONT)
    until(lambda: newest in running.events())
    assert set(running.events()) >= set(range(1, newest + 1))
    running.close()


def test_a_second_client_of_the_same_name_is_said_and_no_storm_follows(broker: Mosquitto) -> None:
    """Case A37."""
    alone = Alone(Address(port=broker.port))
    until(lambda: alone.broker.connected)
    other = mqtt.Client(CallbackAPIVersion.VERSION2, f"lyewatch-link-{RIG}", protocol=mqtt.MQTTv5)
    other.reconnect_delay_set(1, 1)
    other.connect("127.0.0.1", broker.port)
    other.loop_start()
    until(lambda: "another client" in alone.trouble)
    assert alone.broker._client._reconnect_min_delay >= TAKEN_OVER_S / 2.0
    other.disconnect()
    other.loop_stop()
    alone.close()


def test_a_name_that_is_not_known_is_said() -> None:
    alone = Alone(Address("no-such-broker.invalid"))  # RFC 2606: a name that never resolves
    until(lambda: "is not known" in alone.trouble)
    alone.close()


def test_nobody_listening_is_said() -> None:
    alone = Alone(Address(port=free_port()))
    until(lambda: "nobody listens" in alone.trouble)
    alone.close()


def _with_tls(authority: Authority, certificate: tuple[Path, Path]) -> str:
    return (
        f"allow_anonymous true\ncafile {authority.path}\ncertfile {certificate[0]}\nkeyfile {certificate[1]}\n"
        "tls_version tlsv1.2\n"
    )


@pytest.mark.parametrize(("days", "word"), [((-30, -1), "has expired"), ((1, 30), "is not valid yet"), ((-1, 30), "")])
def test_a_certificates_dates_are_told_with_this_machines_clock(
    tmp_path: Path, days: tuple[int, int], word: str
) -> None:
    authority = Authority(tmp_path / "certificates")
    with mosquitto(tmp_path / "broker", _with_tls(authority, authority.issue("broker", days))) as broker:
        alone = Alone(Address(port=broker.port, authority=authority.path))
        if word:
            until(lambda: word in alone.trouble)
            assert "this machine's clock says" in alone.trouble
        else:
            until(lambda: alone.broker.heard(time.monotonic()))
        alone.close()


def test_a_clock_that_is_put_right_needs_no_hand(tmp_path: Path) -> None:
    """A Pi without a clock comes up in the past: the certificate is not valid yet, and later it is."""
    authority = Authority(tmp_path / "certificates")
    with mosquitto(tmp_path / "broker", _with_tls(authority, authority.issue("broker", (1, 30)))) as broker:
        alone = Alone(Address(port=broker.port, authority=authority.path))
        until(lambda: "is not valid yet" in alone.trouble)
        authority.issue("broker", (-1, 30))
        broker.stop()
        broker.start()
        until(lambda: alone.broker.heard(time.monotonic()) and alone.trouble == "")
        alone.close()


def test_a_message_that_the_access_list_denies_is_said(tmp_path: Path) -> None:
    acl = tmp_path / "acl"
    acl.write_text(f"topic readwrite lyewatch/v1/{RIG}/command/#\n")
    with mosquitto(tmp_path / "broker", f"allow_anonymous true\nacl_file {acl}\n") as broker:
        alone = Alone(Address(port=broker.port))
        until(lambda: alone.broker.connected)
        alone.broker.publish(m.topic(RIG, "events"), b"{}", qos=1)
        until(lambda: "is the topic granted?" in alone.trouble)
        alone.close()


def test_a_broker_that_ends_sessions_over_a_denied_topic_is_asked_about_it(tmp_path: Path) -> None:
    """Mosquitto 2.0.11 ends an MQTT 5 session for a message of QoS 0 that its access list denies: so it was seen."""
    acl = tmp_path / "acl"
    acl.write_text(f"topic readwrite lyewatch/v1/{RIG}/command/#\n")
    with mosquitto(tmp_path / "broker", f"allow_anonymous true\nacl_file {acl}\n") as broker:
        alone = Alone(Address(port=broker.port))

        def ended() -> bool:
            alone.broker.publish(m.topic(RIG, "state"), b"{}")
            return alone.broker.taken_over

        until(ended)
        assert "not granted" in alone.trouble
        alone.close()


def test_an_authority_that_is_not_ours_and_a_port_without_tls_are_told_apart(tmp_path: Path) -> None:
    ours, theirs = Authority(tmp_path / "ours"), Authority(tmp_path / "theirs", "another")
    with mosquitto(tmp_path / "broker", _with_tls(theirs, theirs.issue("broker"))) as broker:
        alone = Alone(Address(port=broker.port, authority=ours.path))
        until(lambda: "not signed by the authority" in alone.trouble)
        alone.close()
    with mosquitto(tmp_path / "plain") as broker:
        alone = Alone(Address(port=broker.port, authority=ours.path))
        until(lambda: alone.trouble not in ("", "no broker: not connected yet"))
        assert "TLS" in alone.trouble or "connection ended" in alone.trouble or "cannot be reached" in alone.trouble
        alone.close()


def test_a_wrong_password_is_said(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker", "allow_anonymous false\n") as broker:
        alone = Alone(Address(port=broker.port, user="link", password="wrong"))
        until(lambda: "refuses" in alone.trouble)
        assert "password" in alone.trouble
        alone.close()


def test_rigs_on_one_broker_do_not_hear_each_other(tmp_path: Path, broker: Mosquitto) -> None:
    one = Running(tmp_path / "one", broker, name="one")
    two = Running(tmp_path / "two", broker, name="two", onlooker=one.onlooker)
    until(lambda: {s["rig"] for s in one.onlooker.of("/state")} == {"one", "two"})
    ask = m.CommandAsk(verb="stop", client="phone", id="1")
    one.onlooker.publish(one.topic("command"), ask.model_dump_json())
    until(lambda: bool(one.onlooker.of("/reply/phone")))
    assert [r["rig"] for r in one.onlooker.of("/reply/phone")] == ["one"]
    assert not [r for r in two.guard.asked if getattr(r, "verb", None) is Verb.STOP]
    assert all(f"/{x['rig']}/" in t for t, p, _ in one.onlooker.seen if t.endswith("/state") for x in [_json(p)])
    two.end_link()
    two.guard.close()
    one.close()


def _json(payload: bytes) -> dict[str, object]:
    return m.StateTold.model_validate_json(payload).model_dump()


# -- how long it waits, and what it says


@pytest.mark.parametrize("failures", range(12))
def test_waits_grow_to_a_bound_and_differ_between_rigs(failures: int) -> None:
    shortest, longest = pause_s(failures, False, 0.0), pause_s(failures, False, 1.0)
    assert 0.5 <= shortest < longest <= 1.5 * MOST_S
    assert pause_s(failures, True, 0.0) >= TAKEN_OVER_S / 2.0


@pytest.mark.parametrize(
    "error",
    [OSError("x"), TimeoutError(), ConnectionRefusedError(), socket.gaierror(-2, "no name"), ssl.SSLError(1, "bad")],
)
def test_every_failure_names_the_broker(error: OSError) -> None:
    assert "broker.example" in in_words(error, "broker.example", 8883)
