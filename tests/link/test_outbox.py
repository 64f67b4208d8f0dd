"""The window on what the broker has not taken yet: in order, nothing skipped, and what a file is worth."""

from __future__ import annotations

from itertools import count
from pathlib import Path

import pytest

from controller.link.outbox import AGAIN_S, REMEMBER_EVERY_S, UNKNOWN, Item, Outbox


def filled(outbox: Outbox, *numbers: int, unsent: tuple[int, ...] = ()) -> list[int]:
    """Hand all of it over; the message numbers, which are ten times the record's."""
    wanted = outbox.wants()
    assert wanted is not None
    items = [Item(n, "topic", b"" if n in unsent else b"x") for n in numbers]
    outbox.fill(items, numbers[-1], wanted[1])
    sent: list[int] = []
    outbox.send(lambda item: sent.append(item.number * 10) or item.number * 10, 1000)  # type: ignore[func-returns-value]
    return sent


def test_taken_is_that_before_which_nothing_is_open_however_answers_come() -> None:
    outbox = Outbox(0)
    assert filled(outbox, 1, 2, 3, unsent=(2,)) == [10, 30]
    outbox.acknowledged(30, 0.0)
    assert outbox.taken == 0
    outbox.acknowledged(10, 0.0)
    assert outbox.taken == 3


def test_what_the_broker_refuses_is_read_again_and_what_came_before_is_not() -> None:
    outbox = Outbox(0)
    filled(outbox, 1, 2, 3)
    outbox.acknowledged(10, 0.0)
    assert outbox.refused(20)
    assert not outbox.refused(99)
    assert (outbox.taken, outbox.wants()) == (1, (1, 1))
    assert filled(outbox, 2, 3) == [20, 30]


def test_what_was_read_before_a_session_was_lost_is_not_mixed_with_what_is_read_after() -> None:
    outbox = Outbox(5)
    wanted = outbox.wants()
    assert wanted is not None
    outbox.begin_again()
    outbox.fill([Item(6, "topic", b"x")], 6, wanted[1])
    assert outbox.wants() == (5, wanted[1] + 1)


def test_a_broker_that_forgot_is_told_the_last_half_minute_again() -> None:
    outbox = Outbox(0)
    for number, at_s in zip(count(1), (0.0, 10.0, 20.0, 45.0), strict=False):
        for mid in filled(outbox, number):
            outbox.acknowledged(mid, at_s)
    assert outbox.taken == 4
    outbox.begin_again()
    assert outbox.taken in range(1, 4)  # at least what was taken within the last
    assert AGAIN_S == 30.0


@pytest.mark.parametrize(
    ("text", "taken"), [(b"7", 7), (b"%020d\n" % 7, 7), (b"99999", 5000), (b"", 4000), (b"\0" * 21, 4000)]
)
def test_a_file_that_a_power_cut_has_spoilt_costs_repeats_and_no_loss(tmp_path: Path, text: bytes, taken: int) -> None:
    file = tmp_path / "sent"
    file.write_bytes(text)
    assert Outbox.remembered(file, 5000).taken == taken
    assert UNKNOWN == 1000


def test_without_a_file_what_was_stored_before_counts_as_told(tmp_path: Path) -> None:
    first = Outbox.remembered(tmp_path / "sent", 5000)
    assert first.taken == 5000
    first.remember(0.0)
    assert Outbox.remembered(tmp_path / "sent", 6000).taken == 5000, "what is stored from now on is not"
    assert Outbox.remembered(None, 5000).taken == 5000


def test_what_was_sent_is_remembered_at_once_and_what_needed_no_sending_now_and_then(tmp_path: Path) -> None:
    file = tmp_path / "sent"
    outbox = Outbox(0, file)
    for mid in filled(outbox, 1):
        outbox.acknowledged(mid, 0.0)
    outbox.remember(0.0)
    assert int(file.read_text()) == 1
    filled(outbox, 2, unsent=(2,))
    outbox.remember(1.0)
    assert int(file.read_text()) == 1
    outbox.remember(REMEMBER_EVERY_S + 1.0)
    assert int(file.read_text()) == 2
