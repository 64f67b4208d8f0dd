"""A guard's process is killed, frozen and thawed; the bench's contact trace says what power did.

Times are the bench's own stamps; order and lower bounds are asserted, since other programs share the machine.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.core.signals import Code
from controller.hardware.instruments import open_instruments
from simulator.boards.client import LinkPorts, control

from .bench_process import boottime
from .rigs import BOATHOUSE

ROOT = Path(__file__).resolve().parent.parent.parent
PATIENCE_S = 30.0


def wait_for(what: str, condition: Callable[[], bool]) -> None:
    until_s = boottime() + PATIENCE_S
    while not condition():
        assert boottime() < until_s, f"waited in vain for: {what}"
        time.sleep(0.02)


def start(module: str, *arguments: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", module, *arguments], cwd=ROOT)


class Processes:
    def __init__(self, folder: Path, policy: str) -> None:
        self.folder = folder
        self.bench = start("tests.boards.bench_process", str(folder), policy)
        self.guard: subprocess.Popen[bytes] | None = None
        wait_for("the bench", (folder / "ready").exists)

    def truth(self) -> dict[str, Any]:
        truth: dict[str, Any] = control(self.folder, "truth")
        return truth

    def changes(self, name: str, closed: bool) -> list[float]:
        return [at for at, n, c in control(self.folder, "trace")["changes"] if n == name and c is closed]

    def run_guard(self) -> int:
        self.guard = start("tests.boards.guard_process", str(self.folder))
        wait_for("power", lambda: bool(self.truth()["closed"]))
        return self.guard.pid

    def end(self) -> None:
        for process in (self.guard, self.bench):
            if process is not None and process.poll() is None:
                process.kill()
                process.wait(10.0)


@pytest.fixture
def processes(request: pytest.FixtureRequest) -> Iterator[Processes]:
    with tempfile.TemporaryDirectory(prefix="bench") as folder:
        made = Processes(Path(folder), getattr(request, "param", "keeps"))
        yield made
        made.end()


@pytest.mark.parametrize("processes", ["strict"], indirect=True)
def test_a_killed_guard_loses_power_before_the_relay_falls_where_the_kernel_lets_go(processes: Processes) -> None:
    """Case A28."""
    os.kill(processes.run_guard(), signal.SIGKILL)
    wait_for("power off", lambda: not processes.truth()["closed"])
    wait_for("the relay too", lambda: bool(processes.changes("watchdog", False)))
    assert processes.changes("main", False)[-1] < processes.changes("watchdog", False)[-1]
    assert processes.truth()["loads"]["ventilation"]


def test_with_kept_outputs_it_is_the_relay_that_opens_and_not_before_its_time(processes: Processes) -> None:
    os.kill(processes.run_guard(), signal.SIGKILL)
    killed_s = boottime()
    wait_for("power off", lambda: not processes.truth()["closed"])
    assert processes.truth()["loads"]["main_hold"]  # the pin still says hold
    assert processes.truth()["loads"]["ventilation"]
    relay_s = processes.changes("watchdog", False)[-1]
    assert relay_s > killed_s + 0.5  # a second after the last edge, which was a scan old or little more
    assert processes.changes("main", False)[-1] == pytest.approx(relay_s + 0.04, abs=0.001)


def test_a_frozen_guard_that_is_thawed_does_not_close_again(processes: Processes) -> None:
    """The contactor seals in: what dropped it, a thawed process cannot undo."""
    pid = processes.run_guard()
    wait_for("the end of the close pulse", lambda: not processes.truth()["loads"]["main_close"])
    os.kill(pid, signal.SIGSTOP)
    wait_for("power off", lambda: not processes.truth()["closed"])
    os.kill(pid, signal.SIGCONT)
    wait_for("edges again", lambda: bool(processes.truth()["watchdog"]))
    wait_for("some of its scans", lambda: len(processes.changes("second", True)) >= 2)
    scans_on_s = boottime() + 0.5  # by the bench's trace, which is made by what the thawed process does
    wait_for("half a second of them", lambda: processes.truth()["now_s"] > scans_on_s)
    assert not processes.truth()["main"]
    assert len(processes.changes("main", True)) == 1


def test_a_restarted_guard_finds_the_same_bench(processes: Processes) -> None:
    os.kill(processes.run_guard(), signal.SIGKILL)
    wait_for("power off", lambda: not processes.truth()["closed"])
    pulses = processes.truth()["pulses"]["coolant_flow"]
    assert processes.guard is not None
    processes.guard.wait(10.0)
    processes.run_guard()
    assert processes.truth()["pulses"]["coolant_flow"] > pulses
    assert len(processes.changes("main", True)) == 2


def test_a_second_process_cannot_have_the_pins(processes: Processes) -> None:
    processes.run_guard()
    ports = LinkPorts(processes.folder, boottime)
    with pytest.raises(OSError, match="busy"):
        open_instruments(BOATHOUSE, ports, boottime, time.sleep)
    ports.close()
    assert processes.truth()["closed"]


def test_without_its_bench_every_reading_has_a_reason_and_nothing_raises(processes: Processes) -> None:
    ports = LinkPorts(processes.folder, boottime)
    instruments = open_instruments(BOATHOUSE, ports, boottime, time.sleep)
    assert instruments.read_all(boottime())[0].code is Code.OK
    processes.end()
    readings = dict(zip(instruments.names, instruments.read_all(boottime()), strict=True))
    assert readings["current"].code in (Code.BUS_ERROR, Code.TIMED_OUT, Code.ABSENT)
    assert readings["coolant_flow"].code is Code.BUS_ERROR
    assert readings["level_hydrogen"].code is Code.BUS_ERROR
    assert instruments.contacts() == (None, None, None)
    with pytest.raises(OSError):
        instruments.drives.edge()
    with pytest.raises(OSError):  # outputs could not be made safe, and that is said
        instruments.close()
    ports.close()


def test_a_frozen_bench_ends_a_read_in_time_and_is_read_again_afterwards(processes: Processes) -> None:
    ports = LinkPorts(processes.folder, boottime)
    instruments = open_instruments(BOATHOUSE, ports, boottime, time.sleep)
    instruments.read_all(boottime())
    os.kill(processes.bench.pid, signal.SIGSTOP)
    frozen = instruments.read_all(boottime())
    os.kill(processes.bench.pid, signal.SIGCONT)
    assert frozen[0].code is not Code.OK
    wait_for("readings again", lambda: instruments.read_all(boottime())[0].code is Code.OK)
    assert instruments.read_all(boottime())[1].number == pytest.approx(6.6, abs=0.05)
    instruments.close()
    ports.close()


def test_faults_are_set_at_the_bench_and_its_refusals_are_sentences(processes: Processes) -> None:
    control(processes.folder, "fault", part="current", kind="offset", amount=5.0)
    assert processes.truth()["faults"] == {"current": "offset"}
    control(processes.folder, "clear")
    assert processes.truth()["faults"] == {}
    for wrong, said in [
        ({"do": "fault", "part": "curent", "kind": "offset"}, "nothing here is called 'curent'"),
        ({"do": "fault", "part": "current", "kind": "sad"}, "current has no fault 'sad'"),
        ({"do": "explode"}, "cannot 'explode'; can: fault"),
        ({"do": "fault"}, "part"),
    ]:
        with pytest.raises(ValueError, match=said):
            control(processes.folder, **wrong)
    assert "current" in control(processes.folder, "faults")


def test_without_a_bench_the_error_says_where_it_was_looked_for(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="no bench at"):
        LinkPorts(tmp_path, boottime)


def test_thermometers_block_for_their_conversion_and_can_hang_or_vanish(processes: Processes) -> None:
    """Case A13: most of a second; the wait is counted here, not slept."""
    waited: list[float] = []
    ports = LinkPorts(processes.folder, boottime, waited.append)
    path = "bus/w1/devices/28-0b0a7e110001/w1_slave"
    assert "YES" in ports.kernel.read(path)
    assert waited == [0.92]
    control(processes.folder, "fault", part="cell_temperature", kind="absent")
    wait_for("the sensor to vanish", lambda: "28-0b0a7e110001" not in ports.kernel.names("bus/w1/devices"))
    with pytest.raises(FileNotFoundError):
        ports.kernel.read(path)
    control(processes.folder, "clear")
    wait_for("the sensor to be back", lambda: "28-0b0a7e110001" in ports.kernel.names("bus/w1/devices"))
    control(processes.folder, "fault", part="cell_temperature", kind="hang")
    fifo = processes.folder / "sys" / path
    wait_for("a file that nobody answers", fifo.is_fifo)
    ports.close()
