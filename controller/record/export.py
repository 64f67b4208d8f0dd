"""The record as a table: one row each so many seconds, one column for each signal with its unit, empty where there is
nothing to believe. As CSV, or as Parquet where pyarrow is installed."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple, TextIO

import numpy as np

from controller.record.blocks import JOINED, Floats, Points
from controller.record.history import History

ROWS_AT_ONCE = 10_000


class Column(NamedTuple):
    signal: str
    unit: str

    @property
    def heading(self) -> str:
        return f"{self.signal} [{self.unit or '1'}]"


class Part(NamedTuple):
    """Some rows: Unix times, whether the clock was right, and a list of values for each column."""

    time_s: Floats
    synchronised: list[bool]
    values: list[Floats]


def columns(history: History, signals: Sequence[str]) -> list[Column]:
    """Of the signals named, all where none is. Raises KeyError with what is known."""
    units = history.signals()
    unknown = [name for name in signals if name not in units]
    if unknown:
        raise KeyError(f"never recorded: {', '.join(unknown)}; known: {', '.join(units)}")
    return [Column(name, units[name]) for name in signals or units]


def parts(history: History, wanted: Sequence[Column], from_s: float, to_s: float, every_s: float) -> Iterator[Part]:
    """The table piece by piece, so that a year needs no more memory than a day. Rows in which nothing is known at all
    are left out."""
    if not (to_s > from_s and every_s > 0.0):
        raise ValueError(f"nothing lies between {from_s} and {to_s} each {every_s} s")
    power_ups = history.power_ups()
    begin_s = from_s
    while begin_s <= to_s:
        end_s = min(begin_s + ROWS_AT_ONCE * every_s, to_s + 0.5 * every_s)
        at_s = np.arange(begin_s, end_s, every_s)
        values = [_values(history, column.signal, at_s) for column in wanted]
        known = np.zeros(at_s.size, bool)
        for column in values:
            known |= np.isfinite(column)
        good = np.zeros(at_s.size, bool)
        for one in power_ups:
            if one.synchronised:
                last_s = np.inf if one.last_s is None else one.offset_s + one.last_s
                good |= (at_s >= one.offset_s + one.first_s - every_s) & (at_s <= last_s + every_s)
        if known.any():
            yield Part(at_s[known], good[known].tolist(), [column[known] for column in values])
        begin_s += ROWS_AT_ONCE * every_s


def _values(history: History, signal: str, at_s: Floats) -> Floats:
    """The stored line at some times; NaN where there is none."""
    found = np.full(at_s.size, np.nan)
    for one, points in history.stored(signal, float(at_s[0]), float(at_s[-1])):
        inside = on_line(points, at_s - one.offset_s)
        found = np.where(np.isfinite(inside), inside, found)
    return found


def on_line(points: Points, at_s: Floats) -> Floats:
    """A line at some times: at a point, or straight between two that are joined; NaN elsewhere."""
    value = np.full(at_s.size, np.nan)
    after = np.searchsorted(points.at_s, at_s, side="left")
    here = after < points.at_s.size
    exact = here.copy()
    exact[here] = points.at_s[after[here]] == at_s[here]
    value[exact] = points.value[after[exact]]
    between = here & ~exact & (after > 0)
    between[between] = (points.mark[after[between]] & JOINED) != 0
    b, a = after[between], after[between] - 1
    share = (at_s[between] - points.at_s[a]) / (points.at_s[b] - points.at_s[a])
    value[between] = points.value[a] + share * (points.value[b] - points.value[a])
    return value


def to_csv(file: TextIO, wanted: Sequence[Column], table: Iterator[Part]) -> int:
    """Write it; how many rows. Times in UTC."""
    writer = csv.writer(file)
    writer.writerow(["time [UTC]", "clock synchronised", *(column.heading for column in wanted)])
    rows = 0
    for part in table:
        for nth, (time_s, good) in enumerate(zip(part.time_s.tolist(), part.synchronised, strict=True)):
            when = datetime.fromtimestamp(time_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
            numbers = (column[nth] for column in part.values)
            writer.writerow([when, int(good), *("" if np.isnan(x) else f"{x:.7g}" for x in numbers)])
            rows += 1
    return rows


def to_parquet(path: Path, wanted: Sequence[Column], table: Iterator[Part]) -> int:
    """Write it; how many rows. The unit of a column stands in its metadata. Raises ImportError without pyarrow."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    fields = [pa.field("time", pa.timestamp("ms", tz="UTC")), pa.field("clock_synchronised", pa.bool_())]
    fields += [pa.field(column.signal, pa.float32(), metadata={"unit": column.unit}) for column in wanted]
    schema = pa.schema(fields)
    rows = 0
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        for part in table:
            when = pa.array(np.round(part.time_s * 1000.0).astype(np.int64), pa.timestamp("ms", tz="UTC"))
            numbers = [pa.array(column.astype(np.float32), from_pandas=True) for column in part.values]
            writer.write_table(pa.table([when, pa.array(part.synchronised), *numbers], schema=schema))
            rows += part.time_s.size
    return rows
