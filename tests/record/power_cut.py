"""Power cuts: a writer that is killed at random, write-ahead files cut and garbled, checkpoints torn in the middle.

    python -m tests.record.power_cut [how many of each]

What counts as safe is what the historian said was on the card: those events must all be there, the file must be
whole, and at most two minutes of the trend may be missing.
"""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from controller.record.historian import Happening, Historian
from controller.record.history import History
from controller.record.schema import open_for_writing
from tests.record.workshop import NOON_S, historian, moment, quiet

SECTOR = 512
WRITER = "import sys; from tests.record.power_cut import write; write(sys.argv[1], sys.argv[2])"


class Found(NamedTuple):
    """What a cut left."""

    whole: bool
    events: int
    missing_events: int
    missing_trend_s: float


def write(path: str, life: str) -> None:
    """A link that lives fast: one second of the rig in every turn, one event in every ten; says what is safe."""
    one = historian(Path(path), boot=life)
    at_s, number = 0.0, 0
    while True:
        at_s += 1.0
        now = moment(at_s, offset_s=NOON_S + int(life) * 1e6)
        one.measure(now, quiet(at_s % 11))
        if int(at_s) % 10 == 0:
            number += 1
            if not one.happened([Happening(life, number, at_s, "NOTE", "")], now):
                sys.exit(one.health().trouble)
        print(number, at_s, flush=True)  # noqa: T201


def kill_once(path: Path, life: int, rng: random.Random) -> Found:
    """Let a writer say a random number of lines, kill it, and look."""
    lines = rng.randint(1, 900)
    number, at_s = 0, 0.0
    command = [sys.executable, "-c", WRITER, str(path), str(life)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        for nth, line in enumerate(writer.stdout):
            if line.endswith("\n"):  # the last one may have been cut too
                number, at_s = int(line.split()[0]), float(line.split()[1])
            if nth == lines:
                writer.send_signal(signal.SIGKILL)
    return look(path, str(life), number, at_s)


def look(path: Path, boot: str, said_number: int, said_s: float) -> Found:
    """Open as the link would after the cut, and compare with what was said to be safe."""
    db = open_for_writing(path, "boathouse")
    whole = db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    numbers = {n for (n,) in db.execute("SELECT guard_number FROM event WHERE boot = ?", (boot,))}
    query = "SELECT max(end_ms) / 1000.0 FROM block JOIN power_up ON power_up = power_up.id WHERE machine_boot = ?"
    newest = db.execute(query, (boot,)).fetchone()[0]
    db.close()
    missing = set(range(1, said_number + 1)) - numbers
    return Found(whole, len(numbers), len(missing), said_s - (newest or 0.0))


class Tape(NamedTuple):
    """A record as it grew: how long the write-ahead file was when each event was said to be safe."""

    database: bytes
    wal: bytes
    lengths: list[int]
    after: bytes  # the database once all of it has been moved there


def tape(folder: Path, events: int = 60) -> Tape:
    path = folder / "tape.sqlite"
    one = historian(path, boot="0")
    database, lengths = path.read_bytes(), []
    wal = path.with_name(path.name + "-wal")
    for number in range(1, events + 1):
        for at in range(40):
            one.measure(moment(number * 40.0 - 40.0 + at), quiet(float(at % 5)))
        assert one.happened([Happening("0", number, number * 40.0 - 1, "NOTE", "")], moment(number * 40.0 - 1))
        lengths.append(wal.stat().st_size)
    data = wal.read_bytes()
    assert path.read_bytes() == database  # nothing moved yet, so the write-ahead file only ever grew
    assert one._db is not None
    one._db.execute("PRAGMA wal_checkpoint(FULL)")
    after = path.read_bytes()
    one.close()
    return Tape(database, data, lengths, after)


def cut_wal(tape: Tape, folder: Path, rng: random.Random) -> Found:
    """The card got the write-ahead file up to some point, and rubbish or nothing of the sectors after the last sync."""
    at = rng.randint(tape.lengths[0], len(tape.wal))
    safe = sum(length <= at for length in tape.lengths)
    data = bytearray(tape.wal[:at])
    for begin in range(tape.lengths[safe - 1] // SECTOR * SECTOR, at, SECTOR):
        if rng.random() < 0.5:  # never what is in the sector before the last sync
            first = max(begin, tape.lengths[safe - 1])
            size = len(data[first : begin + SECTOR])
            data[first : begin + SECTOR] = rng.randbytes(size) if rng.random() < 0.5 else bytes(size)
    return _try(tape.database, bytes(data), folder, safe)


def tear_checkpoint(tape: Tape, folder: Path, rng: random.Random) -> Found:
    """Power went while the write-ahead file was being moved into the database: any mix of old and new sectors."""
    size = rng.randint(len(tape.database), len(tape.after))
    mixed = bytearray(tape.database + bytes(max(0, size - len(tape.database))))
    for begin in range(0, size, SECTOR):
        if rng.random() < 0.5:
            mixed[begin : begin + SECTOR] = tape.after[begin : min(begin + SECTOR, size)]
    return _try(bytes(mixed), tape.wal, folder, len(tape.lengths))


def _try(database: bytes, wal: bytes, folder: Path, safe: int) -> Found:
    path = folder / "cut.sqlite"
    for old in folder.glob("cut.sqlite*"):
        old.unlink()
    path.write_bytes(database)
    path.with_name(path.name + "-wal").write_bytes(wal)
    found = look(path, "0", safe, safe * 40.0 - 1)
    again = Historian(path, "boathouse", [], "1", moment(1e5))  # and it goes on
    assert again.happened([Happening("1", 1, 1e5, "NOTE", "")], moment(1e5)), again.health().trouble
    again.close()
    return found


def kills(folder: Path, count: int, seed: int) -> list[Found]:
    rng, path = random.Random(seed), folder / "killed.sqlite"
    return [kill_once(path, life, rng) for life in range(count)]


def tears(folder: Path, count: int, seed: int) -> list[Found]:
    rng, grown = random.Random(seed), tape(folder)
    return [tear(grown, folder, rng) for _ in range(count) for tear in (cut_wal, tear_checkpoint)]


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    folder = Path(tempfile.mkdtemp())
    try:
        for name, found in (("killed", kills(folder, count, 1)), ("torn", tears(folder, count, 2))):
            print(  # noqa: T201
                f"{name}: {len(found)} times; not whole {sum(not f.whole for f in found)}; events missing"
                f" {sum(f.missing_events for f in found)} of {sum(f.events for f in found)};"
                f" trend missing at most {max(f.missing_trend_s for f in found):.0f} s"
            )
        with History.open(folder / "killed.sqlite") as history:
            print(f"power-ups {len(history.power_ups())}, numbers given {history.newest_number()}")  # noqa: T201
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
