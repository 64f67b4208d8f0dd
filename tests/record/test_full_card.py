"""A card that is really full: a small ext4 of the test's own, or where none can be made, files that may not grow."""

from __future__ import annotations

import os
import resource
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path

import pytest

from controller.record.historian import RETRY_S, Happening
from tests.record.loop import NotHere, ext4
from tests.record.workshop import historian, moment, quiet


class Card:
    """A folder whose file system can be filled to the last block."""

    words = "the disk is full"

    def __init__(self, folder: Path) -> None:
        self.folder, self._ballast = folder, folder / "ballast"

    def fill(self) -> None:
        with open(self._ballast, "ab", buffering=0) as file, suppress(OSError):
            for size in (65536, 4096):
                with suppress(OSError):
                    while file.write(b"x" * size):
                        os.fsync(file.fileno())

    def free(self) -> None:
        self._ballast.unlink()


class NoGrowth(Card):
    """No file of this process may become longer than the longest here."""

    words = "the disk reports an error"

    def fill(self) -> None:
        longest = max(path.stat().st_size for path in self.folder.iterdir())
        resource.setrlimit(resource.RLIMIT_FSIZE, (longest, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))

    def free(self) -> None:
        hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
        resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))


@contextmanager
def real(folder: Path) -> Iterator[Card]:
    try:
        with ext4(folder, megabytes=8) as loop:
            yield Card(loop.folder)
    except NotHere:
        with no_growth(folder) as card:
            yield card


@contextmanager
def no_growth(folder: Path) -> Iterator[Card]:
    card = NoGrowth(folder)
    try:
        yield card
    finally:
        card.free()


class Life:
    """A historian and its time: an event now and then, the trend in between."""

    def __init__(self, path: Path) -> None:
        self.historian = historian(path)
        self.now_s, self.told = 0, 0

    def note(self) -> bool:
        self.told += 1
        self.now_s += 1
        event = Happening("guard", self.told, float(self.now_s), "NOTE", "", sentence="x" * 3000)
        return self.historian.happened([event], moment(self.now_s))

    def live(self, seconds: int) -> None:
        for _ in range(seconds):
            self.now_s += 1
            self.historian.measure(moment(self.now_s), quiet(float(self.now_s % 7)))

    def seen(self) -> list[int]:
        with self.historian.history() as history:
            return [event.guard_number for event in history.events()]


@pytest.mark.parametrize("kind", [real, no_growth])
def test_a_full_card_is_said_spoils_nothing_and_is_written_again_once_there_is_room(
    tmp_path: Path, kind: Callable[[Path], AbstractContextManager[Card]]
) -> None:
    with kind(tmp_path) as card:
        life = Life(card.folder / "record.sqlite")
        one = life.historian
        assert all(life.note() for _ in range(20))
        while not one.health().trouble:  # SQLite itself makes room once, by giving back its write-ahead file
            card.fill()
            while life.note():
                assert life.told < 5000, "the card never filled up"
            life.live(int(RETRY_S) + 1)
        safe = one.safe_event("guard")
        life.live(700)
        health = one.health()
        assert card.words in health.trouble
        assert health.waiting_events == life.told - safe > 0
        assert health.waiting_blocks >= 5
        assert (health.lost_events, health.lost_blocks) == (0, 0)
        assert life.seen() == list(range(1, safe + 1)), "what was safe can be read while the card is full"
        card.free()
        life.live(int(RETRY_S) + 1)
        assert one.health().trouble == ""
        assert life.note()
        health = one.health()
        assert (health.waiting_events, health.waiting_blocks) == (0, 0)
        assert life.seen() == list(range(1, life.told + 1))
        assert one._db is not None
        assert one._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        one.close()
