"""Events and frames of the last minutes, by number."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.core.events import Event, Happened
from controller.guard.ring import EVENTS_KEPT, EVENTS_SHOWN, EventRing, FrameRing


def event(number: int) -> Event:
    return Event(number, number / 10.0, Happened.NOTE, "x")


def filled(count: int) -> EventRing:
    ring = EventRing()
    ring.add([event(n) for n in range(1, count + 1)], 0.0, True)
    return ring


def numbers(ring: EventRing, after: int, at_most: int = 100) -> list[int]:
    return [kept.event.number for kept in ring.after(after, at_most)]


def test_events_come_in_order_after_a_number_a_hundred_at_a_time() -> None:
    ring = filled(250)
    assert numbers(ring, 0) == list(range(1, 101))
    assert numbers(ring, 200) == list(range(201, 251))
    assert numbers(ring, 250) == []
    assert numbers(ring, 10**9) == []


def test_nothing_unacknowledged_is_forgotten_until_the_ring_is_full() -> None:
    ring = filled(EVENTS_KEPT)
    assert (ring.oldest, ring.lost) == (1, 0)
    ring.add([event(EVENTS_KEPT + 1)], 0.0, True)
    assert (ring.oldest, ring.lost) == (2, 1)


def test_acknowledged_ones_stay_for_a_while_for_people_who_look_later() -> None:
    ring = filled(1000)
    ring.acknowledge(900)
    assert ring.oldest == 1000 - EVENTS_SHOWN + 1
    ring.acknowledge(100)
    assert ring.acknowledged == 900, "an acknowledgement is not taken back"


def test_the_future_cannot_be_acknowledged() -> None:
    ring = filled(10)
    ring.acknowledge(10**6)
    ring.add([event(n) for n in range(11, 600)], 0.0, True)
    assert ring.oldest == 11


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 700)), max_size=40))
def test_a_reader_that_fetches_and_acknowledges_sees_every_number_once(steps: list[tuple[int, int]]) -> None:
    ring, made = EventRing(), 0
    seen: list[int] = []
    for burst, take in steps:
        ring.add([event(made + n + 1) for n in range(burst)], 0.0, True)
        made += burst
        seen += numbers(ring, seen[-1] if seen else 0, take)
        ring.acknowledge(seen[-1] if seen else 0)
    seen += numbers(ring, seen[-1] if seen else 0, 10_000)
    assert seen == list(range(1, made + 1))


@pytest.mark.parametrize("added", [9000, 9001, 9009])
def test_the_frames_of_twelve_minutes_are_kept_and_less_than_two_seconds_more(added: int) -> None:
    ring = FrameRing(0.1)
    for number in range(added):
        ring.add(number.to_bytes(2, "big"))
    kept = ring.all()
    assert 7201 <= len(kept) < 7220
    assert list(kept) == [number.to_bytes(2, "big") for number in range(added - len(kept), added)]


@given(st.lists(st.binary(max_size=40), max_size=35))
def test_frames_of_any_bytes_and_length_come_back_in_order_as_they_were(frames: list[bytes]) -> None:
    ring = FrameRing(0.1)
    for frame in frames:
        ring.add(frame)
    kept = ring.all()
    ring.add(b"later")
    assert list(kept) == frames
    assert len(kept) == len(frames)
    assert all(frame in kept for frame in frames)
    assert b"x" * 41 not in kept
