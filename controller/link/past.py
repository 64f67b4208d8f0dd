"""Messages made of what the record holds."""

from __future__ import annotations

from collections.abc import Sequence

from controller.link import messages as m
from controller.record.history import Forward, Span, StoredEvent

RECORD = "record"  # the `boot` of what is numbered by the record


def event(rig: str, found: StoredEvent) -> m.EventNow:
    return m.EventNow(
        rig=rig,
        boot=found.boot,
        number=found.guard_number,
        record=found.number,
        time_s=found.time_s,
        clock_synchronised=found.synchronised,
        what=found.what,
        subject=found.subject,
        detail=found.detail,
        source=found.source,
        sentence=found.sentence,
        seen=found.seen,
        limit=found.limit,
    )


def measurements(rig: str, found: Forward) -> m.PastMeasurements:
    signals: dict[str, list[Span]] = {}
    for span in found.spans:
        signals.setdefault(span.signal, []).append(span)
    return m.PastMeasurements(
        rig=rig,
        boot=RECORD,
        number=found.number,
        time_s=found.time_s,
        clock_synchronised=found.synchronised,
        lines=[_line(spans) for spans in signals.values()],
    )


def _line(spans: Sequence[Span]) -> m.PastLine:
    first = spans[0]
    return m.PastLine(
        signal=first.signal,
        unit=first.unit,
        begin_s=round(first.begin_s, 3),
        span_s=first.span_s,
        at=[round((span.begin_s - first.begin_s) / first.span_s) for span in spans],
        least=[_short(span.least) for span in spans],
        mean=[_short(span.mean) for span in spans],
        most=[_short(span.most) for span in spans],
    )


def _short(number: float) -> float:
    """As many digits as single precision has of use."""
    return float(f"{number:.6g}")


def line(rig: str, found: Forward) -> m.LogNow:
    said = found.line
    assert said is not None
    return m.LogNow(
        rig=rig,
        boot=RECORD,
        number=found.number,
        time_s=found.time_s,
        clock_synchronised=found.synchronised,
        kind=said.kind,
        who=said.who,
        amount=said.amount,
        unit=said.unit,
        side=said.side,
        text=said.text,
    )
