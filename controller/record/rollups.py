"""Minute, hour and day of a signal in four numbers: least, mean over time, most, and the seconds that were seen.

They are worked out from stored blocks alone, so what a power cut takes can be worked out again, and their error is the
blocks' own bound. Buckets count from the machine's power-up, not from the calendar: when a wrong clock is put right,
they move with everything else and nothing is worked out twice.

Packed form, before zlib, little endian: `u16` signals, `u16` buckets; `u16` ids; then for each signal its buckets as
four `f32` each: least, mean, most, seconds seen (0: nothing was, and the others are not numbers).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from controller.record.blocks import JOINED, Floats, Points

MINUTE_S, HOUR_S, DAY_S = 60, 3600, 86400
# What one stored row of a level holds: an hour of minutes, one hour, one day.
ROW_S = {MINUTE_S: HOUR_S, HOUR_S: HOUR_S, DAY_S: DAY_S}

_HEAD = struct.Struct("<HH")


class Buckets(NamedTuple):
    """One signal over equal spans: arrays of one length."""

    least: Floats
    mean: Floats  # over the time that was seen
    most: Floats
    seen_s: Floats


def summarise(points: Points, begin_s: float, bucket_s: float, buckets: int) -> Buckets:
    """What a line was in each of `buckets` spans from begin_s on. The line is straight between joined points.

    A point that is joined to nothing counts towards least and most, and as mean where nothing else was seen.
    """
    edges = begin_s + bucket_s * np.arange(buckets + 1)
    at_s, value = points.at_s, points.value
    least, most = np.full(buckets, np.inf), np.full(buckets, -np.inf)
    area, seen_s = np.zeros(buckets), np.zeros(buckets)

    def extremes(where_s: Floats, numbers: Floats) -> None:
        inside = (where_s >= edges[0]) & (where_s < edges[-1]) & np.isfinite(numbers)
        bucket = ((where_s[inside] - begin_s) / bucket_s).astype(np.int64).clip(0, buckets - 1)
        np.minimum.at(least, bucket, numbers[inside])
        np.maximum.at(most, bucket, numbers[inside])

    extremes(at_s, value)
    if at_s.size > 1:
        tied = ((points.mark[1:] & JOINED) != 0) & np.isfinite(value[1:]) & np.isfinite(value[:-1])
        t0, t1, v0, v1 = at_s[:-1][tied], at_s[1:][tied], value[:-1][tied], value[1:][tied]
        # cut every piece of line at the edges it crosses
        first = np.searchsorted(edges, t0, side="right")
        last = np.searchsorted(edges, t1, side="left")
        pieces = np.maximum(last - first, 0) + 1
        of = np.repeat(np.arange(t0.size), pieces)
        nth = np.arange(of.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
        low_edge, high_edge = first[of] + nth - 1, first[of] + nth
        a = np.where(nth == 0, t0[of], edges[low_edge.clip(0, buckets)])
        b = np.where(nth == pieces[of] - 1, t1[of], edges[high_edge.clip(0, buckets)])
        slope = (v1 - v0)[of] / (t1 - t0)[of]
        va, vb = v0[of] + slope * (a - t0[of]), v0[of] + slope * (b - t0[of])
        mine = (low_edge >= 0) & (low_edge < buckets) & (b > a)
        bucket = low_edge[mine]
        np.add.at(area, bucket, (0.5 * (va + vb) * (b - a))[mine])
        np.add.at(seen_s, bucket, (b - a)[mine])
        for end in (va[mine], vb[mine]):
            np.minimum.at(least, bucket, end)
            np.maximum.at(most, bucket, end)
    known = np.isfinite(least)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(seen_s > 0.0, area / seen_s, 0.5 * (least + most))
    nothing = np.nan
    return Buckets(
        np.where(known, least, nothing),
        np.where(known, np.clip(mean, least, most), nothing),
        np.where(known, most, nothing),
        np.where(known, np.maximum(seen_s, 1e-3), 0.0),
    )


def merged(buckets: Buckets) -> Buckets:
    """Many buckets as one."""
    seen = buckets.seen_s > 0.0
    if not seen.any():
        nothing = np.full(1, np.nan)
        return Buckets(nothing, nothing, nothing, np.zeros(1))
    weight = buckets.seen_s[seen]
    return Buckets(
        buckets.least[seen].min(keepdims=True),
        np.atleast_1d(np.average(buckets.mean[seen], weights=weight)),
        buckets.most[seen].max(keepdims=True),
        np.atleast_1d(weight.sum()),
    )


def pack(signals: Mapping[int, Buckets]) -> bytes:
    """One stored row: all signals over the same buckets."""
    count = len(next(iter(signals.values())).mean) if signals else 0
    table = [np.stack(buckets, axis=1).astype("<f4").tobytes() for buckets in signals.values()]
    ids = np.array(list(signals), "<u2").tobytes()
    return zlib.compress(_HEAD.pack(len(signals), count) + ids + b"".join(table))


def unpack(packed: bytes, wanted: Iterable[int] | None = None) -> dict[int, Buckets]:
    """Signals of a stored row, of those wanted (all where None). Raises ValueError where the bytes are not one."""
    try:
        data = zlib.decompress(packed)
    except zlib.error as error:
        raise ValueError(f"not a packed roll-up: {error}") from None
    signals, count = _HEAD.unpack_from(data, 0)
    ids = np.frombuffer(data, "<u2", signals, _HEAD.size)
    only = None if wanted is None else frozenset(wanted)
    found = {}
    for nth, signal in enumerate(ids.tolist()):
        if only is None or signal in only:
            begin = _HEAD.size + 2 * signals + 16 * count * nth
            table = np.frombuffer(data, "<f4", 4 * count, begin).astype(np.float64).reshape(count, 4)
            found[signal] = Buckets(table[:, 0], table[:, 1], table[:, 2], table[:, 3])
    return found
