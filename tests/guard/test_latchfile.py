"""The latch on disk: whatever happens to the files, a start is tripped or has exactly what was written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from controller.core.limits import TripKind
from controller.core.rig import Rig
from controller.core.trips import Cause, Latch, Rank, Seen
from controller.guard import latchfile
from controller.guard.latchfile import NAMES, Found, LatchFile, decode, encode, recover
from tests.core.bench import rig

LOST = "memory of the last run lost"
RIG = rig()
TRIP = Cause("over-temperature", TripKind.RESETTABLE, Rank.PROCESS, Seen.BEYOND, 12.5, 10.25, 0, 0, 71.3, 70.0, "cell")
QUIET = Latch(7, RIG.rig_hash, powered=False, running_h=12.25, trips_in_running=(0.1, 0.2))
TRIPPED = QUIET._replace(number=8, causes=(TRIP,))


def written(folder: Path, *latches: Latch) -> LatchFile:
    file = LatchFile(folder, RIG.name)
    for latch in latches:
        file.write(latch)
    return file


def started(folder: Path, rig_: Rig = RIG) -> Latch:
    return LatchFile(folder, rig_.name).start(rig_, 100.0)


def says(latch: Latch) -> tuple[object, ...]:
    """A latch without what every start changes: its number and the count of starts."""
    return tuple(latch._replace(number=0, starts_without_health=0))


def causes(latch: Latch) -> list[str]:
    return [cause.name for cause in latch.causes]


def test_a_latch_comes_back_exactly_as_it_was_written(tmp_path: Path) -> None:
    written(tmp_path, QUIET, TRIPPED)
    found = started(tmp_path)
    assert says(found) == says(TRIPPED)
    assert found.number == 9


def test_a_first_start_is_tripped_until_somebody_at_the_rig_resets_it(tmp_path: Path) -> None:
    found = started(tmp_path / "new")
    assert causes(found) == [LOST]
    assert found.kind is TripKind.LOCAL


def test_a_rig_file_that_has_not_run_yet_is_looked_at_in_its_first_power_until_one_has_passed(tmp_path: Path) -> None:
    assert started(tmp_path / "new").first_power_due
    assert started(tmp_path, RIG).first_power_due
    written(tmp_path, QUIET, QUIET._replace(number=8))
    assert not started(tmp_path).first_power_due
    changed = rig(rig_hash="1" * 16)
    due = started(tmp_path, changed)
    assert due.first_power_due
    written(tmp_path, due._replace(number=9), due._replace(number=10))
    assert started(tmp_path, changed).first_power_due  # accepting the settings is no run


def test_after_a_first_start_and_one_write_the_next_start_is_sure(tmp_path: Path) -> None:
    written(tmp_path, started(tmp_path)._replace(causes=()))
    assert causes(started(tmp_path)) == []


def test_a_folder_that_cannot_be_made_comes_up_tripped(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    assert causes(started(tmp_path / "file" / "state")) == [LOST]


@pytest.mark.parametrize("name", NAMES)
def test_one_missing_file_is_a_doubt(tmp_path: Path, name: str) -> None:
    written(tmp_path, QUIET, QUIET._replace(number=8))
    (tmp_path / name).unlink()
    assert causes(started(tmp_path)) == [LOST]


def test_what_the_surviving_file_says_is_kept(tmp_path: Path) -> None:
    held = QUIET._replace(held_by="Ada", hold_reason="gasket", causes=(TRIP,), locked_out=True)
    written(tmp_path, held, held._replace(number=8, running_h=13.0))
    (tmp_path / NAMES[1]).write_bytes(b"")
    found = started(tmp_path)
    assert (found.held_by, found.hold_reason, found.locked_out) == ("Ada", "gasket", True)
    assert causes(found) == ["over-temperature", LOST]


def test_powered_on_disk_at_a_start_is_a_trip(tmp_path: Path) -> None:
    written(tmp_path, QUIET, QUIET._replace(number=8, powered=True))
    found = started(tmp_path)
    assert causes(found) == ["guard ended while powered"]
    assert not found.powered


def test_another_rigs_record_is_a_doubt(tmp_path: Path) -> None:
    written(tmp_path, QUIET, TRIPPED)
    assert causes(started(tmp_path, rig(name="another"))) == [LOST]


def test_a_record_of_an_older_format_is_a_doubt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(latchfile, "FORMAT", 0)
    written(tmp_path, QUIET, QUIET._replace(number=8))
    monkeypatch.undo()
    assert causes(started(tmp_path)) == [LOST]


def test_a_changed_rig_file_must_be_accepted_and_is_no_trip(tmp_path: Path) -> None:
    written(tmp_path, QUIET, QUIET._replace(number=8))
    found = started(tmp_path, rig(rig_hash="1" * 16))
    assert (causes(found), found.settings_accepted, found.rig_hash) == ([], False, "1" * 16)


def test_settings_not_accepted_stay_so_over_a_start(tmp_path: Path) -> None:
    written(tmp_path, QUIET, QUIET._replace(number=8, settings_accepted=False))
    assert not started(tmp_path).settings_accepted


def test_the_fifth_start_without_health_locks_out(tmp_path: Path) -> None:
    written(tmp_path, QUIET, QUIET._replace(number=8))
    for _ in range(4):
        found = started(tmp_path)
        assert causes(found) == []
        file = LatchFile(tmp_path, RIG.name)
        file.find()
        file.write(found)
    found = started(tmp_path)
    assert causes(found) == ["restart loop"]
    assert found.locked_out


def test_a_number_older_than_the_other_files_says_is_a_doubt(tmp_path: Path) -> None:
    """One file put back from a backup."""
    file = written(tmp_path, QUIET, QUIET._replace(number=8))
    old = (tmp_path / NAMES[0]).read_bytes()
    file.write(TRIPPED._replace(number=9))
    file.write(TRIPPED._replace(number=10))
    newest = max(NAMES, key=lambda n: decode((tmp_path / n).read_bytes()).latch.number)
    other = NAMES[1 - NAMES.index(newest)]
    (tmp_path / other).write_bytes(old)
    assert LOST in causes(started(tmp_path))


@pytest.mark.parametrize("name", NAMES)
def test_every_flipped_bit_is_tripped(tmp_path: Path, name: str) -> None:
    written(tmp_path, QUIET, QUIET._replace(number=8))
    files = [(tmp_path / n).read_bytes() for n in NAMES]
    at = NAMES.index(name)
    for place in range(len(files[at])):
        for bit in (0, 3, 7):
            changed = bytearray(files[at])
            changed[place] ^= 1 << bit
            both = [bytes(changed), files[1 - at]][:: 1 if at == 0 else -1]
            assert LOST in causes(recover(RIG, Found((both[0], both[1]), False), 1.0)), (place, bit)


@pytest.mark.parametrize("name", NAMES)
def test_every_truncation_is_tripped(tmp_path: Path, name: str) -> None:
    written(tmp_path, QUIET, QUIET._replace(number=8))
    whole = (tmp_path / name).read_bytes()
    for length in range(len(whole)):
        (tmp_path / name).write_bytes(whole[:length])
        assert LOST in causes(started(tmp_path)), length


@pytest.mark.parametrize("both", [(b"", b""), (b"\xff" * 300, b"\0" * 300), (b"[]\n", b"null\n")])
def test_two_bad_files_are_tripped(both: tuple[bytes, bytes]) -> None:
    assert causes(recover(RIG, Found(both, False), 1.0)) == [LOST]


def test_a_line_of_the_right_checksum_and_the_wrong_shape_is_tripped() -> None:
    good = encode(RIG.name, 6, QUIET)
    import hashlib

    line = f'[{latchfile.FORMAT},"pretend",6,[7]]\n'.encode()
    bad = (line + hashlib.sha256(line).hexdigest().encode() + b"\n").ljust(latchfile.BLOCK, b"\0")
    with pytest.raises(ValueError, match=r"^(?!torn|checksum|another format)"):
        decode(bad)
    assert causes(recover(RIG, Found((good, bad), False), 1.0)) == [LOST]


_WRITE_AND_DIE = """
import os, sys
from pathlib import Path
from controller.guard.latchfile import LatchFile
from tests.guard.test_latchfile import QUIET, RIG, TRIPPED
calls = int(sys.argv[2])
def counted(real):
    def call(*args, **kwargs):
        global calls
        if calls == 0:
            os._exit(9)
        calls -= 1
        return real(*args, **kwargs)
    return call
file = LatchFile(Path(sys.argv[1]), RIG.name)
file.find()
for name in ("open", "fstat", "write", "fdatasync", "fsync", "close", "rename", "unlink"):
    setattr(os, name, counted(getattr(os, name)))
file.write(TRIPPED._replace(number=9))
os._exit(0)
"""


@pytest.mark.parametrize("calls", range(6))
def test_killed_at_any_system_call_of_a_write_the_next_start_is_tripped_or_exact(tmp_path: Path, calls: int) -> None:
    before = QUIET._replace(number=8)
    written(tmp_path, QUIET, before)
    ended = subprocess.run([sys.executable, "-c", _WRITE_AND_DIE, str(tmp_path), str(calls)], timeout=60, check=False)
    found = started(tmp_path)
    if ended.returncode == 0:
        assert calls == 5, "the write made fewer system calls than this test kills at"
        assert says(found) == says(TRIPPED)
    else:
        assert LOST in causes(found) or says(found) in (says(before), says(TRIPPED))


@pytest.mark.parametrize("longer", [False, True])
def test_torn_at_any_sector_of_a_write_in_place_the_next_start_is_tripped_or_exact(
    tmp_path: Path, longer: bool
) -> None:
    """A cut lets any of the sectors of 512 bytes through, in any order: every subset of those that differ."""
    before = QUIET._replace(number=8)
    after = TRIPPED._replace(number=9, hold_reason="a" * (1500 if longer else 0))
    file = written(tmp_path, QUIET, before)
    old = [(tmp_path / name).read_bytes() for name in NAMES]
    file.write(after)
    new = [(tmp_path / name).read_bytes() for name in NAMES]
    (at,) = [n for n in (0, 1) if old[n] != new[n]]  # the newer one is as it was
    assert decode(old[1 - at]).latch == before
    assert len(old[at]) == len(new[at])  # in place: the file system has nothing to note
    places = range(0, len(new[at]), 512)
    sectors = [place for place in places if old[at][place : place + 512] != new[at][place : place + 512]]
    assert len(sectors) >= (4 if longer else 1)
    for chosen in range(2 ** len(sectors)):
        torn = bytearray(old[at])
        for bit, place in enumerate(sectors):
            if chosen >> bit & 1:
                torn[place : place + 512] = new[at][place : place + 512]
        (tmp_path / NAMES[at]).write_bytes(torn)
        found = started(tmp_path)
        assert LOST in causes(found) or says(found) == says(before if chosen == 0 else after), chosen


def test_a_latch_that_grows_and_shrinks_is_read_back_each_time(tmp_path: Path) -> None:
    file = written(tmp_path, QUIET, QUIET._replace(number=8))
    for number, length in enumerate((0, 9000, 10, 3900, 0, 20_000, 5), start=9):
        latch = QUIET._replace(number=number, hold_reason="a" * length)
        file.write(latch)
        assert says(started(tmp_path)) == says(latch), length


def _as_format_2(data: bytes) -> bytes:
    import hashlib

    line = data.partition(b"\n")[0].replace(b"[3,", b"[2,", 1) + b"\n"
    return line + hashlib.sha256(line).hexdigest().encode() + b"\n"


def test_files_of_the_format_without_padding_are_read_and_written_over(tmp_path: Path) -> None:
    written(tmp_path, QUIET, TRIPPED)
    for name in NAMES:
        (tmp_path / name).write_bytes(_as_format_2((tmp_path / name).read_bytes()))
    found = started(tmp_path)
    assert says(found) == says(TRIPPED)
    file = LatchFile(tmp_path, RIG.name)
    file.start(RIG, 100.0)
    file.write(found)
    assert says(started(tmp_path)) == says(TRIPPED)


def test_a_write_of_the_older_kind_that_was_cut_short_is_a_doubt_until_the_next_write(tmp_path: Path) -> None:
    file = written(tmp_path, QUIET, QUIET._replace(number=8))
    (tmp_path / latchfile.UNFINISHED).write_bytes(b"half")
    assert causes(started(tmp_path)) == [LOST]
    file.write(QUIET._replace(number=9))
    assert causes(started(tmp_path)) == []


def test_a_full_disk_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = written(tmp_path, QUIET, QUIET._replace(number=8))

    def full(_fd: int, _data: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(OSError, match="No space left"):
        file.write(TRIPPED._replace(number=9))
    monkeypatch.undo()
    assert causes(started(tmp_path)) == [LOST], "a write cut short is a doubt: a trip may have been lost with it"
    file.write(TRIPPED._replace(number=10))
    assert says(started(tmp_path)) == says(TRIPPED), "and a later write heals it"
