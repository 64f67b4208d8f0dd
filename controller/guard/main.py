"""Starting and ending the guard. Outputs are off before anything else is asked, and off again however it ends."""

from __future__ import annotations

import atexit
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from controller.core.commands import Source
from controller.core.memory import first
from controller.core.rig import Rig
from controller.guard import realtime, threads
from controller.guard.challenge import Keys
from controller.guard.health import Health
from controller.guard.incidents import IncidentWriter
from controller.guard.latchfile import LatchFile
from controller.guard.lock import Locks
from controller.guard.loop import Guard, Times, real_times
from controller.guard.notify import Notify
from controller.guard.sockets import Admitted, Sockets, admitted_users
from controller.hardware.description import Hardware
from controller.hardware.instruments import Instruments, open_instruments
from controller.hardware.ports import Ports

DISK_AT_THE_END_S = 5.0
# Who may come through which door, besides root and the guard's own user: users, groups. The units make them.
PEOPLE: dict[Source, tuple[tuple[str, ...], tuple[str, ...]]] = {
    Source.LOCAL: ((), ("lyewatch",)),
    Source.LINK: (("lyewatch-link",), ()),
    Source.PLAN: (("lyewatch-plan",), ()),
}


class Places(NamedTuple):
    """Folders of one guard."""

    rig_file: Path
    run: Path  # sockets; gone with the machine's power
    state: Path  # latch, incidents, keys; survives it
    locks: Path
    devices: tuple[str, ...]  # what is locked


def guard(rig: Rig, hardware: Hardware, open_ports: Callable[[], Ports], places: Places) -> int:
    """Run until told to end; the process's exit code. Raises Taken, OSError or ValueError where it cannot start."""
    notify = Notify()
    ended: list[int] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda n, _: ended.append(n))
    places.locks.mkdir(parents=True, exist_ok=True)
    locks = Locks(places.locks, places.devices)
    times = real_times()
    ports = open_ports()
    hands = open_instruments(hardware, ports, times.now, times.wait)  # every output now in its safe state
    off = _off_once(hands, ports)
    atexit.register(off)
    try:
        loop, writer, incidents = _assemble(rig, hands, ports, places, notify, times)
        notify.ready(loop.sentence())
        loop.started(f"first scan {times.now() - realtime.process_began_s():.2f} s after the start; {_how_ended(loop)}")
        loop.run(lambda: bool(ended))
        notify.stopping()
        loop.end()
        off()
        until_s = times.now() + DISK_AT_THE_END_S
        while not (writer.idle and incidents.idle) and times.now() < until_s:
            times.wait(0.01)
        if not writer.idle:
            _say(writer.error or "ended, but the latch is not on disk: the next start comes up tripped")
        return 0 if writer.idle else 1
    except Exception as error:  # noqa: BLE001 - whatever it is: power off first, then say what it was
        off()
        _say_why(places.state, error)
        return 1
    finally:
        off()
        locks.release()


def _off_once(hands: Instruments, ports: Ports) -> Callable[[], None]:
    todo = [hands.close, ports.close]

    def off() -> None:
        while todo:
            with suppress(Exception):  # the next one must be tried whatever this one says
                todo.pop(0)()

    return off


def _how_ended(loop: Guard) -> str:
    causes = loop.memory.latch.causes
    return f"comes up tripped: {causes[0].name}" if causes else "the run before ended in order"


def _assemble(
    rig: Rig, hands: Instruments, ports: Ports, places: Places, notify: Notify, times: Times
) -> tuple[Guard, threads.LatchWriter, IncidentWriter]:
    """Everything but the first scan. Threads start before this one is put first in line, so that they are not."""
    now_s = times.now()
    file = LatchFile(places.state, rig.name)
    latch = file.start(rig, now_s)
    writer = threads.LatchWriter(file.write, latch.number - 1)
    health = Health(ports.kernel, places.state, lambda: writer.error)
    incidents = IncidentWriter(places.state / "incidents")
    keys = Keys(places.state / "keys")
    places.run.mkdir(parents=True, exist_ok=True)
    sockets = Sockets(places.run, _admitted)
    threads.small_stacks()
    threads.start("latch", writer.run)
    threads.start("health", lambda: health.run(time.sleep))
    threads.start("incidents", incidents.run)
    for group in hands.slow_groups:
        for _ in range(group.threads):
            threads.start(group.name, threads.read_for_ever(group, time.sleep, _say))
    for text in (*keys.bad, realtime.lock_memory(), realtime.first_in_line()):
        if text:
            _say(text)
    loop = Guard(
        rig,
        first(rig, latch, now_s),
        hands,
        sockets,
        writer,
        health,
        incidents,
        notify.scan_proof,
        keys,
        os.urandom(8).hex(),
        str(places.rig_file),
        times,
    )
    realtime.settle()
    return loop, writer, incidents


def _admitted(source: Source) -> Admitted:
    return admitted_users(os.geteuid(), *PEOPLE[source])


def _say_why(folder: Path, error: Exception) -> None:
    """What went wrong, for people on the terminal and whole in a file."""
    path = folder / "crash.txt"
    with suppress(OSError):
        path.write_text("".join(traceback.format_exception(error)))
    _say(f"stopped by an error of its own, power is off: {type(error).__name__}: {error}")
    _say(f"details are in {path}; please report them")


def _say(text: str) -> None:
    sys.stderr.write(f"lyewatch guard: {text}\n")
