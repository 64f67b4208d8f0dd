"""A line to draw: stored points or roll-ups, thinned to what a screen can show so that peaks and gaps survive."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from tsdownsample import MinMaxDownsampler

from controller.record.blocks import JOINED, Floats, Points
from controller.record.rollups import DAY_S, HOUR_S, MINUTE_S, Buckets

LEVELS_S = (MINUTE_S, HOUR_S, DAY_S)
MOST_GAPS = 100
_THINNER = MinMaxDownsampler()  # type: ignore[no-untyped-call]
STORED = 0  # the level of the stored points themselves


class Trend(NamedTuple):
    """One signal over time. NaN where nothing was to be believed; lines are not drawn to or from there."""

    signal: str
    unit: str
    at_s: Floats  # Unix time
    value: Floats


def level(span_s: float, points: int) -> int:
    """The coarsest level that still gives every drawn point its own least and most.

    >>> level(30 * 86400, 500), level(86400, 500), level(3600, 500)
    (3600, 60, 0)
    """
    enough = [bucket_s for bucket_s in LEVELS_S if 2.0 * span_s / bucket_s >= points]
    return max(enough, default=STORED)


def of_points(points: Points, offset_s: float) -> tuple[Floats, Floats]:
    """Times and values to draw, with a NaN put in wherever two points are not joined."""
    at_s, value = points.at_s + offset_s, points.value
    if not at_s.size:
        return at_s, value
    broken = ((points.mark & JOINED) == 0) & np.isfinite(value)
    broken[0] = False
    broken[1:] &= np.isfinite(value[:-1])
    where = np.flatnonzero(broken)
    return np.insert(at_s, where, at_s[where]), np.insert(value, where, np.nan)


def of_buckets(begin_s: Floats, buckets: Buckets, bucket_s: float) -> tuple[Floats, Floats]:
    """Least and most of each bucket as two points in it, and a NaN for every bucket in which nothing was seen."""
    seen = buckets.seen_s > 0.0
    at_s = np.stack((begin_s + 0.25 * bucket_s, begin_s + 0.75 * bucket_s), axis=1)
    value = np.stack((buckets.least, buckets.most), axis=1)
    value[~seen] = np.nan
    at_s, value = at_s.ravel(), value.ravel()
    if not begin_s.size:
        return at_s, value
    # buckets without a neighbour are not tied to the next one, however far away it is
    holes = np.flatnonzero(np.diff(begin_s) > 1.5 * bucket_s)
    after = 2 * holes + 2
    return np.insert(at_s, after, begin_s[holes] + bucket_s), np.insert(value, after, np.nan)


def thinned(at_s: Floats, value: Floats, points: int) -> tuple[Floats, Floats]:
    """At most `points` of them: the least and the most of each stretch, and the gaps long enough to be seen."""
    if at_s.size <= points:
        return at_s, value
    good = np.isfinite(value)
    good_at_s, good_value = np.ascontiguousarray(at_s[good]), np.ascontiguousarray(value[good])
    span_s = float(at_s[-1] - at_s[0])
    gaps = _gaps(at_s, good, span_s / points)
    room = max(2, (points - len(gaps)) // 2 * 2)
    if good_value.size > room:
        chosen = np.unique(_THINNER.downsample(good_at_s, good_value, n_out=room))
        good_at_s, good_value = good_at_s[chosen], good_value[chosen]
    if not gaps:
        return good_at_s, good_value
    where = np.searchsorted(good_at_s, gaps)
    return np.insert(good_at_s, where, gaps), np.insert(good_value, where, np.nan)


def _gaps(at_s: Floats, good: npt.NDArray[np.bool_], least_s: float) -> list[float]:
    """Where each gap that would be seen begins, in order; of very many the longest hundred."""
    begins = np.flatnonzero(~good & np.insert(good[:-1], 0, True))
    ends = np.flatnonzero(~good & np.append(good[1:], True)) + 1
    span_s = at_s[ends.clip(max=at_s.size - 1)] - at_s[(begins - 1).clip(min=0)]
    longest = np.argsort(span_s)[::-1][:MOST_GAPS]
    return sorted(at_s[begins[longest[span_s[longest] >= least_s]]].tolist())
