"""How another program reads the record while the link writes it.

The link keeps the database to itself: shared with other programs, SQLite would hold an index of the write-ahead file
in a file of its own, which is a third of all that is written to the card. So whoever wants to read leaves a note
beside the database; the link finds it within a second or two, shares for a minute, longer while somebody reads, and
goes back. Within the link any thread reads at any time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from controller.record.schema import open_for_reading

LEND_S: Final = 60.0
PATIENCE_S: Final = 15.0
_AGAIN_S: Final = 0.2


class Busy(RuntimeError):
    """The link did not share the record in time."""


def note(path: Path) -> Path:
    return path.with_name(path.name + ".wanted")


def wanted(path: Path) -> bool:
    """Whether somebody asks to read; the note is taken away."""
    paper = note(path)
    if not paper.exists():
        return False
    with suppress(OSError):
        paper.unlink()
    return True


def borrow(
    path: Path, now: Callable[[], float], wait: Callable[[float], object], patience_s: float = PATIENCE_S
) -> sqlite3.Connection:
    """The database, for questions from outside the link. Raises Busy, FileNotFoundError or WrongDatabase."""
    give_up_s = now() + patience_s
    while True:
        try:
            return open_for_reading(path)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise
            if now() >= give_up_s:
                raise Busy(f"{path}: the link did not share it within {patience_s:.0f} s; is it hung?") from None
        try:
            note(path).touch()
        except OSError as error:
            raise Busy(f"{path}: the link has it, and no note can be left beside it: {error}") from None
        wait(_AGAIN_S)
