"""Other programs read the record while the link writes it, and threads of the link at any time."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from controller.record.historian import Happening, Historian
from controller.record.lending import LEND_S, note
from controller.record.schema import ALONE, SHARED
from tests.record.workshop import historian, moment, quiet

READER = """
import sys, time
from pathlib import Path
from controller.record.history import History
from controller.record.lending import borrow
print(len(History(borrow(Path(sys.argv[1]), time.monotonic, time.sleep)).events()))
"""

HOLDER = """
import sys, time
from pathlib import Path
from controller.record.history import History
from controller.record.lending import borrow
history = History(borrow(Path(sys.argv[1]), time.monotonic, time.sleep))
history.events()
print("reading", flush=True)
sys.stdin.readline()
print(len(history.events()), flush=True)
"""

IMPATIENT = """
import sys, time
from pathlib import Path
from controller.record.lending import Busy, borrow
try:
    borrow(Path(sys.argv[1]), time.monotonic, time.sleep, 2.0)
except Busy as busy:
    print(busy)
"""


def _let_in(one: Historian, reader: subprocess.Popen[str], at_s: float) -> None:
    """Time goes on by a second once the reader stands at the door, and no further."""
    while not note(one._path).exists():
        assert reader.poll() is None
    one.measure(moment(at_s + 1.0), quiet(20.0))
    assert one._vfs == SHARED


def test_another_program_reads_while_the_link_writes_and_the_link_takes_the_record_back(tmp_path: Path) -> None:
    one = historian(tmp_path / "record.sqlite")
    one.happened([Happening("guard", 1, 0.5, "NOTE", "")], moment(0.5))
    at_s = 1.0
    with subprocess.Popen(
        [sys.executable, "-c", READER, str(tmp_path / "record.sqlite")], stdout=subprocess.PIPE, text=True
    ) as reader:
        assert reader.stdout is not None
        _let_in(one, reader, at_s)
        assert reader.stdout.read().strip() == "1"
    at_s += LEND_S + 2.0
    one.measure(moment(at_s), quiet(20.0))
    assert one._vfs == ALONE
    assert one.happened([Happening("guard", 2, at_s, "NOTE", "")], moment(at_s))
    with one.history() as history:
        assert len(history.events()) == 2


def test_a_reader_that_stays_longer_is_not_thrown_out(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite"
    one = historian(path)
    command = [sys.executable, "-c", HOLDER, str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as reader:
        assert reader.stdout is not None
        assert reader.stdin is not None
        at_s = 0.0
        _let_in(one, reader, at_s)
        assert reader.stdout.readline() == "reading\n"
        for number in range(1, 4):
            at_s += LEND_S + 2.0
            one.measure(moment(at_s), quiet(20.0))
            assert one.happened([Happening("guard", number, at_s, "NOTE", "")], moment(at_s))
            assert one._vfs == SHARED
        reader.stdin.write("enough\n")
        reader.stdin.flush()
        assert reader.stdout.readline() == "3\n"
    at_s += LEND_S + 2.0
    one.measure(moment(at_s), quiet(20.0))
    assert one.happened([Happening("guard", 4, at_s, "NOTE", "")], moment(at_s))
    assert one._vfs == ALONE


def test_a_hung_link_is_said_to_the_reader(tmp_path: Path) -> None:
    historian(tmp_path / "record.sqlite")  # nobody tells it that time goes on
    command = [sys.executable, "-c", IMPATIENT, str(tmp_path / "record.sqlite")]
    said = subprocess.run(command, capture_output=True, text=True, timeout=60).stdout
    assert "the link did not share it within 2 s" in said


def test_threads_of_the_link_read_without_asking(tmp_path: Path) -> None:
    one = historian(tmp_path / "record.sqlite")
    with one.history() as history:
        one.happened([Happening("guard", 1, 0.5, "NOTE", "")], moment(0.5))
        assert len(history.events()) == 1
        assert one._vfs == ALONE
    assert SHARED != ALONE
