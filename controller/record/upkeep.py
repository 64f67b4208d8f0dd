"""What the record does to itself: rolls up finished hours and days, closes the life of a machine that is over, and
throws away the detail that is too old or too much."""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

import numpy as np

from controller.record import rollups
from controller.record.dating import PowerUp
from controller.record.history import History
from controller.record.rollups import DAY_S, HOUR_S, MINUTE_S, Buckets

GIVE_BACK = 0.05  # share of the detail thrown away when the record is too big


class Keep(NamedTuple):
    """How long things are kept. Events, logbook, hours, days and counters are kept for ever."""

    stored_days: float = 60.0  # every stored point
    minutes_days: float = 800.0
    most_bytes: int = 1_000_000_000  # beyond it stored points go first, then minutes
    least_blocks: int = 1000  # about a day of stored points stays whatever the size


def bytes_used(db: sqlite3.Connection) -> int:
    pages, free, size = (
        int(db.execute(f"PRAGMA {name}").fetchone()[0]) for name in ("page_count", "freelist_count", "page_size")
    )
    return (pages - free) * size


def after_block(db: sqlite3.Connection, power_up: PowerUp, end_s: float, keep: Keep) -> None:
    """To be called in the transaction that stores blocks; end_s: end of the newest, since power-up."""
    if roll_up(db, power_up.id, end_s):
        tidy(db, power_up, end_s, keep)


def roll_up(db: sqlite3.Connection, power_up: int, end_s: float, over: bool = False) -> bool:
    """Roll up the hours and days that end by end_s, or all there is where the power-up is over. True: some were."""
    history = History(db)
    query = "SELECT max(begin_s) FROM rollup WHERE level_s = ? AND power_up = ?"
    done = db.execute(query, (HOUR_S, power_up)).fetchone()[0]
    begin_s = history.oldest_stored(power_up) if done is None else float(done) + HOUR_S
    if begin_s is None:
        return False
    hour_s = int(begin_s) // HOUR_S * HOUR_S
    rolled = False
    while hour_s + HOUR_S <= end_s or (over and hour_s <= end_s):
        _roll_hour(db, history, power_up, hour_s)
        rolled = True
        hour_s += HOUR_S
        if hour_s % DAY_S == 0 or (over and hour_s > end_s):
            _roll_day(db, power_up, (hour_s - 1) // DAY_S * DAY_S)
    return rolled


def _roll_hour(db: sqlite3.Connection, history: History, power_up: int, hour_s: int) -> None:
    minutes: dict[int, Buckets] = {}
    for ident, points in history.points(power_up, hour_s, hour_s + HOUR_S).items():
        buckets = rollups.summarise(points, hour_s, MINUTE_S, HOUR_S // MINUTE_S)
        if (buckets.seen_s > 0.0).any():
            minutes[ident] = buckets
    _put(db, MINUTE_S, power_up, hour_s, minutes)
    _put(db, HOUR_S, power_up, hour_s, {ident: rollups.merged(buckets) for ident, buckets in minutes.items()})


def _roll_day(db: sqlite3.Connection, power_up: int, day_s: int) -> None:
    hours: dict[int, list[Buckets]] = {}
    for (packed,) in db.execute(
        "SELECT packed FROM rollup WHERE level_s = ? AND power_up = ? AND begin_s >= ? AND begin_s < ?",
        (HOUR_S, power_up, day_s, day_s + DAY_S),
    ):
        for ident, buckets in rollups.unpack(packed).items():
            hours.setdefault(ident, []).append(buckets)
    day = {
        ident: rollups.merged(Buckets(*(np.concatenate(column) for column in zip(*some, strict=True))))
        for ident, some in hours.items()
    }
    _put(db, DAY_S, power_up, day_s, day)


def _put(db: sqlite3.Connection, level_s: int, power_up: int, begin_s: int, signals: dict[int, Buckets]) -> None:
    """An hour in which nothing was seen has its row too: it says that it was looked at."""
    db.execute("INSERT OR REPLACE INTO rollup VALUES (?, ?, ?, ?)", (level_s, power_up, begin_s, rollups.pack(signals)))


def close_power_up(db: sqlite3.Connection) -> None:
    """The machine's last life is over: say when, and roll up what is left of it."""
    row = db.execute("SELECT id, first_s FROM power_up WHERE last_s IS NULL ORDER BY id DESC LIMIT 1").fetchone()
    if row is None:
        return
    ident, last_s = row
    for query in (
        "SELECT power_up, end_ms / 1000.0 FROM block ORDER BY number DESC LIMIT 1",
        "SELECT power_up, at_s FROM event ORDER BY number DESC LIMIT 1",
    ):
        newest = db.execute(query).fetchone()
        if newest is not None and newest[0] == ident:
            last_s = max(last_s, newest[1])
    db.execute("UPDATE power_up SET last_s = ? WHERE id = ?", (last_s, ident))
    roll_up(db, ident, last_s, over=True)


def tidy(db: sqlite3.Connection, now: PowerUp, now_s: float, keep: Keep) -> None:
    """Throw away what is too old, by a clock that is known to be right, or too much."""
    history = History(db)
    if now.synchronised:
        wall_s = now.offset_s + now_s
        too_old = [
            history.first_block(one.id, wall_s - keep.stored_days * DAY_S - one.offset_s) for one in history.power_ups()
        ]
        db.execute("DELETE FROM block WHERE number < ?", (min(too_old),))
        for one in history.power_ups():
            old_s = wall_s - keep.minutes_days * DAY_S - one.offset_s
            where = "level_s = ? AND power_up = ? AND begin_s < ?"
            db.execute(f"DELETE FROM rollup WHERE {where}", (MINUTE_S, one.id, old_s - HOUR_S))
    while bytes_used(db) > keep.most_bytes and _give_back(db, keep.least_blocks):
        pass


def _give_back(db: sqlite3.Connection, least_blocks: int) -> bool:
    """Some of the oldest detail: stored points while there are more than the least, else minutes. False: none left."""
    count = db.execute("SELECT count(*) FROM block").fetchone()[0]
    if count > least_blocks:
        query = "DELETE FROM block WHERE number IN (SELECT number FROM block ORDER BY number LIMIT ?)"
        return db.execute(query, (int(count * GIVE_BACK) + 1,)).rowcount > 0
    count = db.execute("SELECT count(*) FROM rollup WHERE level_s = ?", (MINUTE_S,)).fetchone()[0]
    query = (
        "DELETE FROM rollup WHERE level_s = ?1 AND (power_up, begin_s) IN"
        " (SELECT power_up, begin_s FROM rollup WHERE level_s = ?1 ORDER BY power_up, begin_s LIMIT ?2)"
    )
    return db.execute(query, (MINUTE_S, int(count * GIVE_BACK) + 1)).rowcount > 0
