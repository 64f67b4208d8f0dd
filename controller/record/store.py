"""One commit: everything that waits, into the tables, whole or not at all."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import NamedTuple

from controller.record import blocks, counters, upkeep
from controller.record.dating import PowerUp, better
from controller.record.history import History
from controller.record.logbook import Entry
from controller.record.told import Tracked, Waiting
from controller.record.upkeep import Keep


class Life(NamedTuple):
    """This power-up of the machine, as the historian knows it."""

    machine_boot: str
    clock: PowerUp
    signals: Sequence[Tracked]
    ids: Sequence[int]  # of the signals; empty: not looked up yet
    keep: Keep


class Known(NamedTuple):
    """What a commit has found or made."""

    power_up: PowerUp
    ids: list[int]


def commit(db: sqlite3.Connection, wait: Waiting, life: Life) -> Known:
    """Raises sqlite3.Error, and then nothing of it is stored."""
    db.execute("BEGIN IMMEDIATE")
    try:
        known = _store(db, wait, life)
        db.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):
            db.execute("ROLLBACK")
        raise
    return known


def _store(db: sqlite3.Connection, wait: Waiting, life: Life) -> Known:
    power_up = _own_power_up(db, life)
    ids = list(life.ids) or [_signal(db, signal) for signal in life.signals]
    number = History(db).newest_number()
    grown = dict(wait.grown)
    for block in wait.blocks:
        number += 1
        sealed = blocks.seal(block.data, ids)
        db.execute("INSERT INTO block VALUES (?, ?, ?, ?, ?)", (number, power_up.id, *block[:2], sealed))
    for event in wait.events:
        boot, guard_number, at_s, *rest = event
        row = (number + 1, power_up.id, at_s, boot, guard_number, *rest)
        if db.execute(f"INSERT OR IGNORE INTO event VALUES ({_marks(row)})", row).rowcount:
            number += 1
            _add(grown, counters.by_event(event.what, event.subject))
    for entry in wait.lines:
        row = (number + 1, entry.id, *_when(db, entry), *_what(entry))
        if db.execute(f"INSERT OR IGNORE INTO log VALUES ({_marks(row)})", row).rowcount:
            number += 1
            _add(grown, counters.by_entry(entry.kind, entry.number, entry.unit))
    for at_s, deed in wait.deeds:
        number += 1
        row = (number, power_up.id, at_s, *deed)
        db.execute(f"INSERT INTO act VALUES ({_marks(row)})", row)
    upsert = "INSERT INTO counter VALUES (?, ?) ON CONFLICT DO UPDATE SET value = value + excluded.value"
    db.executemany(upsert, grown.items())
    if wait.blocks:
        upkeep.after_block(db, power_up, wait.blocks[-1].end_ms / 1000.0, life.keep)
    return Known(power_up, ids)


def _own_power_up(db: sqlite3.Connection, life: Life) -> PowerUp:
    """This machine's life in the database: made, or its offset put right."""
    clock = life.clock
    query = "SELECT id, offset_s, synchronised, first_s, last_s FROM power_up WHERE machine_boot = ?"
    row = db.execute(query, (life.machine_boot,)).fetchone()
    if row is None:
        upkeep.close_power_up(db)
        at = (life.machine_boot, clock.offset_s, clock.synchronised, clock.first_s)
        made = db.execute(
            "INSERT INTO power_up (machine_boot, offset_s, synchronised, first_s) VALUES (?, ?, ?, ?)", at
        ).lastrowid
        assert made is not None
        return clock._replace(id=made)
    known = PowerUp(row[0], row[1], bool(row[2]), row[3], row[4])
    if better(known, clock.offset_s, clock.synchronised):
        put = (clock.offset_s, clock.synchronised, known.id)
        db.execute("UPDATE power_up SET offset_s = ?, synchronised = ? WHERE id = ?", put)
        known = known._replace(offset_s=clock.offset_s, synchronised=clock.synchronised)
    return known


def _add(grown: dict[str, float], more: Mapping[str, float]) -> None:
    for name, value in more.items():
        grown[name] = grown.get(name, 0.0) + value


def _marks(row: Sequence[object]) -> str:
    return ", ".join("?" * len(row))


def _signal(db: sqlite3.Connection, signal: Tracked) -> int:
    """The id of a signal. A changed unit or bound makes a new one."""
    db.execute("INSERT OR IGNORE INTO signal (name, title, unit, bound) VALUES (?, ?, ?, ?)", signal)
    query = "SELECT id FROM signal WHERE name = ? AND unit = ? AND bound = ?"
    return int(db.execute(query, (signal.name, signal.unit, signal.bound)).fetchone()[0])


def _when(db: sqlite3.Connection, entry: Entry) -> tuple[int | None, float]:
    """The power-up a line was written in and the time in it, so that it is re-dated too; else its calendar time."""
    if entry.time_s is not None:
        return None, entry.time_s
    row = db.execute("SELECT id FROM power_up WHERE machine_boot = ?", (entry.machine_boot,)).fetchone()
    return (None, entry.wall_s) if row is None else (int(row[0]), entry.mono_s)


def _what(entry: Entry) -> tuple[str, str, float | None, str, str, str]:
    return entry.kind, entry.who, entry.number, entry.unit, entry.side, entry.text
