"""A guard and a bench as real processes, for tests that kill, stop and starve them.

The judge is the bench: what its contactors did, whatever the guard says.
"""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

from controller.cli.guard import Handed, in_memory
from controller.cli.rigs import path_of
from controller.config.load import load
from controller.core.commands import Verb
from controller.core.rig import Rig
from controller.guard.client import Answer, Client, NoGuard
from controller.guard.main import Places
from controller.hardware.description import Hardware
from simulator.boards.client import control

PATIENCE_S = 60.0  # for anything that should happen at once: the machine may be busy
PROGRAM = ("-m", "controller.cli")
STATES_WITH_POWER = ("ramping", "venting", "running")


class NoPower(AssertionError):
    """A rig that should have come to power did not."""


class Frames(Client):
    """The guard's frames, one at a time."""

    def begin(self) -> None:
        self.ask({"ask": "frames"})

    def next_frame(self) -> bytes:
        return self._socket.recv(1 << 17)

    def drain(self) -> None:
        timeout_s = self._socket.gettimeout()
        self._socket.setblocking(False)
        try:
            while self._socket.recv(1 << 17):
                pass
        except BlockingIOError:
            self._socket.settimeout(timeout_s)


class Change(NamedTuple):
    """One line of the bench's trace."""

    at_s: float
    name: str
    closed: bool


def now_s() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def wait_until(so: Callable[[], Any], what: str | Callable[[], str], within_s: float = PATIENCE_S) -> Any:
    """Poll until `so` gives something true; that. `what` is said, or asked for, when it never does."""
    until_s = time.monotonic() + within_s
    while True:
        found = so()
        if found:
            return found
        if time.monotonic() > until_s:
            raise AssertionError(f"not within {within_s:g} s: {what if isinstance(what, str) else what()}")
        time.sleep(0.01)


def quick_rig() -> tuple[Rig, Hardware]:
    """The boathouse without the waits between starts, so that a test can start often."""
    compiled = load(path_of("boathouse"))
    timing = replace(
        compiled.core.timing,
        proving_s=20.0,
        proven_for_s=0.5,
        ramp_s=0.5,
        stop_ramp_s=0.2,
        off_at_least_s=0.0,
        starts_per_hour=10_000,
        cooled_c=90.0,
    )
    return replace(compiled.core, timing=timing), compiled.hardware


class Site:
    """One folder with a bench, and a guard when there is one."""

    def __init__(self, folder: Path, state: Path | None = None, bench: tuple[str, ...] = PROGRAM) -> None:
        self.folder = folder
        self.state = state or folder / "state"
        folder.mkdir(parents=True, exist_ok=True)
        self.rig, self.hardware = quick_rig()
        self.bench = self._spawn([*bench, "bench", "boathouse", "--dir", str(folder)])
        self.guard: subprocess.Popen[str] | None = None
        self._client: Client | None = None
        try:
            wait_until((folder / "control").exists, "a bench")
        except AssertionError:
            self.close()
            raise

    def _spawn(self, args: list[str]) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, *args],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self.forget_client()
        for process in (self.guard, self.bench):
            if process is not None:
                if process.poll() is None:
                    process.send_signal(signal.SIGCONT)
                    process.kill()
                process.wait()
                if process.stderr is not None:
                    process.stderr.close()

    # --- the guard

    def spawn_guard(
        self, largest_file_bytes: int | None = None, program: tuple[str, ...] = ("-m", "controller.cli.guard_process")
    ) -> subprocess.Popen[str]:
        """A guard process that may or may not come up. A largest file stands for a disk that is full."""

        def limit() -> None:
            if largest_file_bytes is not None:
                resource.setrlimit(resource.RLIMIT_FSIZE, (largest_file_bytes, largest_file_bytes))

        places = Places(path_of("boathouse"), self.folder, self.state, self.folder, ("bench",))
        handed = in_memory(Handed(self.rig, self.hardware, places, self.folder))
        try:
            return subprocess.Popen(
                [sys.executable, *program, str(handed)],
                pass_fds=[handed],
                preexec_fn=limit,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
            )
        finally:
            os.close(handed)

    def start_guard(self, largest_file_bytes: int | None = None) -> dict[str, Any]:
        """A guard that scans; its status."""
        self.forget_client()
        self.guard = self.spawn_guard(largest_file_bytes)
        status: dict[str, Any] = wait_until(self.status_if_any, "a guard that answers")
        return status

    def last_words(self) -> str:
        """Of a guard that ended although nobody asked it to."""
        assert self.guard is not None
        self.guard.wait(PATIENCE_S)
        said = self.guard.stderr.read() if self.guard.stderr is not None else ""
        crash = self.state / "crash.txt"
        return f"exit code {self.guard.returncode}; {said}{crash.read_text() if crash.exists() else ''}"

    def kill_guard(self, number: int = signal.SIGKILL) -> int:
        assert self.guard is not None
        self.forget_client()
        self.guard.send_signal(number)
        code = self.guard.wait(PATIENCE_S)
        if self.guard.stderr is not None:
            self.guard.stderr.close()
        self.guard = None
        return code

    @contextmanager
    def guard_frozen(self) -> Iterator[int]:
        assert self.guard is not None
        os.kill(self.guard.pid, signal.SIGSTOP)
        try:
            yield self.guard.pid
        finally:
            os.kill(self.guard.pid, signal.SIGCONT)

    def client(self) -> Client:
        if self._client is None:
            self._client = Client(self.folder / "local.sock", PATIENCE_S)
        return self._client

    def forget_client(self) -> None:
        if self._client is not None:
            self._client.close()
        self._client = None

    def status_if_any(self) -> dict[str, Any] | None:
        try:
            return self.client().status()
        except NoGuard:
            self.forget_client()
            return None

    def status(self) -> dict[str, Any]:
        return self.client().status()

    def do(self, verb: Verb, **fields: object) -> Answer:
        return self.client().do(verb, **fields)

    def causes(self) -> list[str]:
        return [cause["name"] for cause in self.status()["causes"]]

    def to_power(self) -> None:
        """From wherever it stands to current flowing: release or reset, then start, as often as it takes."""

        def powered() -> bool:
            status = self.status()
            match status["state"]:
                case "locked out":
                    self.do(Verb.RELEASE, text="a test", who="tester")
                case "tripped":
                    self.do(Verb.RESET)
                case "off" | "cooling":
                    self.do(Verb.START)
            return (
                status["state"] in STATES_WITH_POWER and bool(status["contacts"]["main_closed"]) and status["powered"]
            )

        try:
            wait_until(powered, "power", 2 * PATIENCE_S)
        except AssertionError:
            raise NoPower(f"no power: {self.status()['state']}, {self.events()[-6:]}") from None

    def events(self) -> list[tuple[str, str, str]]:
        found: list[dict[str, Any]] = []
        while some := self.client().events(found[-1]["number"] if found else 0)["events"]:
            found += some
        return [(e["what"], e["subject"], e["detail"]) for e in found]

    # --- the bench

    def truth(self) -> dict[str, Any]:
        truth: dict[str, Any] = control(self.folder, "truth")
        return truth

    def fault(self, part: str, kind: str, amount: float = 0.0) -> float:
        """When it came, by the bench."""
        at_s: float = control(self.folder, "fault", part=part, kind=kind, amount=amount)
        return at_s

    def clear(self, part: str = "") -> None:
        control(self.folder, "clear", part=part)

    def edges_seen(self) -> float:
        """A time by which the bench has seen every edge that a guard, stopped or dead by now, has given.

        Requests are answered in turn, however late the bench is: so the second answer comes after all that was sent.
        """
        for _ in range(2):
            self.truth()
        return now_s()

    def trace(self, since_s: float = float("-inf")) -> list[Change]:
        found: list[Change] = []
        while True:
            answer = control(self.folder, "trace", since_s=found[-1].at_s if found else since_s)
            found += [Change(*change) for change in answer["changes"]]
            if not answer["more"]:
                return found

    def power_off(self) -> bool:
        """By the bench: the path is open and no current flows."""
        truth = self.truth()
        return not truth["closed"] and abs(truth["quantities"]["current_a"]) < 0.01

    def openings(self, since_s: float, of: str = "main") -> list[float]:
        return [c.at_s for c in self.trace(since_s) if c.name == of and not c.closed]

    def closings(self, since_s: float, of: str = "main") -> list[float]:
        return [c.at_s for c in self.trace(since_s) if c.name == of and c.closed]
