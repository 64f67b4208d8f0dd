"""The link as a process: its folders, its three threads, its start and its end."""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from controller.core.rig import Rig
from controller.link import messages as m
from controller.link.answers import Answers
from controller.link.broker import Address, Broker
from controller.link.clock import Clock, machine_boot
from controller.link.guard_end import Asker, GuardEnd
from controller.link.keeper import Keeper
from controller.link.loop import Link
from controller.record.historian import Historian
from controller.record.told import tracked

ROUND_S: Final = 0.05
KEEPER_ROUND_S: Final = 0.1
RECORD: Final = "record.db"
END_WITHIN_S: Final = 15.0  # a card that stalls must not keep the link from ending

Wait = Callable[[float], bool]  # sleeps for some seconds; true when the link is to end


@dataclass(frozen=True, slots=True)
class Places:
    """Folders of one link."""

    guard_socket: Path
    state: Path | None  # record and logbook; None: in memory
    incidents: Path  # of the guard
    keys: Path  # of the guard

    @classmethod
    def beside(cls, run: Path, guard_state: Path, state: Path | None) -> Places:
        return cls(run / "link.sock", state, guard_state / "incidents", guard_state / "keys")


@contextmanager
def _folder(state: Path | None) -> Iterator[Path]:
    """Where the record is; without a folder for it, in memory."""
    if state is not None:
        state.mkdir(parents=True, exist_ok=True)
        yield state
        return
    shm = Path("/dev/shm")
    with tempfile.TemporaryDirectory(prefix="lyewatch-link-", dir=shm if shm.is_dir() else None) as made:
        yield Path(made)


def run(rig: Rig, places: Places, address: Address, ended: Wait) -> None:
    """Be the link until `ended` says so. Raises WrongDatabase or OSError, and whatever goes wrong in a thread of it."""
    with _folder(places.state) as folder:
        _run(rig, places, address, ended, folder)


def _run(rig: Rig, places: Places, address: Address, ended: Wait, folder: Path) -> None:
    broken: list[Exception] = []

    def over(wait_s: float) -> bool:
        return ended(wait_s) or bool(broken)

    clock = Clock()
    durable = places.state is not None
    signals = [tracked(signal) for signal in rig.signals]
    historian = Historian(folder / RECORD, rig.name, signals, machine_boot(), clock.now())
    keeper = Keeper.made(rig, historian, Asker(places.guard_socket), folder, durable)
    answers = Answers(rig, historian.history, keeper.tail, places.incidents, clock.stamp)
    broker = _broker(rig.name, address, clock)
    guard = GuardEnd(places.guard_socket, over)
    link = Link(rig, guard, broker, keeper, answers, clock, places.keys, durable)

    def after(rest: Callable[[float], None], wait_s: float) -> Callable[[], bool]:
        def is_over() -> bool:
            rest(wait_s)
            return over(0.0)

        return is_over

    def again(work: Callable[[], object], is_over: Callable[[], bool]) -> None:
        try:
            while not is_over():
                work()
        except Exception as error:  # noqa: BLE001 - whatever it is: the link ends, is started anew, and says why
            broken.append(error)

    keeps = (lambda: keeper.round(clock.now()), after(keeper.outbox.rest, KEEPER_ROUND_S))
    keeping = threading.Thread(target=again, args=keeps, daemon=True)
    answering = threading.Thread(target=again, args=(answers.round, lambda: over(ROUND_S)), daemon=True)
    keeping.start()
    answering.start()
    again(lambda: link.round(time.monotonic()), after(broker.rest, ROUND_S))
    guard.end()
    keeping.join(END_WITHIN_S)
    if not keeping.is_alive():
        keeper.end(clock.now())
    last = m.Presence(rig=rig.name, present="ended", time_s=time.time())
    broker.close(m.topic(rig.name, "presence"), last.model_dump_json().encode())
    if broken:
        raise broken[0]


def _broker(rig: str, address: Address, clock: Clock) -> Broker:
    gone = m.Presence(rig=rig, present="gone").model_dump_json().encode()
    topics = [m.topic(rig, *parts) for parts in (("command", "#"), ("history", "request"), ("logbook", "add"))]
    probe = m.topic(rig, "command", "probe")
    name, presence = f"lyewatch-link-{rig}", m.topic(rig, "presence")
    return Broker(address, name, presence, gone, topics, probe, lambda: clock.now().mono_s)
