"""A card that is full, read-only or damaged: it is said, nothing stops, what fits in memory is stored later."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from controller.record import historian as module
from controller.record import told
from controller.record.historian import RETRY_S, Happening, Historian
from controller.record.schema import open_for_writing
from tests.record.workshop import NOON_S, SIGNALS, historian, moment, quiet


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "record.sqlite"


class Card:
    """Opens the database as ever, and makes SQLite refuse writes while `sick` says how."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.sick = ""
        monkeypatch.setattr(module, "open_for_writing", self.open)

    def open(self, path: Path, rig: str, vfs: str) -> sqlite3.Connection:
        db = open_for_writing(path, rig, vfs)
        if self.sick:
            db.execute(self.sick)
        return db

    def make_sick(self, one: Historian, how: str) -> None:
        self.sick = how
        assert one._db is not None
        one._db.execute(how)

    def make_well(self, one: Historian) -> None:
        self.sick = ""
        if one._db is not None:
            one._db.execute(ROOM)


ROOM = "PRAGMA max_page_count = 1000000"
FULL = "PRAGMA max_page_count = 1"  # as many as there are: not one more
READ_ONLY = "PRAGMA query_only = ON"


def note(number: int, at_s: float) -> Happening:
    return Happening("guard", number, at_s, "NOTE", "", sentence="x" * 500)


@pytest.mark.parametrize(("how", "words"), [(FULL, "the disk is full"), (READ_ONLY, "read-only")])
def test_a_sick_card_is_said_and_what_waited_is_stored_once_it_is_well(
    path: Path, monkeypatch: pytest.MonkeyPatch, how: str, words: str
) -> None:
    card = Card(monkeypatch)
    one = historian(path)
    one.happened([note(1, 1.0)], moment(1.0))
    assert one.safe_event("guard") == 1
    card.make_sick(one, how)
    told_of = [one.happened([note(n, float(n))], moment(float(n))) for n in range(2, 40)]
    assert told_of[-1] is False
    safe = one.safe_event("guard")
    assert safe == told_of.index(False) + 1  # the guard is told to keep what is not safe
    for at_s in range(40, 700):
        one.measure(moment(at_s), quiet(20.0))
    health = one.health()
    assert words in health.trouble
    assert health.waiting_events == 39 - safe
    assert health.waiting_blocks == 5
    assert (health.lost_blocks, health.lost_events) == (0, 0)
    card.make_well(one)
    for at_s in range(700, 700 + int(RETRY_S) + 1):
        one.measure(moment(at_s), quiet(20.0))
    one.flush(moment(731.0))
    assert one.health().trouble == ""
    with one.history() as history:
        assert [e.guard_number for e in history.events()] == list(range(1, 40))
        ((_, points),) = history.stored("current", NOON_S, NOON_S + 800)
        assert (points.at_s[0], points.at_s[-1]) == (40.0, 730.0)
        assert (points.mark == 0).sum() == 1  # one unbroken line


def test_what_does_not_fit_in_memory_is_counted_oldest_first(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(told, "WAITING_EVENTS", 10)
    monkeypatch.setattr(told, "WAITING_BYTES", 6000)
    card = Card(monkeypatch)
    one = historian(path)
    card.make_sick(one, READ_ONLY)
    for number in range(1, 31):
        one.happened([note(number, number)], moment(float(number)))
    for at_s in range(30, 2000):
        one.measure(moment(at_s), quiet(float(at_s % 7)))
    health = one.health()
    assert (health.lost_events, health.waiting_events) == (20, 10)
    assert health.lost_blocks > 0
    assert health.waiting_blocks > 0
    assert sum(len(block.data) for block in one._waiting.blocks) <= 6000
    card.sick = ""
    one.flush(moment(2000.0))
    with one.history() as history:
        assert [e.guard_number for e in history.events()] == list(range(21, 31))


def test_a_place_that_cannot_be_opened_is_tried_again(path: Path) -> None:
    path.mkdir()
    one = historian(path)
    assert "cannot be opened" in one.health().trouble
    assert one.happened([note(1, 1.0)], moment(1.0)) is False
    path.rmdir()
    assert one.happened([note(2, 2.0)], moment(RETRY_S + 2.0)) is True
    with one.history() as history:
        assert [e.guard_number for e in history.events()] == [1, 2]


def test_a_damaged_file_is_set_aside_and_a_new_record_begun(path: Path) -> None:
    path.write_bytes(b"not a database at all" * 1000)
    one = historian(path)
    assert "damaged" in one.health().trouble
    assert one.happened([note(1, 1.0)], moment(1.0))
    assert path.with_name(path.name + ".damaged-1").read_bytes().startswith(b"not a database")
    with one.history() as history:
        assert len(history.events()) == 1


def test_pages_damaged_in_the_middle_are_noticed_and_the_file_is_kept(path: Path) -> None:
    one = historian(path)
    for at_s in range(7200):
        one.measure(moment(at_s), quiet(float(at_s % 9)))
    one.flush(moment(7200))
    one.close()
    data = bytearray(path.read_bytes())
    data[4096:] = b"\xa5" * (len(data) - 4096)
    path.write_bytes(data)
    two = Historian(path, "boathouse", SIGNALS, "machine-2", moment(9000.0))
    assert "damaged" in two.health().trouble
    assert two.happened([note(1, 9001.0)], moment(9001.0))
    assert path.with_name(path.name + ".damaged-1").exists()
