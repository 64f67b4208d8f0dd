"""Slow sensors and the card are waited for in threads; one that fails goes on and says so."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from controller.core.trips import Latch
from controller.guard.threads import LatchWriter, read_for_ever, start

LATCH = Latch(4, "0" * 16, powered=False)


class Stop(BaseException):
    """Ends a thread's endless work in a test."""


def test_what_is_on_disk_counts_only_once_it_was_written() -> None:
    card: list[Latch] = []
    writer = LatchWriter(card.append, 3)
    writer.give(LATCH)
    assert (writer.on_disk, writer.idle) == (3, False)
    assert writer.write_once()
    assert (writer.on_disk, writer.idle, card) == (4, True, [LATCH])


def test_a_latch_that_was_overtaken_is_not_written() -> None:
    card: list[int] = []
    writer = LatchWriter(lambda latch: card.append(latch.number), 3)
    for number in (4, 5, 6):
        writer.give(LATCH._replace(number=number))
    writer.write_once()
    writer.write_once()
    assert card == [6]


def test_a_card_that_stalls_keeps_nobody_waiting() -> None:
    card, written = threading.Event(), threading.Event()

    def slow(_latch: Latch) -> None:
        card.wait(30.0)
        written.set()

    writer = LatchWriter(slow, 3)
    start("latch", writer.run)
    writer.give(LATCH)
    for number in range(5, 200):
        writer.give(LATCH._replace(number=number))  # would wait here if it waited at all: the card is still stalled
    assert not written.is_set()
    assert writer.on_disk == 3
    card.set()
    assert written.wait(30.0)


def test_a_full_disk_is_said_and_tried_again() -> None:
    failures = [OSError(28, "No space left on device")]

    def write(_latch: Latch) -> None:
        if failures:
            raise failures.pop()

    writer = LatchWriter(write, 3)
    writer.give(LATCH)
    assert not writer.write_once()
    assert "No space left on device" in writer.error
    assert writer.on_disk == 3
    assert writer.write_once()
    assert (writer.error, writer.on_disk) == ("", 4)


def test_a_reader_that_raises_is_named_and_asked_again() -> None:
    class Group:
        name = "1-Wire bus"

        def __init__(self, results: list[BaseException | None]) -> None:
            self._results = results

        def run_once(self) -> None:
            result = self._results.pop(0)
            if result is not None:
                raise result

    notes: list[str] = []
    pauses: list[float] = []
    work: Callable[[], None] = read_for_ever(Group([None, KeyError("x"), None, Stop()]), pauses.append, notes.append)
    with pytest.raises(Stop):
        work()
    assert notes == ["1-Wire bus: KeyError: 'x'"]
    assert len(pauses) == 1
