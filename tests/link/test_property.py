"""No stranger energises the rig: not by any MQTT messages, not by a hostile link, not by a hostile page whose key is
enrolled, as long as nobody at the rig has given the local enable. The judge is the contactors' path, not a reply.

The guard's own loop, protocol, signatures and core run here in one process, on a clock of their own.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from controller.core.commands import Source, Verb
from controller.guard import protocol
from controller.guard.challenge import Keys
from controller.guard.sockets import Mail
from controller.link import messages as m
from controller.link.gate import Gate, Refused, for_guard
from controller.page.signing import PageKey
from tests.core.bench import rig
from tests.guard.pretend import Desk, Line

EVERYTHING = frozenset((verb, Source.REMOTE) for verb in Verb)  # a rig file as careless as can be
KEY = PageKey(Ed25519PrivateKey.from_private_bytes(b"\x01" * 32))
STRANGER = PageKey(Ed25519PrivateKey.from_private_bytes(b"\x02" * 32))

verbs = st.sampled_from([*protocol.VERBS, "energise", "START", "", "stop "])
texts = st.sampled_from(["", "because", "/", "x" * 300])
numbers = st.one_of(st.none(), st.sampled_from([0.0, 1.0, 9.0, 30.0, 1e9, -1.0]))
subjects = st.sampled_from(["", "main", "second", "main_hold", "main_close", "edge", "over-temperature"])
flags = st.booleans()


def message(verb: str, number: float | None, subject: str, text: str, seconds: float | None) -> dict[str, Any]:
    """What may be asked of a guard."""
    found: dict[str, Any] = {"do": verb, "who": "x", "text": text, "subject": subject}
    return found | ({} if number is None else {"number": number}) | ({} if seconds is None else {"seconds": seconds})


messages = st.builds(message, verbs, numbers, subjects, texts, numbers)


class Rig:
    """A guard that could start at once if somebody at the rig asked it to."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory()  # a key whose file is gone is obeyed no more
        (Path(self._folder.name) / f"{KEY.id}.pub").write_text(KEY.public.hex())
        self.desk = Desk(Keys(Path(self._folder.name)), rig(permitted=EVERYTHING))
        self.line = Line(Source.LINK)
        self.gate = Gate()
        self.desk.scan(20)
        self.asked = 0

    def send(self, data: bytes) -> None:
        """Into the link's socket."""
        self.asked += 1
        self.desk.sockets.mail.append(Mail(self.line.peer, data))
        self.desk.scan()

    def challenge(self) -> str:
        return self.desk.guard.about().challenge

    def sign(self, key: PageKey, text: str) -> bytes:
        signature = key._private.sign(text.encode()).hex()
        return protocol.dumps({"signed": text, "key": key.id, "signature": signature})

    def live(self, seconds: float) -> None:
        self.desk.scan(round(seconds / self.desk.rig.scan_s))

    def judge(self) -> None:
        """It stayed dead, and it was alive: a person at the rig can start it still, unless a stranger held it."""
        self.live(30.0)
        assert not self.desk.path_closed
        assert self.desk.state not in ("CHECKING", "RAMPING", "VENTING", "RUNNING")

    def close(self) -> None:
        self.line.close()
        self._folder.cleanup()


def watched(rig: Rig, step: Callable[[], None]) -> None:
    step()
    assert not rig.desk.path_closed
    assert rig.desk.hands.drives.parts.closings == []


def short(text: dict[str, Any]) -> str:
    return json.dumps(text, separators=(",", ":"))


COMMON = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@COMMON
@given(st.lists(st.one_of(messages.map(lambda x: protocol.dumps(x)), st.binary(max_size=60)), max_size=12))
def test_a_hostile_link_on_its_socket_cannot_energise_a_rig(said: list[bytes]) -> None:
    rig = Rig()
    for data in said:
        watched(rig, lambda data=data: rig.send(data))  # type: ignore[misc]
    rig.judge()
    rig.close()


@COMMON
@given(st.lists(st.tuples(messages, flags, st.sampled_from([0.0, 1.0, 12.0])), max_size=10))
def test_a_hostile_page_with_an_enrolled_key_cannot_while_the_local_enable_is_off(
    said: list[tuple[dict[str, Any], bool, float]],
) -> None:
    rig = Rig()
    for text, enrolled, later_s in said:
        signed = short(text | {"challenge": rig.challenge()})
        rig.live(later_s)
        watched(rig, lambda signed=signed, enrolled=enrolled: rig.send(rig.sign(KEY if enrolled else STRANGER, signed)))  # type: ignore[misc]
        if enrolled and text["do"] == "start":
            event("an enrolled key asked for a start")
    rig.judge()
    rig.close()


payloads = st.builds(
    lambda text, signed, verb, key, ident: (text, signed, verb, key, ident),
    messages,
    flags,
    verbs,
    st.sampled_from([KEY, STRANGER]),
    st.sampled_from(["1", "2", "3"]),
)


@COMMON
@given(st.lists(st.tuples(st.one_of(payloads, st.binary(max_size=80)), flags), max_size=12))
def test_no_sequence_of_mqtt_messages_can_energise_a_rig(said: list[tuple[Any, bool]]) -> None:
    """Through the link's gate as it is; what it lets through goes to the guard as the link would send it."""
    rig = Rig()
    for nth, (what, retained) in enumerate(said):
        found = rig.gate.command(as_payload(rig, what), retained, float(nth))
        if isinstance(found, Refused):
            continue
        watched(rig, lambda found=found, retained=retained: rig.send(protocol.dumps(for_guard(found, retained, 3))))  # type: ignore[misc]
        event("the link let it through")
    rig.judge()
    rig.close()


def as_payload(rig: Rig, what: Any) -> bytes:
    if isinstance(what, bytes):
        return what
    text, signed, verb, key, ident = what
    fields: dict[str, Any] = {"verb": verb, "client": "x", "id": ident, "number": text.get("number")}
    if signed:
        inner = short(text | {"challenge": rig.challenge()})
        fields |= {
            "verb": text["do"],
            "key": key.id,
            "signed": inner,
            "signature": key._private.sign(inner.encode()).hex(),
        }
    return m.CommandAsk(**fields).model_dump_json().encode()


def test_the_same_rig_starts_for_somebody_at_the_rig_and_from_afar_once_enabled() -> None:
    """The twin of the above: what kept it dead was the missing enable, not a rig that cannot start."""
    rig = Rig()
    signed = short({"do": "start", "who": "Ada", "seconds": 600.0, "challenge": rig.challenge()})
    rig.send(rig.sign(KEY, signed))
    rig.judge()
    local = Line(Source.LOCAL)
    for verb, fields in ((Verb.ENABLE, {"number": 1.0}), (Verb.CONFIRM, {})):
        rig.desk.sockets.mail.append(Mail(local.peer, protocol.dumps(protocol.do(verb, who="Ada", **fields))))
        rig.desk.scan()
    signed = short({"do": "start", "who": "Ada", "seconds": 600.0, "challenge": rig.challenge()})
    rig.send(rig.sign(KEY, signed))
    for _ in range(1200):
        rig.desk.scan()
        if rig.desk.path_closed and rig.desk.state in ("RAMPING", "VENTING", "RUNNING"):
            break
    assert rig.desk.path_closed, rig.desk.said()[-6:]
    local.close()
    rig.close()
