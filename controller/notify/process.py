"""The process: what rigs say to the broker goes into `decide`, what it says goes to people."""

from __future__ import annotations

import ipaddress
import socket
import time
from collections.abc import Callable

from pydantic import ValidationError

from controller.link import messages as m
from controller.link.broker import Address
from controller.link.described import Descriptions
from controller.notify.decide import Heard, Rules, Time, begin, decide
from controller.notify.ear import Ear, Said
from controller.notify.send import Post

TICK_S = 0.25
# A person who silences the horn, resets or acknowledges has answered.
ANSWERS = frozenset({"silence", "reset", "release", "acknowledge", "hold"})
ALONE = (
    "The broker is on this machine: when it dies, nobody is told.\n"
    "Run `lyewatch notify` on another machine too, or there only."
)


def on_this_machine(host: str) -> bool:
    """Whether a broker's host is this machine, so that both die together."""
    try:
        found = {info[4][0] for info in socket.getaddrinfo(host, None)}
        own = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None)}
    except OSError:
        return False
    return any(ipaddress.ip_address(str(at).partition("%")[0]).is_loopback for at in found) or bool(found & own)


def understood(said: Said, descriptions: Descriptions) -> Heard | None:
    """What a message of a rig means here; None where it means nothing."""
    parts = said.topic.split("/")
    if len(parts) != 4 or "/".join(parts[:2]) != m.ROOT or not said.payload:
        return None
    rig, what = parts[2], parts[3]
    try:
        if what == "description":
            descriptions.description(rig, said.payload)
        if what == "state":
            return Heard(rig, state=descriptions.state(rig, said.payload), live=not said.retained)
        if what == "presence":
            return Heard(rig, presence=m.Presence.model_validate_json(said.payload).present)
        if what == "events" and not said.retained:
            event = m.EventNow.model_validate_json(said.payload)
            if event.what in ("accepted", "reset") and (event.subject.lower() in ANSWERS or event.what == "reset"):
                return Heard(rig, answered=True)
    except ValidationError as error:
        first = error.errors()[0]
        return Heard(rig, garbled=f"{what}: {'.'.join(map(str, first['loc']))}: {first['msg']}")
    except ValueError as error:
        return Heard(rig, garbled=f"{what}: {error}")
    return None


def run(
    rules: Rules,
    address: Address,
    client_id: str,
    first: Post,
    second: Post,
    wait: Callable[[float], bool],
    now: Callable[[], float] = time.monotonic,
    local: Callable[[], time.struct_time] = time.localtime,
) -> None:
    """Watch until `wait` says that it is over."""
    ear, descriptions = Ear(address, client_id), Descriptions()

    def moment() -> Time:
        here = local()
        return Time(now(), 60 * here.tm_hour + here.tm_min)

    memory = begin(rules, moment())
    try:
        while not wait(TICK_S):
            ear.beat(time.monotonic())
            heard: list[Heard | None] = [None]  # time has passed, whoever spoke
            while ear.said:
                heard.append(understood(ear.said.popleft(), descriptions))
            for one in heard:
                memory, out = decide(rules, memory, one, moment())
                for send in out:
                    (first if send.to == "first" else second).post(send.text)
    finally:
        ear.close()
        for post in (first, second):
            post.end()
