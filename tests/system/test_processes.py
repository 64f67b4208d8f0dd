"""Real processes: what happens to power when they die, stop, restart, or have no disk."""

from __future__ import annotations

import os
import signal
import subprocess
from pathlib import Path

import pytest

from controller.core.commands import Verb
from controller.guard.client import NoGuard
from controller.guard.protocol import do, dumps
from tests.system.site import PATIENCE_S, Site, now_s, wait_until

RELAY_S, TRAVEL_S = (
    1.0,
    0.04,
)  # the bench's: from the last edge to the relay's fall, from a dead coil to an open contact


def test_killed_under_power_the_bench_loses_it_and_the_next_start_is_tripped(site: Site) -> None:
    site.start_guard()
    site.to_power()
    assert not site.power_off()
    killed_s = now_s()
    site.kill_guard(signal.SIGKILL)
    edges_by_s = site.edges_seen()
    wait_until(site.power_off, "power off")
    assert site.openings(killed_s)[0] <= edges_by_s + RELAY_S + TRAVEL_S
    site.start_guard()
    assert "guard ended while powered" in site.causes()
    assert site.closings(killed_s) == []


_BENCH_THAT_KEEPS_OUTPUTS = """
from controller.cli.app import run
from simulator.boards.pins import PinBoard
end = PinBoard.process_died
def keep(board):
    said, board.keeps_outputs = board.keeps_outputs, True
    end(board)
    board.keeps_outputs = said
PinBoard.process_died = keep
run()
"""


def test_killed_where_outputs_keep_their_level_the_watchdog_relay_alone_opens_and_nothing_closes_again(
    tmp_path: Path,
) -> None:
    """The kernel even says that it does not keep them: a start would be refused otherwise."""
    with Site(tmp_path / "s", bench=("-c", _BENCH_THAT_KEEPS_OUTPUTS)) as site:
        site.start_guard()
        site.to_power()
        killed_s = now_s()
        site.kill_guard(signal.SIGKILL)
        edges_by_s = site.edges_seen()
        wait_until(site.power_off, "power off")
        loads = site.truth()["loads"]
        assert loads["main_hold"], "the pins still say hold"
        assert loads["second"]
        [fallen_s], [opened_s] = site.openings(killed_s, "watchdog"), site.openings(killed_s)
        assert fallen_s <= edges_by_s + RELAY_S
        assert opened_s == pytest.approx(fallen_s + TRAVEL_S, abs=1e-6)
        status = site.start_guard()
        assert status["state"] in ("tripped", "locked out")
        assert "guard ended while powered" in site.causes()
        scan = site.status()["scan"]
        wait_until(lambda: site.status()["scan"] > scan + 10, "scans")
        assert site.closings(killed_s) == []
        assert not site.truth()["loads"]["main_hold"]


def test_frozen_under_power_it_opens_and_waking_up_does_not_close_it_again(site: Site) -> None:
    site.start_guard()
    site.to_power()
    frozen_s = now_s()
    with site.guard_frozen():
        edges_by_s = site.edges_seen()
        wait_until(site.power_off, "power off")
    wait_until(lambda: site.status()["state"] in ("tripped", "locked out"), "a trip after waking")
    scan = site.status()["scan"]
    wait_until(lambda: site.status()["scan"] > scan + 10, "scans")
    assert site.openings(frozen_s)[0] <= edges_by_s + RELAY_S + TRAVEL_S
    assert site.closings(frozen_s) == []
    assert "scan gap" in site.causes()


def test_ended_in_order_it_opens_and_the_next_start_is_not_tripped(site: Site) -> None:
    site.start_guard()
    site.to_power()
    assert site.kill_guard(signal.SIGTERM) == 0
    assert site.power_off()
    status = site.start_guard()
    assert status["causes"] == []
    assert status["state"] == "off"


def test_restarted_in_a_loop_it_locks_out_at_the_fifth_time_and_still_reports(site: Site) -> None:
    for _ in range(4):
        status = site.start_guard()
        wait_until(lambda: site.status()["latch_on_disk"] >= site.status()["latch"], "the latch on disk")
        assert not status["locked_out"]
        site.kill_guard(signal.SIGKILL)
    status = site.start_guard()
    assert status["locked_out"]
    assert "restart loop" in site.causes()
    wait_until(lambda: site.status()["scan"] > 10, "scans")
    assert site.closings(0.0) == []


def test_a_second_guard_is_refused_and_touches_no_pin(site: Site) -> None:
    """Case A37: the other half of it."""
    site.start_guard()
    site.to_power()
    since_s = now_s()
    second = site.spawn_guard()
    _, said = second.communicate(timeout=60)
    assert second.returncode == 2
    assert "another guard" in said
    assert "No pin was touched" in said
    assert "Traceback" not in said
    wait_until(lambda: site.status()["scan"] and now_s() - since_s > 1.5, "a second and a half more")
    assert not site.power_off()
    assert [c for c in site.trace(since_s) if c.name in ("main", "second", "watchdog")] == []


_BREAKS_AFTER_SCANS = """
import sys
from controller.cli import guard_process
from controller.guard import loop
whole = loop.step
def broken(rig, memory, *rest):
    if memory.sequence.state.name == "VENTING":
        raise ZeroDivisionError("a mistake in the program")
    return whole(rig, memory, *rest)
loop.step = broken
sys.exit(guard_process.run(int(sys.argv[1])))
"""


def test_a_mistake_in_a_scan_takes_power_off_says_why_and_ends(site: Site) -> None:
    site.guard = site.spawn_guard(program=("-c", _BREAKS_AFTER_SCANS))
    wait_until(site.status_if_any, "a guard that answers")

    def ended() -> bool:
        try:
            site.do(Verb.RESET)
            site.do(Verb.START)
        except NoGuard:
            return True
        return False

    wait_until(ended, "its end under power", 2 * PATIENCE_S)
    site.forget_client()
    assert site.guard.wait(PATIENCE_S) == 1
    wait_until(site.power_off, "power off")
    assert site.closings(0.0), "there was power"
    assert site.guard.stderr is not None
    said = site.guard.stderr.read()
    site.guard.stderr.close()
    assert "power is off: ZeroDivisionError: a mistake in the program" in said
    assert "Traceback" not in said
    assert "in broken" in (site.state / "crash.txt").read_text()
    assert "guard ended while powered" in [c["name"] for c in site.start_guard()["causes"]]


def test_without_a_link_it_runs_all_the_same(site: Site) -> None:
    site.start_guard()
    site.to_power()
    assert site.status()["dropped_frames"] == 0


def test_the_running_guard_has_no_network_socket(site: Site) -> None:
    site.start_guard()
    assert site.guard is not None
    inodes = set()
    for fd in os.listdir(f"/proc/{site.guard.pid}/fd"):
        target = os.readlink(f"/proc/{site.guard.pid}/fd/{fd}")
        if target.startswith("socket:["):
            inodes.add(target[8:-1])
    assert len(inodes) >= 3, "its Unix sockets"
    families = {
        name: {line.split()[column] for line in Path(f"/proc/{site.guard.pid}/net/{name}").read_text().splitlines()[1:]}
        for name, column in (
            ("tcp", 9),
            ("tcp6", 9),
            ("udp", 9),
            ("udp6", 9),
            ("raw", 9),
            ("packet", 8),
            ("netlink", 9),
        )
        if Path(f"/proc/{site.guard.pid}/net/{name}").exists()
    }
    assert {"tcp", "udp"} <= families.keys()
    for name, known in families.items():
        assert not inodes & known, name
    unix = {line.split()[6] for line in Path("/proc/net/unix").read_text().splitlines()[1:]}
    assert inodes <= unix


def test_a_bench_that_dies_takes_power_off_and_the_guard_says_so(site: Site) -> None:
    """As when a bus and all pins are gone at once."""
    site.start_guard()
    site.to_power()
    site.bench.kill()
    wait_until(lambda: site.status()["state"] in ("tripped", "locked out"), "a trip")
    assert site.guard is not None
    assert site.guard.poll() is None


def test_flooded_sockets_delay_no_scan_and_a_stop_gets_through(site: Site) -> None:
    site.start_guard()
    site.to_power()
    first, late = (site.status()[what] for what in ("scan", "late_scans"))
    wait_until(lambda: site.status()["scan"] > first + 20, "scans without a flood")
    late_without = site.status()["late_scans"] - late
    flooder = subprocess.Popen(
        ["python3", "-c", _FLOOD, str(site.folder / "link.sock")], stdout=subprocess.PIPE, text=True
    )
    try:
        assert flooder.stdout is not None
        assert flooder.stdout.readline() == "flooding\n"
        first = site.status()["scan"]
        wait_until(lambda: site.status()["scan"] > first + 20, "scans under the flood")
        assert site.status()["dropped_messages"]["link.sock"] > 100
        flooder.send_signal(signal.SIGUSR1)  # now one stop among them
        wait_until(lambda: site.status()["state"] in ("stopping", "cooling", "off"), "the stop")
    finally:
        flooder.kill()
        flooder.communicate()
    assert site.status()["late_scans"] - late - late_without <= 2 + late_without, "a busy machine may cost some"


_FLOOD = f"""
import signal, socket, sys
one = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
one.connect(sys.argv[1])
one.setblocking(False)
stop = []
signal.signal(signal.SIGUSR1, lambda *_: stop.append(1))
print("flooding", flush=True)
while True:
    try:
        one.send({dumps(do(Verb.STOP))!r} if stop else {dumps(do(Verb.START))!r})
        if stop: stop.pop()
    except BlockingIOError:
        pass
    try:
        one.recv(65536)
    except BlockingIOError:
        pass
"""


def test_a_disk_that_takes_nothing_forbids_starts_and_stops_no_scan(site: Site) -> None:
    site.start_guard(largest_file_bytes=100)
    wait_until(lambda: any("latch cannot be written" in fault for fault in site.status()["faults"]), "the fault")
    assert not site.do(Verb.RESET).accepted
    assert not site.do(Verb.START).accepted
    first = site.status()["scan"]
    wait_until(lambda: site.status()["scan"] > first + 10, "scans go on")
    assert site.closings(0.0) == []
