"""What is said on the guard's sockets: bytes in, values out, no I/O, so that link, plan and command line share it.

Three Unix sockets (SEQPACKET: one message is one datagram, and the end of a process is seen) stand in the run
directory. Which one a message came through, and the kernel's word on who holds the other end, decide its source; the
message never does. A message is one JSON object of at most 2 kB:

    {"do": "start", "who": "Ada", "charge_c": 86400}     ask for something; answered once the core has decided
    {"signed": "{...}", "key": "ada", "signature": "hex"}  the same, signed: `signed` is the text of a `do` message that
                                                         quotes a `challenge`; the signature is Ed25519 over its UTF-8
                                                         bytes as they stand, so that nobody has to re-create them
    {"ask": "status"}                                    the state of everything, decoded
    {"ask": "events", "after": 17}                       numbered events, oldest first, at most 100
    {"ask": "frames"}                                    this connection becomes a stream of packed frames
    {"acknowledge": 17}                                  events up to 17 are safe elsewhere (the link's socket only)

Every message may carry an `id`, which comes back with its answer: {"id", "accepted", "why"} to something done, the
answer's own fields to a question, and {"id", "error"} to what was not understood.
"""

from __future__ import annotations

import json
import math
from typing import Final, NamedTuple

from controller.core.commands import Source, Verb
from controller.core.events import Event

MESSAGE_BYTES: Final = 2048
ANSWER_BYTES: Final = 131072
EVENTS_AT_ONCE: Final = 100
SOCKETS: Final = {"local.sock": Source.LOCAL, "link.sock": Source.LINK, "plan.sock": Source.PLAN}
QUESTIONS: Final = ("status", "events", "frames")


class NotUnderstood(ValueError):
    """A message that is not one of the above; says what is wrong with it."""

    def __init__(self, why: str, ident: str = "") -> None:
        super().__init__(why)
        self.ident = ident


class Do(NamedTuple):
    ident: str
    verb: Verb
    number: float | None = None
    subject: str = ""
    text: str = ""
    who: str = ""
    seconds: float | None = None
    charge_c: float | None = None
    retained: bool = False
    challenge: str = ""


class Signed(NamedTuple):
    ident: str
    text: str
    key: str
    signature: bytes
    retained: bool


class Ask(NamedTuple):
    ident: str
    what: str
    after: int


class Acknowledge(NamedTuple):
    ident: str
    number: int


Request = Do | Signed | Ask | Acknowledge

VERBS: Final = {verb.name.lower().replace("_", "-"): verb for verb in Verb}
_MARK: Final = {"do": 0, "signed": 1, "ask": 2, "acknowledge": 3}
_KEYS: Final = {
    "do": {"do", "id", "number", "subject", "text", "who", "seconds", "charge_c", "retained", "challenge"},
    "signed": {"signed", "id", "key", "signature", "retained"},
    "ask": {"ask", "id", "after"},
    "acknowledge": {"acknowledge", "id"},
}


def _no_constant(name: str) -> float:
    raise NotUnderstood(f"{name} is not a number")


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise NotUnderstood("a key is given twice")
    return found


def _object(data: bytes) -> dict[str, object]:
    if len(data) > MESSAGE_BYTES:
        raise NotUnderstood(f"longer than {MESSAGE_BYTES} bytes")
    try:
        found = json.loads(data.decode(), parse_constant=_no_constant, object_pairs_hook=_once)
    except NotUnderstood:
        raise
    except (ValueError, RecursionError) as error:
        raise NotUnderstood(f"not JSON: {error}") from None
    if not isinstance(found, dict):
        raise NotUnderstood('not an object; an example is {"ask": "status"}')
    return found


def _text(found: dict[str, object], key: str, most: int = 200) -> str:
    value = found.get(key, "")
    if not isinstance(value, str) or len(value) > most:
        raise NotUnderstood(f"{key} must be a text of at most {most} characters")
    return value


def _number(found: dict[str, object], key: str) -> float | None:
    value = found.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise NotUnderstood(f"{key} must be a finite number")
    return float(value)


def _count(found: dict[str, object], key: str) -> int:
    value = found.get(key, 0)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**53:
        raise NotUnderstood(f"{key} must be a whole number, 0 or more")
    return value


def _flag(found: dict[str, object], key: str) -> bool:
    value = found.get(key, False)
    if not isinstance(value, bool):
        raise NotUnderstood(f"{key} must be true or false")
    return value


def parse(data: bytes) -> Request:
    """The request in a message. Raises NotUnderstood, which carries the message's id where that much could be read.

    >>> parse(b'{"do": "stop", "who": "Ada"}').verb.name
    'STOP'
    """
    found = _object(data)
    ident = _text(found, "id", 64)
    try:
        return _request(found, ident)
    except NotUnderstood as error:
        error.ident = ident
        raise


def _request(found: dict[str, object], ident: str) -> Request:
    kinds = [key for key in _MARK if key in found]
    if len(kinds) != 1:
        raise NotUnderstood(f"needs exactly one of {', '.join(_MARK)}")
    kind = kinds[0]
    if unknown := found.keys() - _KEYS[kind]:
        raise NotUnderstood(f"does not know {', '.join(sorted(unknown))}; knows {', '.join(sorted(_KEYS[kind]))}")
    if kind == "acknowledge":
        return Acknowledge(ident, _count(found, kind))
    word = _text(found, kind, MESSAGE_BYTES)
    if kind == "ask":
        if word not in QUESTIONS:
            raise NotUnderstood(f"cannot answer {word!r}; can answer {', '.join(QUESTIONS)}")
        return Ask(ident, word, _count(found, "after"))
    if kind == "signed":
        try:
            signature = bytes.fromhex(_text(found, "signature", 128))
        except ValueError:
            raise NotUnderstood("signature must be hexadecimal") from None
        return Signed(ident, word, _text(found, "key", 64), signature, _flag(found, "retained"))
    if word not in VERBS:
        raise NotUnderstood(f"cannot do {word!r}; can do {', '.join(VERBS)}")
    return Do(
        ident,
        VERBS[word],
        _number(found, "number"),
        _text(found, "subject", 64),
        _text(found, "text"),
        _text(found, "who", 64),
        _number(found, "seconds"),
        _number(found, "charge_c"),
        _flag(found, "retained"),
        _text(found, "challenge", 128),
    )


def looks_like_stop(data: bytes) -> bool:
    """Whether a message might be a stop: cheap, for picking it out of a flood. Parsing has the last word."""
    return b'"stop"' in data and b'"do"' in data


def dumps(message: dict[str, object]) -> bytes:
    """A message or an answer as bytes. Raises ValueError for a number that JSON cannot carry."""
    return json.dumps(message, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def do(verb: Verb, **fields: object) -> dict[str, object]:
    """The message that asks for a verb; fields that are None are left out.

    >>> do(Verb.SET_CURRENT, number=20.0, who=None)
    {'do': 'set-current', 'number': 20.0}
    """
    return {"do": verb.name.lower().replace("_", "-")} | {k: v for k, v in fields.items() if v is not None}


class Kept(NamedTuple):
    """An event as the ring keeps it: with the wall clock's label."""

    event: Event
    time_s: float  # Unix time
    synchronised: bool


def event_as_dict(kept: Kept) -> dict[str, object]:
    event = kept.event
    return {
        "number": event.number,
        "at_s": event.at_s,
        "time_s": kept.time_s,
        "clock_synchronised": kept.synchronised,
        "what": event.what.name.lower(),
        "subject": event.subject,
        "detail": event.detail,
        "source": event.source,
        "ticket": event.ticket,
        "seen": event.seen,
        "limit": event.limit,
    }
