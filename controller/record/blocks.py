"""A block: some two minutes of all signals, compressed and packed into one row: one row is few pages on the card.

Sealed form, before zlib, little endian: `u16` how many signals have points; for each its id (`u16`) and how many
points (`u32`); then, of all signals one after the other, first all times (`u32` milliseconds since the block's begin,
each signal's first absolute, the others as differences), then all values (`f32`), then all marks (`u8`): like beside
like packs best. A mark is the signal's status (0 good .. 4 failure) plus 8 where a line joins the point to the one
before it. A value that is not a number says: from here on nothing was to be believed. So no gap can be drawn over.
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

_COUNT = struct.Struct("<H")
_HEAD = np.dtype([("signal", "<u2"), ("points", "<u4")])
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
    heads: list[tuple[int, int]] = []
    times: list[bytes] = []
    values: list[float] = []
    marks: list[int] = []
    for signal, bound in enumerate(bounds):
        points = line(rows, signal, [0.0 if all_of_it else bound for all_of_it in exact], before)
        if not points:
            continue
        heads.append((signal, len(points)))
        times.append(np.diff([p[0] - begin_ms for p in points], prepend=0).astype("<u4").tobytes())
        values += [p[1] for p in points]
        marks += [p[2] for p in points]
    columns = (np.array(heads, _HEAD).tobytes(), *times, np.array(values, "<f4").tobytes(), bytes(marks))
    return _COUNT.pack(len(heads)) + b"".join(columns)


def seal(block: bytes, ids: Sequence[int]) -> bytes:
    """The form that is stored: positions replaced by the database's ids, and compressed."""
    data = bytearray(block)
    heads = _heads(data)
    heads["signal"] = [ids[signal] for signal in heads["signal"]]
    data[_COUNT.size : _COUNT.size + heads.nbytes] = heads.tobytes()
    return zlib.compress(data)


def _heads(data: bytes | bytearray) -> np.ndarray[tuple[int], np.dtype[np.void]]:
    return np.frombuffer(data, _HEAD, _COUNT.unpack_from(data)[0], _COUNT.size).copy()


def unseal(sealed: bytes) -> bytes:
    """Raises ValueError where the bytes are not a sealed block."""
    try:
        return zlib.decompress(sealed)
    except zlib.error as error:
        raise ValueError(f"not a packed block: {error}") from None


def unpack(data: bytes, begin_ms: int, wanted: frozenset[int] | None = None) -> dict[int, Points]:
    """Points by signal, of those wanted (all where None)."""
    heads = _heads(data)
    ends = np.cumsum(heads["points"], dtype=np.int64).tolist()
    whole = ends[-1] if ends else 0
    times_at = _COUNT.size + heads.nbytes
    values_at, marks_at = times_at + 4 * whole, times_at + 8 * whole
    found: dict[int, Points] = {}
    for signal, count, end in zip(heads["signal"].tolist(), heads["points"].tolist(), ends, strict=True):
        if wanted is None or signal in wanted:
            nth = end - count
            steps = np.frombuffer(data, "<u4", count, times_at + 4 * nth)
            values = np.frombuffer(data, "<f4", count, values_at + 4 * nth).astype(np.float64)
            marks = np.frombuffer(data, np.uint8, count, marks_at + nth)
            found[signal] = Points((begin_ms + np.cumsum(steps, dtype=np.int64)) / 1000.0, values, marks)
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
