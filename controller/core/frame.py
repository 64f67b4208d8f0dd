"""One packed record a scan: what was read, what was asked, and the whole memory after it.

The same bytes are the guard's ring, the datagram to the link, a line of an incident file and the input of a replay. A
frame holds the memory entire, so that a replay can begin at any of them and must arrive at the next, bit for bit.

Layout, little-endian: HEADER; a byte that counts signals and one for limits; for each signal READING and VALUE, then
its bad bits (two bytes of length, then most significant byte first); after a count, the LIMIT of each limit that is
not at rest; PINS; CONTROLLER; SEQUENCE; RUN; PERSON; OUTPUTS; MEMORY; after a count of two bytes, the starts within the
hour; a VOTE for each vote; LATE and the times of the late scans; and, after a length, a JSON list of the latch, the
texts of run and person, and the commands.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Sequence as SequenceOf
from typing import Any, NamedTuple, get_type_hints

from controller.core.commands import Command
from controller.core.limits import RESTING, LimitState
from controller.core.memory import Inputs, Late, Memory, Person, Run, Sequence
from controller.core.outputs import PINS, Outputs
from controller.core.plain import from_plain, to_plain
from controller.core.rig import Rig
from controller.core.sequence import Check, State
from controller.core.signals import Code, Reading, Status, Value
from controller.core.trips import Latch
from controller.core.voting import VoteState

MAGIC = b"LWF"
VERSION = 4

HEADER = struct.Struct("<3sB8s16sQdd?")  # magic, version, boot, rig hash, scan, now_s, wall_s, synchronised
READING = struct.Struct("<?ddB")  # is there a number, number, stamp_s, code
VALUE = struct.Struct("<dBBdddd")  # number (NaN: none), status, code, good stamp, good number, rejected, seen stamp
LIMIT = struct.Struct("<Bddd???Bb")  # position, filled, stamp, onset, demanded, due, standing, how, member
PINS_ = struct.Struct(f"<{len(PINS)}B")  # 0, 1, 2 for not wired
CONTROLLER = struct.Struct("<3BQ??")  # contacts, latch on disk, well, synchronised
MEMORY = struct.Struct("<dQQdd3BQ??")
VOTE = struct.Struct("<Bdd?")  # lost, degraded_s, apart_s, apart
LATE = struct.Struct("<B?B")  # in a row, standing, count


def _layout(kind: type[tuple[Any, ...]]) -> struct.Struct:
    """The layout of a record's fields in their order; texts, which stand last, are carried apart."""
    letters = {float: "d", int: "q", bool: "?"}
    hints = [k for k in get_type_hints(kind).values() if k is not str]
    return struct.Struct("<" + "".join(letters.get(k, "b") for k in hints))


SEQUENCE = _layout(Sequence)  # float: d, whole number: q, flag: ?, a word of a list: b
RUN = _layout(Run)
PERSON = _layout(Person)
OUTPUTS = _layout(Outputs)
_TRI: dict[bool | None, int] = {False: 0, True: 1, None: 2}
_BACK: tuple[bool | None, ...] = (False, True, None)


class NotAFrame(ValueError):
    """Bytes that are not a frame of this version, or of another rig; says which."""


class Frame(NamedTuple):
    boot: str
    rig_hash: str
    wall_s: float
    inputs: Inputs
    commands: tuple[Command, ...]
    memory: Memory


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _optional(value: float) -> float | None:
    return None if math.isnan(value) else value


def pack(rig: Rig, boot: str, wall_s: float, inputs: Inputs, commands: SequenceOf[Command], memory: Memory) -> bytes:
    """The frame of one scan. boot: 16 hexadecimal digits; wall_s: Unix time, a label only."""
    seq, run, person, latch = memory.sequence, memory.run, memory.person, memory.latch
    parts = [
        HEADER.pack(
            MAGIC,
            VERSION,
            bytes.fromhex(boot),
            rig.rig_hash.encode()[:16],
            memory.scan,
            memory.now_s,
            wall_s,
            inputs.clock_synchronised,
        ),
        bytes((len(rig.signals), len(rig.limits))),
    ]
    for (number, stamp_s, code), value in zip(inputs.readings, memory.values, strict=True):
        parts.append(READING.pack(number is not None, number or 0.0, stamp_s, code))
        parts.append(
            VALUE.pack(
                _number(value.number),
                value.status,
                value.code,
                value.good_stamp_s,
                _number(value.good_number),
                _number(value.rejected),
                value.seen_stamp_s,
            )
        )
        bits = value.bad_bits
        size = (bits.bit_length() + 7) // 8
        parts.append(size.to_bytes(2, "little") + bits.to_bytes(size, "big"))
    busy = [(at, state) for at, state in enumerate(memory.limits) if state is not RESTING]
    parts.append(bytes((len(busy),)))
    parts.extend(_pack_limit(at, state) for at, state in busy)
    parts.append(PINS_.pack(*[_TRI[p] for p in inputs.pins]))
    contacts = (inputs.main_closed, inputs.second_closed, inputs.relay_closed)
    parts.append(
        CONTROLLER.pack(
            *[_TRI[c] for c in contacts], inputs.latch_on_disk, inputs.controller_well, inputs.clock_synchronised
        )
    )
    parts.append(SEQUENCE.pack(*seq))
    parts.append(RUN.pack(*run[:-1]))
    parts.append(PERSON.pack(*person[:-1]))
    parts.append(OUTPUTS.pack(*memory.outputs))
    parts.append(
        MEMORY.pack(
            memory.now_s,
            memory.scan,
            memory.events,
            memory.cap,
            memory.began_s,
            *[_TRI[c] for c in memory.contacts],
            memory.latch_on_disk,
            memory.controller_well,
            memory.pins_obey,
        )
    )
    parts.append(struct.pack(f"<H{len(memory.starts_s)}d", len(memory.starts_s), *memory.starts_s))
    parts.extend(VOTE.pack(*state) for state in memory.votes)
    late = memory.late
    parts.append(LATE.pack(late.in_a_row, late.standing, len(late.at_s)))
    parts.append(struct.pack(f"<{len(late.at_s)}d", *late.at_s))
    texts = json.dumps(
        [to_plain(latch), run.ending, person.driven, [to_plain(c) for c in commands]], separators=(",", ":")
    ).encode()
    parts.append(len(texts).to_bytes(4, "little") + texts)
    return b"".join(parts)


def _pack_limit(at: int, state: LimitState) -> bytes:
    return LIMIT.pack(
        at,
        state.filled_s,
        state.stamp_s,
        state.onset_s,
        state.demanded,
        state.due,
        state.standing,
        state.how,
        state.member,
    )


class _Reader:
    __slots__ = ("at", "data")

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def take(self, layout: struct.Struct) -> tuple[Any, ...]:
        found = layout.unpack_from(self.data, self.at)
        self.at += layout.size
        return found

    def bytes(self, size: int) -> bytes:
        found = self.data[self.at : self.at + size]
        if len(found) != size:
            raise NotAFrame("cut short")
        self.at += size
        return found


def unpack(rig: Rig, data: bytes) -> Frame:
    """The frame in `data`. Raises NotAFrame for anything else, a frame of another rig file included."""
    try:
        return _unpack(rig, data)
    except (struct.error, ValueError, IndexError, KeyError) as error:
        if isinstance(error, NotAFrame):
            raise
        raise NotAFrame(f"not a frame: {error}") from None


def header(data: bytes) -> tuple[str, str, int, float, float]:
    """boot, rig hash, scan, now_s, wall_s of a frame, without a rig. Raises NotAFrame."""
    if len(data) < HEADER.size or data[:3] != MAGIC:
        raise NotAFrame("not a frame")
    _, version, boot, rig_hash, scan, now_s, wall_s, _ = HEADER.unpack_from(data)
    if version != VERSION:
        raise NotAFrame(f"frame version {version}; this program reads {VERSION}")
    return boot.hex(), rig_hash.decode("ascii"), scan, now_s, wall_s


def _unpack(rig: Rig, data: bytes) -> Frame:
    boot, rig_hash, scan, _, wall_s = header(data)
    if rig_hash != rig.rig_hash[:16]:
        raise NotAFrame(f"made with rig file {rig_hash}, this one is {rig.rig_hash[:16]}")
    reader = _Reader(data)
    reader.at = HEADER.size
    signals, limits = reader.bytes(2)
    if (signals, limits) != (len(rig.signals), len(rig.limits)):
        raise NotAFrame(f"{signals} signals and {limits} limits; this rig has {len(rig.signals)} and {len(rig.limits)}")
    readings, values = [], []
    for _ in range(signals):
        there, number, stamp_s, code = reader.take(READING)
        readings.append(Reading(number if there else None, stamp_s, Code(code)))
        shown, status, why, good_s, good, rejected, seen_s = reader.take(VALUE)
        size = int.from_bytes(reader.bytes(2), "little")
        bits = int.from_bytes(reader.bytes(size), "big")
        values.append(
            Value(
                _optional(shown), Status(status), Code(why), good_s, _optional(good), _optional(rejected), seen_s, bits
            )
        )
    states = [RESTING] * limits
    for _ in range(reader.bytes(1)[0]):
        at, filled_s, stamp_s, onset_s, demanded, due, standing, how, member = reader.take(LIMIT)
        states[at] = LimitState(filled_s, demanded, stamp_s, onset_s, due, standing, Code(how), member)
    pins = tuple(_BACK[p] for p in reader.take(PINS_))
    main, second, relay, on_disk, well, synchronised = reader.take(CONTROLLER)
    inputs = Inputs(tuple(readings), pins, _BACK[main], _BACK[second], _BACK[relay], on_disk, well, synchronised)
    state, since_s, check, *rest = reader.take(SEQUENCE)
    seq = Sequence(State(state), since_s, Check(check), *rest)
    run: list[Any] = list(reader.take(RUN))
    person: list[Any] = list(reader.take(PERSON))
    outputs = Outputs(*reader.take(OUTPUTS))
    now_s, _, events, cap, began_s, *tri, memory_disk, memory_well, obey = reader.take(MEMORY)
    count = int.from_bytes(reader.bytes(2), "little")
    starts_s = reader.take(struct.Struct(f"<{count}d"))
    votes = tuple(VoteState(*reader.take(VOTE)) for _ in rig.votes)
    in_a_row, standing, count = reader.take(LATE)
    late = Late(in_a_row, reader.take(struct.Struct(f"<{count}d")), standing)
    texts = reader.bytes(int.from_bytes(reader.bytes(4), "little"))
    latch, ending, driven, commands = json.loads(texts)
    if reader.at != len(data):
        raise NotAFrame("longer than a frame")
    memory = Memory(
        now_s,
        scan,
        tuple(values),
        tuple(states),
        seq,
        from_plain(Latch, latch),
        Run._make([*run, ending]),
        Person._make([*person, driven]),
        outputs,
        events,
        starts_s,
        cap,
        began_s,
        (_BACK[tri[0]], _BACK[tri[1]], _BACK[tri[2]]),
        memory_disk,
        memory_well,
        obey,
        votes,
        late,
    )
    return Frame(boot, rig_hash, wall_s, inputs, tuple(from_plain(Command, c) for c in commands), memory)
