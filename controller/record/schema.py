"""The database, table by table. This is its documentation: anybody may open the file and read it.

One sequence of numbers runs through `block`, `event`, `log` and `act`: the order in which things became safe on the
card. What an outage of the network forwards is what stands here, by that number. Numbers are given in the transaction
that stores, so none is ever given twice.

Times: `..._ms` and `at_s` count from the machine's power-up, which never steps. The date of anything is that plus
`power_up.offset_s`, the newest one seen while the clock was synchronised (see `dating`), so that a clock put right
later moves every row of that power-up, and none is rewritten.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Final

VERSION: Final = 1
APPLICATION: Final = 0x4C594557  # "LYEW", so that `file` and we know our own

TABLES: Final = """
CREATE TABLE about (          -- which rig this is the record of
  key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

CREATE TABLE power_up (       -- one life of the machine, from power-up to power-down
  id INTEGER PRIMARY KEY,     -- in order
  machine_boot TEXT NOT NULL UNIQUE,  -- the kernel's name for it
  offset_s REAL NOT NULL,     -- Unix time minus time since power-up
  synchronised INTEGER NOT NULL,  -- 1: the offset was taken from a synchronised clock
  first_s REAL NOT NULL,      -- first record
  last_s REAL);               -- last record; null while it lasts

CREATE TABLE signal (         -- a new row whenever unit or bound change
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, title TEXT NOT NULL, unit TEXT NOT NULL,
  bound REAL NOT NULL,        -- no sample was further from the stored line, in `unit`
  UNIQUE (name, unit, bound));

CREATE TABLE block (          -- all signals over some two minutes: see `blocks` for the packed form
  number INTEGER PRIMARY KEY, power_up INTEGER NOT NULL, begin_ms INTEGER NOT NULL, end_ms INTEGER NOT NULL,
  packed BLOB NOT NULL);

CREATE TABLE rollup (         -- least, mean, most: see `rollups` for the packed form
  level_s INTEGER NOT NULL,   -- 60, 3600 or 86400
  power_up INTEGER NOT NULL, begin_s INTEGER NOT NULL, packed BLOB NOT NULL,
  PRIMARY KEY (level_s, power_up, begin_s)) WITHOUT ROWID;

CREATE TABLE event (          -- what the guard said
  number INTEGER PRIMARY KEY, power_up INTEGER NOT NULL, at_s REAL NOT NULL,
  boot TEXT NOT NULL, guard_number INTEGER NOT NULL,  -- the guard's own number, which begins anew with each start of it
  what TEXT NOT NULL, subject TEXT NOT NULL, detail TEXT NOT NULL, source TEXT NOT NULL, sentence TEXT NOT NULL,
  seen REAL, limit_at REAL,   -- the number that decided, and its limit
  UNIQUE (boot, guard_number));

CREATE TABLE log (            -- what people wrote down
  number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, power_up INTEGER,  -- null: dated by the person
  at_s REAL NOT NULL,         -- since power-up; Unix time where power_up is null
  kind TEXT NOT NULL, who TEXT NOT NULL, amount REAL, unit TEXT NOT NULL, side TEXT NOT NULL, text TEXT NOT NULL);

CREATE TABLE act (            -- what people did about alarms
  number INTEGER PRIMARY KEY, power_up INTEGER NOT NULL, at_s REAL NOT NULL,
  what TEXT NOT NULL, alarm TEXT NOT NULL, who TEXT NOT NULL, until_s REAL, reason TEXT NOT NULL);

CREATE TABLE counter (        -- the rig's whole life: see `counters` for names and units
  name TEXT PRIMARY KEY, value REAL NOT NULL) WITHOUT ROWID;
"""

# A commit rewrites whole pages: small ones put its few hundred bytes on few sectors. Most of what reaches the card is
# the file system's journal (some 16 kB for each commit on ext4), which is why there are few commits.
PAGE_BYTES: Final = 512
# The write-ahead file keeps its length and is written over; about once in six hours it is moved into the database.
WAL_PAGES: Final = 2000
BUSY_S: Final = 1.0
# SQLite's way to keep a database to one process, its index of the write-ahead file in memory: see `lending`.
ALONE, SHARED = "unix-excl", "unix"


class WrongDatabase(ValueError):
    """The file is a database, but not this rig's record, or one of a newer version."""


def open_for_writing(path: Path, rig: str, vfs: str = SHARED) -> sqlite3.Connection:
    """The database, made if it was not there. vfs: ALONE or SHARED. Raises sqlite3.Error, OSError or WrongDatabase.

    Every commit is on the card before it returns (`synchronous = FULL`): in WAL mode the usual NORMAL would lose the
    last events to a power cut.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    db = _connect(path, f"vfs={vfs}")
    try:
        db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        db.execute(f"PRAGMA wal_autocheckpoint = {WAL_PAGES}")
        db.execute("PRAGMA cache_size = -1024")
        _ready(db, path, rig)
    except BaseException:
        db.close()
        raise
    return db


def _ready(db: sqlite3.Connection, path: Path, rig: str) -> None:
    application, version = _pragma(db, "application_id"), _pragma(db, "user_version")
    empty = not db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if empty:
        db.execute("BEGIN IMMEDIATE")
        for table in TABLES.split("\n\n"):
            db.execute(table)
        db.execute("INSERT INTO about VALUES ('rig', ?)", (rig,))
        db.execute(f"PRAGMA application_id = {APPLICATION}")
        db.execute(f"PRAGMA user_version = {VERSION}")
        db.execute("COMMIT")
        return
    if application != APPLICATION:
        raise WrongDatabase(f"{path} is a database, but not a record of ours; give another path")
    if version != VERSION:
        raise WrongDatabase(f"{path} has version {version} of the record, this program knows {VERSION}")
    known = db.execute("SELECT value FROM about WHERE key = 'rig'").fetchone()[0]
    if known != rig:
        raise WrongDatabase(f"{path} is the record of rig {known!r}, not of {rig!r}; give each rig its own path")


def open_for_reading(path: Path, vfs: str = SHARED) -> sqlite3.Connection:
    """The database, for questions only. Raises sqlite3.Error, FileNotFoundError or WrongDatabase.

    vfs: the one that it is open for writing with, where that is in the same process.
    """
    if not path.exists():
        raise FileNotFoundError(f"{path}: no record there yet")
    db = _connect(path, f"mode=ro&vfs={vfs}")
    try:
        if _pragma(db, "application_id") != APPLICATION:
            raise WrongDatabase(f"{path} is not a record of ours")
    except BaseException:
        db.close()
        raise
    return db


def _connect(path: Path, how: str) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?{how}"
    return sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=BUSY_S)


def _pragma(db: sqlite3.Connection, name: str) -> int:
    return int(db.execute(f"PRAGMA {name}").fetchone()[0])
