"""A frame is the whole scan: what comes out of it is what went in, and nothing but a frame is taken for one."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.commands import Command, Source, Verb
from controller.core.frame import NotAFrame, header, pack, unpack
from controller.core.limits import RESTING
from controller.core.memory import Inputs
from controller.core.outputs import PINS
from controller.core.signals import Code, Reading
from controller.core.step import step
from tests.core.bench import Bench, rig

BOOT = "0123456789abcdef"


def busy_bench(seed: int, scans: int) -> Bench:
    """A bench that has been through commands, losses, limits and trips, the same for the same seed."""
    draw = random.Random(seed)
    bench = Bench()
    bench.run(1.0)
    bench.ask(Verb.START)
    for _ in range(scans):
        if draw.random() < 0.02:
            name = draw.choice(list(bench.numbers))
            bench.numbers[name] = draw.choice([None, 0.0, 1.0, 2.0, 65.0, 75.0, -3.0, math.nan, math.inf])
            bench.codes[name] = draw.choice([Code.OK, Code.OK, Code.ABSENT, Code.BAD_CHECKSUM, Code.FORCED])
        if draw.random() < 0.02:
            bench.ask(draw.choice(list(Verb)), draw.choice(list(Source)), text="because", who="Ada")
        bench.scan(dt_s=draw.choice([0.1, 0.1, 0.1, 0.13, 0.05]))
    return bench


def inputs_of(bench: Bench) -> Inputs:
    return Inputs(bench.readings(), bench.pins, bench.parts.main, None, bench.parts.second, bench.on_disk, True, False)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), scans=st.integers(0, 300))
def test_what_comes_out_of_a_frame_is_what_went_in(seed: int, scans: int) -> None:
    bench = busy_bench(seed, scans)
    inputs = inputs_of(bench)
    commands = (Command(Verb.START, Source.LOCAL, 7, text="ä\n", seconds=3.5), Command(Verb.STOP, Source.LINK))
    frame = unpack(bench.rig, pack(bench.rig, BOOT, 1.7e9, inputs, commands, bench.memory))
    assert repr(frame.inputs) == repr(inputs)  # by its text, because a NaN is not equal to itself
    assert frame.memory == bench.memory
    assert frame.commands == commands
    assert (frame.boot, frame.wall_s) == (BOOT, 1.7e9)
    assert all((a is RESTING) == (b is RESTING) for a, b in zip(frame.memory.limits, bench.memory.limits, strict=True))


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), scans=st.integers(0, 200))
def test_a_memory_written_down_and_read_back_decides_the_same(seed: int, scans: int) -> None:
    bench = busy_bench(seed, scans)
    inputs = inputs_of(bench)
    restored = unpack(bench.rig, pack(bench.rig, BOOT, 0.0, inputs, (), bench.memory)).memory
    now_s = bench.now_s
    first = second = bench.memory
    second = restored
    for _ in range(40):
        now_s += 0.1
        given_now = inputs._replace(readings=tuple(r._replace(stamp_s=now_s - 0.01) for r in inputs.readings))
        first, outputs, events = step(bench.rig, first, given_now, (), now_s)
        second, same_outputs, same_events = step(bench.rig, second, given_now, (), now_s)
        assert (second, same_outputs, same_events) == (first, outputs, events)


def test_a_header_is_read_without_the_rig() -> None:
    bench = busy_bench(3, 20)
    data = pack(bench.rig, BOOT, 12.5, inputs_of(bench), (), bench.memory)
    assert header(data) == (BOOT, bench.rig.rig_hash, bench.memory.scan, bench.memory.now_s, 12.5)


def test_a_frame_of_another_rig_file_is_refused_by_name() -> None:
    bench = busy_bench(3, 5)
    data = pack(bench.rig, BOOT, 0.0, inputs_of(bench), (), bench.memory)
    with pytest.raises(NotAFrame, match="made with rig file 0000000000000000, this one is 1111111111111111"):
        unpack(replace(bench.rig, rig_hash="1" * 16), data)


@settings(max_examples=200, deadline=None)
@given(cut=st.integers(0, 2000), flip=st.integers(0, 10**5), junk=st.binary(max_size=40))
def test_bytes_that_are_no_frame_raise_one_error_and_no_other(cut: int, flip: int, junk: bytes) -> None:
    bench = busy_bench(5, 30)
    data = pack(bench.rig, BOOT, 0.0, inputs_of(bench), (), bench.memory)
    spoiled = bytearray(data)
    spoiled[flip % len(data)] ^= 1 << flip % 8
    for candidate in (data[: cut % len(data)], bytes(spoiled), junk, data + b"\0"):
        try:
            unpack(bench.rig, candidate)
        except NotAFrame:
            continue
        assert len(candidate) == len(data)  # only a flipped number can still be a frame; files carry a checksum


@pytest.mark.parametrize("starts", [0, 1, 255, 256, 36_000])
def test_as_many_starts_as_an_hour_can_hold_fit_into_a_frame(starts: int) -> None:
    """At most one a scan, ten scans a second."""
    bench = busy_bench(1, 3)
    memory = bench.memory._replace(starts_s=tuple(float(n) for n in range(starts)))
    assert unpack(rig(), pack(rig(), BOOT, 0.0, inputs_of(bench), (), memory)).memory == memory


def test_a_pin_that_is_not_wired_stays_so() -> None:
    bench = busy_bench(1, 3)
    pins: tuple[bool | None, ...] = (None, True, False, *(None,) * (len(PINS) - 3))
    inputs = inputs_of(bench)._replace(pins=pins)
    assert unpack(rig(), pack(rig(), BOOT, 0.0, inputs, (), bench.memory)).inputs.pins == pins


def test_no_number_and_not_a_number_are_told_apart() -> None:
    bench = busy_bench(1, 3)
    readings = list(bench.readings())
    readings[0], readings[1] = Reading(None, 1.0, Code.ABSENT), Reading(math.nan, 2.0)
    data = pack(bench.rig, BOOT, 0.0, inputs_of(bench)._replace(readings=tuple(readings)), (), bench.memory)
    found = unpack(bench.rig, data).inputs.readings
    assert found[0].number is None
    assert found[1].number is not None
    assert math.isnan(found[1].number)
