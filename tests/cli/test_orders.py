"""What the commands at the rig send, against a socket that listens."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from controller.cli import orders
from controller.cli.app import lyewatch
from controller.core.commands import Source, Verb
from controller.guard.protocol import Do, dumps, parse
from controller.guard.sockets import Admitted, Sockets


class Ears:
    """A guard that only listens, and answers what a test wants."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.heard: list[Do] = []
        self.answer: dict[str, Any] = {"accepted": True, "why": ""}
        self._sockets = Sockets(folder, lambda _source: Admitted(frozenset({os.geteuid()}), frozenset()))
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        while not self._ended.wait(0.01):
            for mail in self._sockets.take():
                request = parse(mail.data)
                if isinstance(request, Do):
                    assert mail.peer.source is Source.LOCAL
                    self.heard.append(request)
                    mail.peer.send(dumps(self.answer))
                else:
                    mail.peer.send(dumps({"cells": 3}))

    def close(self) -> None:
        self._ended.set()
        self._thread.join()
        self._sockets.close()


@pytest.fixture
def ears(tmp_path: Path) -> Iterator[Ears]:
    made = Ears(tmp_path)
    yield made
    made.close()


def say(ears: Ears, *arguments: str, keys: str = "") -> Result:
    return CliRunner().invoke(
        lyewatch, [*arguments], input=keys, env={"LYEWATCH_RUN_DIR": str(ears.folder)}, standalone_mode=False
    )


@pytest.mark.parametrize(
    ("arguments", "verb", "fields"),
    [
        (("stop",), Verb.STOP, {}),
        (("reset",), Verb.RESET, {}),
        (("acknowledge",), Verb.SILENCE, {}),
        (("present",), Verb.PRESENT, {}),
        (("disable",), Verb.DISABLE, {}),
        (("accept",), Verb.ACCEPT_SETTINGS, {}),
        (("confirm", "--yes"), Verb.CONFIRM, {}),
        (("enable", "--hours", "8"), Verb.ENABLE, {"number": 8.0}),
        (("current", "18"), Verb.SET_CURRENT, {"number": 18.0}),
        (("hold", "gasket out"), Verb.HOLD, {"text": "gasket out"}),
        (("lift",), Verb.LIFT, {}),
        (("release", "contactor replaced"), Verb.RELEASE, {"text": "contactor replaced"}),
        (("bypass", "level high", "float sticks"), Verb.BYPASS, {"subject": "level high", "text": "float sticks"}),
        (("service", "unplugged"), Verb.SERVICE, {"text": "unplugged"}),
        (("service", "--leave"), Verb.LEAVE_SERVICE, {}),
        (("drive", "coolant", "on"), Verb.DRIVE, {"subject": "coolant", "number": 1.0}),
        (("drive", "coolant", "off"), Verb.DRIVE, {"subject": "coolant", "number": 0.0}),
        (("start", "--hours", "2", "--amps", "20"), Verb.START, {"seconds": 7200.0, "number": 20.0}),
        (("start", "--unlimited"), Verb.START, {"seconds": None, "charge_c": None}),
    ],
)
def test_each_command_asks_for_its_verb(
    ears: Ears, arguments: tuple[str, ...], verb: Verb, fields: dict[str, object]
) -> None:
    result = say(ears, *arguments, "--who", "Ada")
    assert result.exit_code == 0, result.output
    [heard] = ears.heard
    assert (heard.verb, heard.who) == (verb, "Ada")
    assert {name: getattr(heard, name) for name in fields} == fields


def test_litres_become_a_charge_through_all_cells(ears: Ears) -> None:
    """Ten litres of dry hydrogen at 25 C and 1 atm (24.465 L/mol) are 0.40875 mol; two electrons each, three cells."""
    say(ears, "start", "--litres", "10")
    [heard] = ears.heard
    assert heard.charge_c == pytest.approx(10.0 / 24.465 * 2.0 * 96485.332 / 3.0, rel=1e-4)


def test_a_refusal_is_told_and_is_code_1(ears: Ears) -> None:
    ears.answer = {"accepted": False, "why": "no trip stands"}
    result = say(ears, "reset")
    assert result.return_value == 1 or result.exit_code == 1
    assert "No: no trip stands." in result.output
    machine = say(ears, "reset", "--json")
    assert json.loads(machine.output) == {"accepted": False, "why": "no trip stands"}


def test_the_card_is_answered_line_by_line_and_one_no_confirms_nothing(ears: Ears) -> None:
    assert say(ears, "confirm", keys="y\n" * len(orders.CARD)).exit_code == 0
    assert len(ears.heard) == 1
    assert say(ears, "confirm", keys="y\nn\n").exit_code != 0
    assert len(ears.heard) == 1


@pytest.mark.parametrize(
    ("text", "then"),
    [("17:30", "2026-05-01T17:30:00"), ("9:05", "2026-05-02T09:05:00"), ("12:00", "2026-05-02T12:00:00")],
)
def test_a_time_of_day_is_the_next_one(text: str, then: str) -> None:
    assert orders.clock_time(text, datetime(2026, 5, 1, 12, 0)).isoformat() == then


@pytest.mark.parametrize("text", ["", "noon", "24:00", "12:60", "12", "-1:00", "12:00:00"])
def test_what_is_no_time_of_day_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a time of day"):
        orders.clock_time(text, datetime(2026, 5, 1, 12, 0))
