"""A network that stops carrying and says nothing, and a name that resolves later. Cases A33, A37."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from controller.core.commands import Command, Source, Verb
from controller.link import broker as module
from controller.link.broker import Address
from tests.broker import Mosquitto, mosquitto, until
from tests.link.proxy import Network
from tests.link.site import Running
from tests.link.test_connection import Alone


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as found:
        yield found


@pytest.fixture
def network(broker: Mosquitto) -> Iterator[Network]:
    found = Network(broker.port)
    yield found
    found.close()


def test_a_network_that_is_cut_in_silence_is_found_by_both_ends_and_costs_nothing(
    tmp_path: Path, broker: Mosquitto, network: Network, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Case A35. Half open: what the link writes meanwhile is taken by its own kernel and reaches nobody."""
    monkeypatch.setattr(module, "KEEP_ALIVE_S", 2)
    running = Running(tmp_path, broker, address=Address(port=network.port), scan_s=0.005, dt_s=1.0)
    running.state()
    network.cut()
    cut_wall_s, cut_s = running.guard.wall_s, running.bench.now_s
    until(lambda: running.onlooker.of("/presence")[-1]["present"] == "gone", what="the broker's word")
    until(lambda: running.bench.now_s > cut_s + 900.0)
    for _ in range(150):
        running.guard.ask(Command(Verb.ENABLE, Source.LOCAL, number=1.0))
    newest = running.guard.events[-1].number
    until(lambda: running.guard.acknowledged >= newest)
    assert newest not in running.events(), "nothing comes through a network that is cut"
    mend_wall_s, told = running.guard.wall_s, len(running.onlooker.seen)
    network.mend()
    until(lambda: newest in running.events())
    assert running.onlooker.of("/presence")[-1]["present"] == "here"
    assert set(running.events()) >= set(range(1, newest + 1))
    after = [topic.rpartition("/")[2] for topic, _, _ in running.onlooker.seen[told:]]
    assert after.index("state") < len(after) - 1 - after[::-1].index("events"), "live before the backlog is through"
    # and the trend of the time without a network, but for what no block held yet
    running.guard.pace(0.1)
    until(lambda: covered(running, cut_wall_s, mend_wall_s - 130.0), what="the trend of the cut")
    running.close()


def covered(running: Running, from_s: float, to_s: float) -> bool:
    """Whether every 10 s between two Unix times was told of afterwards."""
    lines = [x for p in running.onlooker.of("/past") for x in p["lines"] if x["signal"] == "cell temperature"]
    spans = sorted({x["begin_s"] + x["span_s"] * at for x in lines for at in x["at"]})
    inside = [from_s, *(t for t in spans if from_s <= t <= to_s), to_s]
    return all(b - a < 21.0 for a, b in pairwise(inside))


def test_a_name_that_resolves_later_is_said_and_then_found(broker: Mosquitto, monkeypatch: pytest.MonkeyPatch) -> None:
    real, known = socket.getaddrinfo, threading.Event()

    def look_up(host: str, *more: Any, **named: Any) -> Any:
        if host == "broker.example" and not known.is_set():
            raise socket.gaierror(socket.EAI_AGAIN, "Temporary failure in name resolution")
        return real("127.0.0.1" if host == "broker.example" else host, *more, **named)

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    alone = Alone(Address("broker.example", broker.port))
    until(lambda: "broker.example is not known" in alone.trouble)
    known.set()
    until(lambda: alone.broker.heard(time.monotonic()) and alone.trouble == "")
    alone.close()
