"""Leave out the samples that a straight line between their neighbours gives anyway, to within a stated error.

A swinging door that pivots on the last kept sample: as long as one line from there to the newest sample passes every
sample between within its bound, nothing is kept; when none does, the sample before is kept and becomes the pivot.
What is kept are real samples, so a peak keeps its height. The usual form ends on computed points and keeps slightly
fewer, but then no stored number was ever measured. A bound of 0 keeps everything but exact straight lines.
"""

from __future__ import annotations

import math
from collections.abc import Sequence


def corridor(times_ms: Sequence[int], values: Sequence[float], bounds: Sequence[float]) -> list[int]:
    """Positions of the samples to keep, the first and the last among them.

    times_ms: strictly increasing. bounds: for each sample, how far the line may pass from it, in its unit, 0 or more.

    >>> corridor([0, 1, 2, 3, 4], [0.0, 1.1, 2.0, 3.0, 0.0], [0.2] * 5)
    [0, 3, 4]
    """
    if not times_ms:
        return []
    kept = [0]
    pivot_ms, pivot = times_ms[0], values[0]
    low, high = -math.inf, math.inf
    for at in range(1, len(times_ms)):
        dt_ms = times_ms[at] - pivot_ms
        slope = (values[at] - pivot) / dt_ms
        if not low <= slope <= high:
            kept.append(at - 1)
            pivot_ms, pivot = times_ms[at - 1], values[at - 1]
            low, high = -math.inf, math.inf
            dt_ms = times_ms[at] - pivot_ms
        # later lines may not pass this sample by more than its bound
        away = values[at] - pivot
        low = max(low, (away - bounds[at]) / dt_ms)
        high = min(high, (away + bounds[at]) / dt_ms)
    if len(times_ms) > 1:
        kept.append(len(times_ms) - 1)
    return kept
