"""Nobody at a socket delays a scan, crowds out a stop, or passes for somebody else."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.core.commands import Source, Verb
from controller.guard.protocol import MESSAGE_BYTES, SOCKETS, do, dumps
from controller.guard.sockets import (
    CONNECTIONS,
    LOOKED_AT_PER_SCAN,
    STOPS_PER_SCAN,
    TAKEN_PER_SCAN,
    WAITING,
    Admitted,
    Sockets,
    admitted_users,
)

ME = Admitted(frozenset({os.geteuid()}), frozenset())
STOP, START = dumps(do(Verb.STOP)), dumps(do(Verb.START))


@pytest.fixture
def sockets(tmp_path: Path) -> Iterator[Sockets]:
    made = Sockets(tmp_path, lambda _source: ME)
    yield made
    made.close()


def connect(tmp_path: Path, name: str) -> socket.socket:
    one = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    one.settimeout(5.0)
    one.connect(str(tmp_path / name))
    return one


def flood(one: socket.socket, message: bytes) -> int:
    one.setblocking(False)
    sent = 0
    try:
        while True:
            one.send(message)
            sent += 1
    except BlockingIOError:
        return sent


@pytest.mark.parametrize("name", SOCKETS)
def test_the_door_decides_the_source_whatever_the_message_says(tmp_path: Path, sockets: Sockets, name: str) -> None:
    with connect(tmp_path, name) as one:
        one.send(b'{"do": "start", "source": "button"}')
        [mail] = sockets.take()
        assert mail.peer.source is SOCKETS[name]


def test_whoever_is_not_admitted_is_shut_out_and_counted(tmp_path: Path) -> None:
    nobody = Admitted(frozenset({os.geteuid() + 1}), frozenset({os.getegid() + 1}))
    sockets = Sockets(tmp_path, lambda source: nobody if source is Source.LOCAL else ME)
    with connect(tmp_path, "local.sock") as one:
        assert sockets.take() == []
        assert one.recv(10) == b""
    assert sockets.refused == 1
    sockets.close()


def test_the_guards_own_user_and_root_are_admitted_and_unknown_names_admit_nobody() -> None:
    admitted = admitted_users(4711, ["no such user"], ["no such group"])
    assert admitted == Admitted(frozenset({0, 4711}), frozenset())
    assert not admitted.admits(4712, 4712)


def test_a_flood_costs_four_messages_a_scan_and_the_rest_is_counted(tmp_path: Path, sockets: Sockets) -> None:
    with connect(tmp_path, "link.sock") as one:
        sent = flood(one, START)
        taken = 0
        scans = 0
        while taken + sockets.dropped["link.sock"] < sent:
            scans += 1
            mail = sockets.take()
            assert len(mail) <= 2, "the share of one door"
            taken += len(mail)
            assert scans <= sent / LOOKED_AT_PER_SCAN + WAITING + 2
        assert sockets.dropped["link.sock"] == sent - taken


def test_a_stop_behind_a_flood_on_its_own_connection_is_found(tmp_path: Path, sockets: Sockets) -> None:
    with connect(tmp_path, "link.sock") as one:
        flood(one, START)
        while True:
            try:
                one.send(STOP)
                break
            except BlockingIOError:
                sockets.take()
        for _ in range(20):
            if STOP in [mail.data for mail in sockets.take()]:
                return
    pytest.fail("the stop was lost in the flood")


def test_floods_at_two_doors_leave_the_third_a_share(tmp_path: Path, sockets: Sockets) -> None:
    with connect(tmp_path, "link.sock") as a, connect(tmp_path, "plan.sock") as b, connect(tmp_path, "local.sock") as c:
        flood(a, START)
        flood(b, START)
        c.send(START)
        for _ in range(3):
            if any(mail.peer.source is Source.LOCAL for mail in sockets.take()):
                return
    pytest.fail("the third door was not heard within three scans")


def test_stops_have_a_limit_too(tmp_path: Path, sockets: Sockets) -> None:
    with connect(tmp_path, "link.sock") as one:
        flood(one, STOP)
        for _ in range(10):
            assert len(sockets.take()) <= TAKEN_PER_SCAN + STOPS_PER_SCAN
        assert sockets.dropped["link.sock"] > 100


def test_a_message_over_the_limit_arrives_longer_than_allowed(tmp_path: Path, sockets: Sockets) -> None:
    with connect(tmp_path, "local.sock") as one:
        one.send(b"x" * 50_000)
        [mail] = sockets.take()
        assert len(mail.data) == MESSAGE_BYTES + 1


def test_more_connections_than_allowed_are_shut_out(tmp_path: Path, sockets: Sockets) -> None:
    ones = []
    for _ in range(CONNECTIONS + 2):
        ones.append(connect(tmp_path, "local.sock"))
        sockets.take()
    assert sockets.refused == 2
    for one in ones:
        one.close()
    sockets.take()
    with connect(tmp_path, "local.sock") as again:
        again.send(START)
        assert len(sockets.take()) == 1


def test_whoever_does_not_read_its_answers_is_let_go(tmp_path: Path, sockets: Sockets) -> None:
    with connect(tmp_path, "local.sock") as one:
        one.send(START)
        [mail] = sockets.take()
        sent = 0
        while mail.peer.send(b"y" * 1000):
            sent += 1
            assert sent < 100_000
        assert mail.peer.socket is None


def test_a_stalled_reader_of_frames_loses_frames_only(tmp_path: Path, sockets: Sockets) -> None:
    with connect(tmp_path, "link.sock") as one:
        one.send(b'{"ask": "frames"}')
        [mail] = sockets.take()
        mail.peer.frames = True
        for number in range(1000):
            sockets.stream(number.to_bytes(2, "big") * 500)
        assert 0 < sockets.dropped_frames < 1000
        assert one.recv(2000)[:2] == b"\0\0"


def test_sockets_of_a_dead_guard_are_replaced(tmp_path: Path) -> None:
    left = Sockets(tmp_path, lambda _source: ME)  # never closed, as after a kill
    again = Sockets(tmp_path, lambda _source: ME)
    with connect(tmp_path, "local.sock") as one:
        one.send(START)
        assert len(again.take()) == 1
    again.close()
    left.close()
