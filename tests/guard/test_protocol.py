"""What may be said to the guard's sockets, and what is refused."""

from __future__ import annotations

import json
from contextlib import suppress

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.core.commands import Verb
from controller.guard.protocol import (
    MESSAGE_BYTES,
    VERBS,
    Acknowledge,
    Ask,
    Do,
    NotUnderstood,
    Signed,
    do,
    dumps,
    looks_like_stop,
    parse,
)


@pytest.mark.parametrize("verb", Verb)
def test_every_verb_can_be_said_and_is_understood(verb: Verb) -> None:
    request = parse(dumps(do(verb, who="Ada", number=2.0)))
    assert isinstance(request, Do)
    assert (request.verb, request.who, request.number) == (verb, "Ada", 2.0)


def test_the_other_kinds_of_message_are_understood() -> None:
    assert parse(b'{"ask": "events", "after": 5, "id": "a"}') == Ask("a", "events", 5)
    assert parse(b'{"acknowledge": 7}') == Acknowledge("", 7)
    signed = parse(b'{"signed": "{}", "key": "ada", "signature": "00ff", "retained": true}')
    assert signed == Signed("", "{}", "ada", b"\x00\xff", True)


@pytest.mark.parametrize(
    ("message", "why"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b"[1]", "not an object"),
        (b"{}", "exactly one of do, signed, ask, acknowledge"),
        (b'{"do": "stop", "ask": "status"}', "exactly one"),
        (b'{"do": "explode"}', "cannot do 'explode'; can do start"),
        (b'{"do": "stop", "source": "local"}', "does not know source"),
        (b'{"do": "start", "seconds": "60"}', "seconds must be a finite number"),
        (b'{"do": "start", "seconds": true}', "seconds must be a finite number"),
        (b'{"do": "start", "seconds": NaN}', "NaN is not a number"),
        (b'{"do": "start", "seconds": 1e999}', "seconds must be a finite number"),
        (b'{"do": "stop", "do": "start"}', "a key is given twice"),
        (b'{"do": "stop", "retained": 0}', "retained must be true or false"),
        (b'{"ask": "events", "after": -1}', "whole number"),
        (b'{"ask": "everything"}', "cannot answer 'everything'"),
        (b'{"signed": "{}", "signature": "zz"}', "hexadecimal"),
        (b'{"do": "stop", "text": "' + b"x" * MESSAGE_BYTES + b'"}', "longer than 2048 bytes"),
        (b"[" * 2000, "not JSON"),
    ],
)
def test_what_is_wrong_with_a_message_is_said(message: bytes, why: str) -> None:
    with pytest.raises(NotUnderstood, match=why):
        parse(message)


def test_the_id_comes_back_even_with_what_was_not_understood() -> None:
    with pytest.raises(NotUnderstood) as caught:
        parse(b'{"do": "explode", "id": "17"}')
    assert caught.value.ident == "17"


def understood_or_explained(data: bytes) -> None:
    """Any other exception fails the test."""
    with suppress(NotUnderstood):
        assert isinstance(parse(data), Do | Signed | Ask | Acknowledge)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.binary(max_size=3000))
def test_no_bytes_make_it_fail_in_another_way(data: bytes) -> None:
    understood_or_explained(data)


_JSON: st.SearchStrategy[object] = (
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=20) | st.just([1])
)
_KEYS = st.sampled_from(
    ["do", "signed", "ask", "acknowledge", "id", "number", "text", "retained", "after", "challenge"]
)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(_KEYS, _JSON | st.sampled_from(sorted(VERBS))))
def test_no_object_makes_it_fail_in_another_way(found: dict[str, object]) -> None:
    understood_or_explained(json.dumps(found).encode())


def test_a_stop_is_picked_out_without_parsing() -> None:
    assert looks_like_stop(dumps(do(Verb.STOP)))
    assert not looks_like_stop(dumps(do(Verb.START)))
