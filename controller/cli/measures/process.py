"""The guard as the process it is: how soon it scans, and what it keeps in memory when its ring is full."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from controller.cli.guard import Handed, in_memory
from controller.cli.measures.row import Effort, Row, row
from controller.cli.measures.scan import frames_of
from controller.cli.rigs import load, path_of
from controller.core.events import Happened
from controller.guard.challenge import SUFFIX
from controller.guard.client import Client, NoGuard
from controller.guard.main import Places
from controller.guard.ring import AFTER_S, BEFORE_S
from simulator.rehearsal.rigs import find

RIG = "boathouse"
PATIENCE_S = 60.0
SCANS_BEFORE_LOOK = 20
EMPTY = "an empty Python process"
KEY = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"  # RFC 8032, 7.1, first test's public key

# A guard whose ring is full from its first scan on, with the frames of a running rig: one a line, in hexadecimal.
_WITH_A_FULL_RING = """
import sys
from controller.cli import guard_process
from controller.guard.ring import FrameRing
add = FrameRing.add
def fill(ring, frame):
    FrameRing.add = add
    with open(sys.argv[2]) as lines:
        for line in lines:
            ring.add(bytes.fromhex(line))
FrameRing.add = fill
sys.exit(guard_process.run(int(sys.argv[1])))
"""


def start(effort: Effort) -> list[Row]:
    """From the command to the first scan."""
    found_s = [_start_s() for _ in range(min(3, effort.rounds))]
    empty_s = [_empty_s() for _ in found_s]
    return [row("guard_start", min(found_s), "s", min(empty_s), f"{EMPTY}, to its end")]


def memory(effort: Effort) -> list[Row]:
    """Resident, with twelve minutes of a running rig's frames in its ring, without and with a key enrolled."""
    physical = find(RIG)
    scans = effort.times(round((BEFORE_S + AFTER_S) / physical.rig.core.scan_s))
    with tempfile.TemporaryDirectory() as folder:
        frames = Path(folder) / "frames"
        frames.write_text("".join(f"{frame.hex()}\n" for frame in frames_of(physical, scans)))
        without, with_key = (_full_mb(frames, keys) for keys in ((), (KEY,)))
    empty = _empty_mb()
    return [
        row("guard_memory", without, "MB", empty, EMPTY),
        row("guard_memory_with_key", with_key, "MB", without, "the same without a key"),
    ]


# --- processes


def _empty_s() -> float:
    begin_s = time.monotonic()
    subprocess.run([sys.executable, "-c", "pass"], check=True)
    return time.monotonic() - begin_s


def _empty_mb() -> float:
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with _process("-c", "print('here', flush=True); input()", **pipes) as empty:
        assert empty.stdout is not None
        empty.stdout.readline()
        return _resident_mb(empty.pid)


def _start_s() -> float:
    with _bench() as folder:
        begin_s = time.time()
        with _process("-m", "controller.cli", "guard", RIG, "--bench", str(folder)), _client(folder) as client:
            events = client.events()["events"]
    return next(float(e["time_s"]) for e in events if e["what"] == Happened.STARTED.name.lower()) - begin_s


def _full_mb(frames: Path, keys: tuple[str, ...]) -> float:
    compiled = load(RIG)
    with _bench() as folder:
        state = folder / "state"
        (state / "keys").mkdir(parents=True)
        for at, key in enumerate(keys):
            (state / "keys" / f"{at}{SUFFIX}").write_text(key)
        places = Places(path_of(RIG), folder, state, folder, ("bench",))
        handed = in_memory(Handed(compiled.core, compiled.hardware, places, folder))
        with _process("-c", _WITH_A_FULL_RING, str(handed), str(frames), pass_fds=(handed,)) as guard:
            os.close(handed)
            with _client(folder) as client:
                while client.status()["scan"] < SCANS_BEFORE_LOOK:
                    pass  # each answer takes a scan
                return _resident_mb(guard.pid)


def _resident_mb(process: int) -> float:
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@contextmanager
def _process(*arguments: str, **how: Any) -> Iterator[subprocess.Popen[str]]:
    how = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "text": True} | how
    process = subprocess.Popen([sys.executable, *arguments], **how)
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


@contextmanager
def _bench() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "bench"
        with _process("-m", "controller.cli", "bench", RIG, "--dir", str(folder)):
            _until((folder / "control").exists, "the bench did not start")
            yield folder


@contextmanager
def _client(folder: Path) -> Iterator[Client]:
    """As soon as the guard answers."""

    def connected() -> Client | None:
        try:
            return Client(folder / "local.sock", PATIENCE_S)
        except NoGuard:
            return None

    with _until(connected, "the guard did not start") as client:
        client.status()
        yield client


def _until(so: Callable[[], Any], otherwise: str) -> Any:
    until_s = time.monotonic() + PATIENCE_S
    while not (found := so()):
        if time.monotonic() > until_s:
            raise RuntimeError(otherwise)
        time.sleep(0.01)
    return found
