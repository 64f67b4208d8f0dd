"""A block: some two minutes of all signals, compressed and packed into one row: one row is few pages on the card.

Sealed form, before zlib, little endian: for each signal that has points, `u16` its id, `u16` how many points, then
that many `u32` milliseconds since the block's begin (the first absolute, the others as differences), `f32` values and
`u8` marks. A mark is the signal's status (0 good .. 4 failure) plus 8 where a line joins the point to the one before
it. A value that is not a number says: from here on nothing was to be believed. So a gap can never be drawn over.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from controller.record.compress import corridor

Sample = tuple[float | None, int]  # number in the signal's unit, status
Floats = npt.NDArray[np.float64]

JOINED = 8
STATUS = 7
GAP_S = 5.0  # longer without any sample is a gap
MOST_POINTS = 65535  # of one signal in one block: two bytes

_HEAD = struct.Struct("<HH")
_SINGLE = struct.Struct("<f")


class Row(NamedTuple):
    """All signals at one instant."""

    at_ms: int  # since the machine's power-up
    samples: tuple[Sample, ...]


class Points(NamedTuple):
    """The stored line of one signal: three arrays of one length."""

    at_s: Floats  # since the machine's power-up
    value: Floats  # NaN: not to be believed from here on
    mark: npt.NDArray[np.uint8]


NOTHING = Points(np.empty(0), np.empty(0), np.empty(0, np.uint8))


def single(number: float) -> float:
    """The number as it will be stored, in single precision: one part in 16 million."""
    return float(_SINGLE.unpack(_SINGLE.pack(number))[0])


def rounded(number: float, bound: float) -> tuple[float, float]:
    """The number as it will be stored, and how far the line may pass from that.

    An eighth of the bound is given to rounding, to a power of two: the bits it clears pack to nothing, which makes a
    block a third smaller. A bound finer than single precision, 0 among them, leaves it at that.
    """
    if bound <= max(1e-6 * abs(number), 1e-30):
        return single(number), 0.0
    step = 2.0 ** math.floor(math.log2(bound / 4.0))
    return single(round(number / step) * step), bound - 0.5 * step


def line(rows: Sequence[Row], signal: int, bounds: Sequence[float], before: Row | None) -> list[tuple[int, float, int]]:
    """Points (ms, value, mark) to store for one signal. bounds: of each row. before: the last row stored earlier."""
    points: list[tuple[int, float, int]] = []
    times: list[int] = []
    values: list[float] = []
    limits: list[float] = []
    status, joined = -1, False
    last_ms = before.at_ms if before else None
    last = before.samples[signal] if before else (None, -1)

    def end_run() -> None:
        for nth, at in enumerate(corridor(times, values, limits)):
            points.append((times[at], values[at], status | (JOINED if nth or joined else 0)))
        for run in (times, values, limits):
            run.clear()

    for row, bound in zip(rows, bounds, strict=True):
        number, now = row.samples[signal]
        gap = last_ms is None or row.at_ms - last_ms > GAP_S * 1000.0
        if number is None:
            end_run()
            if last[0] is not None or now != last[1] or gap:
                points.append((row.at_ms, float("nan"), now))
        else:
            if gap or now != status or last[0] is None:
                end_run()
                status, joined = now, not gap and last[0] is not None
            times.append(row.at_ms)
            value, away = rounded(number, bound)
            values.append(value)
            limits.append(away)
        last_ms, last = row.at_ms, (number, now)
    end_run()
    return points


def pack(rows: Sequence[Row], bounds: Sequence[float], exact: Sequence[bool], before: Row | None) -> bytes:
    """A block of rows, not sealed yet: signals carry their position, as the database may not be there to number them.

    bounds: of each signal. exact: of each row, whether every sample is to be kept. before: the last row stored.
    """
    begin_ms = rows[0].at_ms
    parts: list[bytes] = []
    for signal, bound in enumerate(bounds):
        points = line(rows, signal, [0.0 if all_of_it else bound for all_of_it in exact], before)
        for some in (points[at : at + MOST_POINTS] for at in range(0, len(points), MOST_POINTS)):
            times = np.array([p[0] - begin_ms for p in some], np.int64)
            parts += (
                _HEAD.pack(signal, len(some)),
                np.diff(times, prepend=0).astype("<u4").tobytes(),
                np.array([p[1] for p in some], "<f4").tobytes(),
                np.array([p[2] for p in some], np.uint8).tobytes(),
            )
    return b"".join(parts)


def seal(block: bytes, ids: Sequence[int]) -> bytes:
    """The form that is stored: positions replaced by the database's ids, and compressed."""
    data = bytearray(block)
    at = 0
    while at < len(data):
        signal, count = _HEAD.unpack_from(data, at)
        _HEAD.pack_into(data, at, ids[signal], count)
        at += _HEAD.size + 9 * count
    return zlib.compress(data)


def unseal(sealed: bytes) -> bytes:
    """Raises ValueError where the bytes are not a sealed block."""
    try:
        return zlib.decompress(sealed)
    except zlib.error as error:
        raise ValueError(f"not a packed block: {error}") from None


def unpack(data: bytes, begin_ms: int, wanted: frozenset[int] | None = None) -> dict[int, Points]:
    """Points by signal, of those wanted (all where None)."""
    found: dict[int, Points] = {}
    at = 0
    while at < len(data):
        signal, count = _HEAD.unpack_from(data, at)
        at += _HEAD.size
        if wanted is None or signal in wanted:
            steps = np.frombuffer(data, "<u4", count, at)
            values = np.frombuffer(data, "<f4", count, at + 4 * count).astype(np.float64)
            marks = np.frombuffer(data, np.uint8, count, at + 8 * count)
            here = Points((begin_ms + np.cumsum(steps, dtype=np.int64)) / 1000.0, values, marks)
            found[signal] = joined([found[signal], here]) if signal in found else here
        at += 9 * count
    return found


def joined(parts: Sequence[Points]) -> Points:
    """Points one after the other."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return NOTHING
    return Points(*(np.concatenate(arrays) for arrays in zip(*parts, strict=True)))


def by_signal(blocks: Iterable[tuple[int, bytes]], wanted: Iterable[int] | None = None) -> dict[int, Points]:
    """Points of many sealed blocks (begin_ms, bytes), in the order given."""
    only = None if wanted is None else frozenset(wanted)
    parts: dict[int, list[Points]] = {}
    for begin_ms, sealed in blocks:
        for signal, points in unpack(unseal(sealed), begin_ms, only).items():
            parts.setdefault(signal, []).append(points)
    return {signal: joined(some) for signal, some in parts.items()}
