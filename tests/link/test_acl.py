"""The broker's settings that ship: who may do what, tried on a real broker with certificates."""

from __future__ import annotations

import re
import ssl
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.broker import Mosquitto, until
from tests.link.certificates import Authority

SHIPPED = Path(__file__).parents[2] / "deploy" / "mosquitto"


class Client:
    """Somebody with a certificate."""

    def __init__(self, site: Site, name: str, client_id: str = "") -> None:
        self.seen: list[str] = []
        self.refused: list[str] = []
        self._taken: set[int] = set()
        context = ssl.create_default_context(cafile=str(site.authority.path))
        context.load_cert_chain(*map(str, site.authority.issue(name)))
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id or name, protocol=mqtt.MQTTv5)
        self._client.tls_set_context(context)
        # the broker ends a session over a message that it denies: what is asked next need not wait a second for it
        self._client.reconnect_delay_set(0.02, 0.02)  # type: ignore[arg-type]
        self._client.on_message = lambda _c, _d, message: self.seen.append(message.topic)
        self._client.on_publish = self._published
        subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: subscribed.set()
        self._client.connect("127.0.0.1", site.broker.port)
        self._client.loop_start()
        self._client.subscribe("#", 1)
        assert subscribed.wait(20.0)

    def _published(self, _client: Any, _data: Any, mid: int, reason: Any, _properties: Any) -> None:
        self._taken.add(mid)
        if reason.is_failure:
            self.refused.append(str(reason))

    def may_write(self, topic: str) -> bool:
        before = len(self.refused)
        sent = self._client.publish(topic, b"{}", qos=1)
        until(lambda: sent.mid in self._taken)
        return len(self.refused) == before

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Site:
    def __init__(self, folder: Path) -> None:
        self.authority = Authority(folder / "certificates")
        certificate, key = self.authority.issue("broker")
        settings = (SHIPPED / "lyewatch.conf").read_text()
        acl = folder / "lyewatch.acl"
        acl.write_text((SHIPPED / "lyewatch.acl").read_text())
        for name, path in (
            ("cafile", self.authority.path),
            ("certfile", certificate),
            ("keyfile", key),
            ("acl_file", acl),
        ):
            settings, times = re.subn(rf"^{name} .*$", f"{name} {path}", settings, flags=re.M)
            assert times == 1, name
        settings = re.sub(r"^(listener|max_queued_messages|persistence) .*\n", "", settings, flags=re.M)
        self.broker = Mosquitto(folder / "broker", settings)
        self.broker.start()
        self._clients: list[Client] = []

    def client(self, name: str, client_id: str = "") -> Client:
        self._clients.append(Client(self, name, client_id))
        return self._clients[-1]

    def close(self) -> None:
        for client in self._clients:
            client.close()
        self.broker.stop()


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    found = Site(tmp_path)
    yield found
    found.close()


RIG = "lyewatch/v1/boathouse"
WRITES = {
    "rig-boathouse": {
        "state", "description", "events", "presence", "reply/phone", "command/probe", "value/current", "past",
    },
    "phone": {"history/request"},
    "page": {"history/request", "logbook/add", "command"},
    "notify": set(),
}  # fmt: skip
TOPICS = sorted(set().union(*WRITES.values()) | {"state", "command", "logbook/add", "link"})


@pytest.mark.parametrize("who", sorted(WRITES))
def test_each_user_writes_what_it_is_granted_and_nothing_else(site: Site, who: str) -> None:
    client = site.client(who)
    allowed = {topic for topic in TOPICS if client.may_write(f"{RIG}/{topic}")}
    assert allowed == (set(TOPICS) if who == "rig-boathouse" else WRITES[who])
    assert not client.may_write("lyewatch/v1/another/state")
    assert client.may_write("lyewatch/v1/another/command") == (who == "page")
    assert client.may_write("lyewatch/notify/mine") == (who == "notify")
    assert client.may_write("lyewatch/notify/somewhere") == (who == "notify")  # word of itself


def test_a_phone_user_reads_every_rig_and_only_answers_to_itself(site: Site) -> None:
    rig, phone = site.client("rig-boathouse"), site.client("phone", "my-phone")
    told = ("state", "description", "events", "value/current")
    for topic in (*told, "reply/my-phone", "reply/another", "history/response/another"):
        assert rig.may_write(f"{RIG}/{topic}")
    until(lambda: f"{RIG}/reply/my-phone" in phone.seen)
    assert phone.seen == [f"{RIG}/{t}" for t in (*told, "reply/my-phone")]


def test_the_page_hears_whether_a_notify_is_there_and_a_phone_user_does_not(site: Site) -> None:
    notify, page, phone, rig = (site.client(who) for who in ("notify", "page", "phone", "rig-boathouse"))
    assert notify.may_write("lyewatch/notify/watch")
    until(lambda: "lyewatch/notify/watch" in page.seen)
    assert rig.may_write(f"{RIG}/state")  # later by the broker's own order
    until(lambda: f"{RIG}/state" in phone.seen)
    assert phone.seen == [f"{RIG}/state"]


def test_a_rig_hears_nothing_of_another(site: Site) -> None:
    rig, page = site.client("rig-boathouse"), site.client("page")
    assert page.may_write("lyewatch/v1/another/command")
    assert page.may_write(f"{RIG}/command")
    until(lambda: f"{RIG}/command" in rig.seen)
    assert rig.seen == [f"{RIG}/command"]


def test_nobody_comes_in_without_a_certificate_or_with_one_of_another_authority(site: Site, tmp_path: Path) -> None:
    context = ssl.create_default_context(cafile=str(site.authority.path))
    stranger = mqtt.Client(CallbackAPIVersion.VERSION2, "stranger", protocol=mqtt.MQTTv5)
    stranger.tls_set_context(context)
    came, ended = threading.Event(), threading.Event()
    stranger.on_connect = lambda _c, _d, _f, reason, _p: None if reason.is_failure else came.set()
    stranger.on_disconnect = lambda *_: ended.set()
    stranger.connect("127.0.0.1", site.broker.port)
    stranger.loop_start()
    assert ended.wait(20.0)
    assert not came.is_set()
    stranger.disconnect()
    stranger.loop_stop()
