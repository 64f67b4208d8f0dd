"""What the link stores, forwards after an outage, and answers: nothing is lost, and what waits is said."""

from __future__ import annotations

import os
import signal
import uuid
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from controller.core.commands import Command, Source, Verb
from controller.guard.incidents import Incident, IncidentWriter
from controller.link import messages as m
from controller.link.keeper import SENT
from controller.record import spool
from controller.record.history import History
from controller.record.logbook import Entry
from tests.broker import Mosquitto, Onlooker, mosquitto, until
from tests.link.site import RIG, Running


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as found:
        yield found


@pytest.fixture
def running(tmp_path: Path, broker: Mosquitto) -> Iterator[Running]:
    found = Running(tmp_path, broker)
    yield found
    found.close()


@pytest.fixture
def apart(tmp_path: Path, broker: Mosquitto) -> Iterator[Running]:
    """With a link that can be killed."""
    found = Running(tmp_path, broker, apart=True)
    yield found
    found.close()


def enabled(running: Running, times: int) -> None:
    """Events, as many as one wants."""
    for _ in range(times):
        running.guard.ask(Command(Verb.ENABLE, Source.LOCAL, number=1.0))


def stored(running: Running) -> History:
    """The record, once the link has ended."""
    return History.open(running.folder / "state" / "record.db")


def test_events_are_on_the_card_before_the_guard_may_forget_them(running: Running) -> None:
    enabled(running, 20)
    newest = running.guard.events[-1].number
    until(lambda: running.guard.acknowledged >= newest)
    os.sync()
    running.end_link()
    with stored(running) as history:
        numbers = [e.guard_number for e in history.events() if e.boot == running.guard.boot]
    assert numbers == list(range(1, numbers[-1] + 1))
    assert numbers[-1] >= newest


def test_a_record_in_memory_is_said_and_the_guard_keeps_what_no_broker_has(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        running = Running(tmp_path, broker, durable=False)
        until(lambda: any(not x["durable"] for x in running.onlooker.of("/link")))
        assert any("in memory" in text for text in running.onlooker.of("/link")[-1]["troubles"])
        enabled(running, 5)
        before = running.guard.events[-1].number
        until(lambda: running.guard.acknowledged >= before)
        broker.stop(signal.SIGKILL)
        enabled(running, 5)
        newest = running.guard.events[-1].number
        rounds = running.bench.memory.scan
        until(lambda: running.bench.memory.scan > rounds + 200)
        assert running.guard.acknowledged < newest
        broker.start()
        until(lambda: running.guard.acknowledged >= newest)
        running.close()


def test_an_hour_without_a_broker_loses_no_event_and_no_trend(tmp_path: Path) -> None:
    """A guard's hour in some seconds; the judge of the events is the guard's own count."""
    with mosquitto(tmp_path / "broker") as broker:
        running = Running(tmp_path, broker, scan_s=0.001, dt_s=1.0)
        enabled(running, 1)
        until(lambda: bool(running.events()))
        broker.stop(signal.SIGKILL)
        begin_s = running.bench.now_s
        while running.bench.now_s < begin_s + 3600.0:
            enabled(running, 1)
            asked_s = running.bench.now_s
            until(lambda asked_s=asked_s: running.bench.now_s > asked_s + 20.0)  # type: ignore[misc]
        running.guard.pace(0.1)
        newest = running.guard.events[-1].number
        went_s = running.guard.wall_s
        broker.start()
        until(lambda: newest in running.events())
        came = running.events()
        assert set(came) >= set(range(1, newest + 1))
        assert [n for at, n in enumerate(came) if n not in came[:at]] == list(range(1, came[-1] + 1)), "in order"
        # every 10 s of the hour is told of, but for what no block held yet when the broker came back
        began_wall_s = went_s - (running.bench.now_s - begin_s)
        until(lambda: _seen(running, began_wall_s + 20.0, went_s - 400.0), what="the hour's trend")
        until(lambda: running.state()["waiting"] <= 1)
        running.close()


def _seen(running: Running, from_s: float, to_s: float) -> bool:
    lines = [x for p in running.onlooker.of("/past") for x in p["lines"] if x["signal"] == "cell temperature"]
    spans = sorted(x["begin_s"] + x["span_s"] * at for x in lines for at in x["at"])
    inside = [t for t in spans if from_s <= t <= to_s]
    return len(inside) > (to_s - from_s) / 11.0 and all(b - a < 21.0 for a, b in pairwise(inside))


def test_what_was_live_is_not_forwarded_again(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        running = Running(tmp_path, broker, scan_s=0.005, dt_s=1.0)
        begin_s = running.bench.now_s
        until(lambda: running.bench.now_s > begin_s + 900.0)
        running.end_link()
        with stored(running) as history:
            blocks = [x for x in history.forward(0, 1000) if x.what == "measurements"]
        assert len(blocks) >= 5
        assert len(running.onlooker.of("/past")) <= 1  # the first one began before the link had a session
        running.close()


def test_a_card_that_cannot_be_written_is_said_and_events_come_all_the_same(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        (tmp_path / "state" / "record.db").mkdir(parents=True)  # nothing can be stored there
        running = Running(tmp_path, broker)
        until(lambda: any("record.db" in t for x in running.onlooker.of("/link") for t in x["troubles"]))
        enabled(running, 5)
        newest = running.guard.events[-1].number
        until(lambda: newest in running.events())
        assert running.guard.acknowledged == 0  # the guard has them still
        assert running.state()["state"] == "off"
        running.close()


def test_a_link_that_ended_in_order_goes_on_where_it_was(running: Running) -> None:
    enabled(running, 10)
    newest = running.guard.events[-1].number
    until(lambda: newest in running.events())
    told = len(running.onlooker.of("/state"))
    until(lambda: any(s["waiting"] == 0 for s in running.onlooker.of("/state")[told:]))
    running.end_link()
    enabled(running, 10)
    running.start_link()
    newest = running.guard.events[-1].number
    until(lambda: newest in running.events())
    came = running.events()
    assert set(came) >= set(range(1, newest + 1))
    assert len(came) == len(set(came)), "an orderly end repeats nothing"


def remembered(running: Running) -> int:
    """The record's number up to which the link knows that the broker has everything."""
    file = running.folder / "state" / SENT
    return int(file.read_text()) if file.exists() else 0


def test_a_link_that_was_killed_loses_nothing_and_tells_nothing_twice(apart: Running) -> None:
    running = apart
    enabled(running, 10)
    newest = running.guard.events[-1].number
    until(lambda: newest in running.events())
    until(lambda: remembered(running) >= running.onlooker.of("/events")[-1]["record"])
    running.kill_link()
    until(lambda: running.onlooker.of("/presence")[-1]["present"] == "gone")
    enabled(running, 10)
    running.start_link()
    newest = running.guard.events[-1].number
    until(lambda: newest in running.events())
    assert running.events() == list(range(1, newest + 1))
    running.end_link()
    with stored(running) as history:
        assert [e.guard_number for e in history.events() if e.boot == running.guard.boot] == running.events()


def test_a_link_killed_while_it_tells_loses_nothing_and_what_it_repeats_is_the_same(
    apart: Running,
) -> None:
    """What the broker took in the instant before the kill is told again: the number shows that it is a repeat."""
    running = apart
    for _ in range(2):
        came = len(running.events())
        enabled(running, 150)
        until(lambda came=came: len(running.events()) > came + 20)  # type: ignore[misc]
        running.kill_link()
        running.start_link()
    newest = running.guard.events[-1].number
    until(lambda: newest in running.events())
    told: dict[int, m.EventNow] = {}
    for event in map(m.EventNow.model_validate, running.onlooker.of("/events")):
        first = told.setdefault(event.number, event)
        assert event.time_s == pytest.approx(first.time_s, abs=1.0)
        dated = {"time_s": first.time_s, "clock_synchronised": first.clock_synchronised}  # anew, by what is known now
        assert event.model_copy(update=dated) == first
    assert list(told) == list(range(1, newest + 1)), "in order, but for the repeats"
    running.end_link()
    with stored(running) as history:
        assert [e.guard_number for e in history.events()] == list(told), "once in the record"


def test_lines_of_the_spool_are_taken_in_and_told(running: Running) -> None:
    entry = Entry("one", "topped up", who="Ada", number=600.0, unit="mL", side="oxygen", time_s=1_780_000_000.0)
    spool.drop(running.folder / "state" / spool.FOLDER, entry)
    until(lambda: bool(running.onlooker.of("/logbook")))
    assert running.onlooker.of("/logbook")[0]["amount"] == 600.0
    until(lambda: any(x["counters"].get("topped_up_ml") == 600.0 for x in running.onlooker.of("/link")))


# -- questions


def ask(running: Running, **asked: Any) -> m.HistoryReply:
    """All parts of the answer as one."""
    client = Onlooker(running.broker.port)
    correlation = uuid.uuid4().bytes
    where = running.topic("history", "response", "tests")
    client.publish(
        running.topic("history", "request"),
        m.HistoryAsk(**asked).model_dump_json(),
        response=where,
        correlation=correlation,
    )

    def parts() -> list[m.HistoryReply]:
        return [m.HistoryReply.model_validate(x) for x in client.of("/history/response/tests")]

    until(lambda: bool(parts()) and len(parts()) >= parts()[0].parts, what="an answer")
    found = parts()
    client.close()
    assert [p.part for p in found] == list(range(1, len(found) + 1))
    return found[0].model_copy(
        update={"trends": [t for p in found for t in p.trends], "rows": [r for p in found for r in p.rows]}
    )


def test_a_trend_has_what_was_stored_and_what_is_not_stored_yet(tmp_path: Path, broker: Mosquitto) -> None:
    running = Running(tmp_path, broker, scan_s=0.005, dt_s=0.5)
    running.bench.numbers["cell temperature"] = 41.5
    begin_s = running.bench.now_s
    until(lambda: running.bench.now_s > begin_s + 300.0)
    now_s = running.guard.wall_s
    answer = ask(
        running, what="trend", signals=["cell temperature"], from_s=now_s - 3600.0, to_s=now_s + 60.0, points=50
    )
    (line,) = answer.trends
    assert (line.signal, line.unit, answer.complete) == ("cell temperature", "C", True)
    assert 2 <= len(line.time_s) <= 50
    assert line.value[-1] == pytest.approx(41.5, abs=0.4)
    assert line.time_s[-1] > now_s - 60.0
    running.close()


def test_events_come_with_their_sentences_and_within_the_time_asked(running: Running) -> None:
    enabled(running, 3)
    newest = running.guard.events[-1].number
    until(lambda: newest in running.events())
    rows = ask(running, what="events", from_s=0.0).rows
    assert newest in [r["number"] for r in rows]
    assert all(r["sentence"] for r in rows)
    assert ask(running, what="events", from_s=0.0, to_s=1.0).rows == []
    assert int(str(ask(running, what="events", after=2).rows[0]["record"])) == 3


def test_a_line_added_by_a_page_is_in_the_logbook(running: Running) -> None:
    running.state()
    entry = m.LogEntry(kind="density read", who="Ada", number=1.236, unit="g/mL")
    running.onlooker.publish(running.topic("logbook", "add"), entry.model_dump_json())
    until(lambda: bool(running.onlooker.of("/logbook")))
    (row,) = ask(running, what="logbook").rows
    assert (row["kind"], row["who"], row["number"], row["unit"]) == ("density read", "Ada", 1.236, "g/mL")


def test_an_incident_is_listed_and_drawn(running: Running) -> None:
    running.guard.ask(Command(Verb.START, Source.LOCAL))
    until(lambda: running.state()["state"] == "running")
    frames = running.guard.frames(600)
    running.bench.numbers["coolant flow"] = 0.0
    until(lambda: running.state()["state"] == "tripped")
    trip_s = running.bench.memory.latch.causes[0].due_s
    frames += running.guard.frames(100)
    head = {"causes": ["coolant flow low"], "trip_s": trip_s, "written_at": running.guard.wall_s, "complete": True}
    writer = IncidentWriter(running.places.incidents)
    writer.give("20260511T120000Z-001122-000007", Incident(head, tuple(frames), b"[]"))
    writer.write_next()
    (row,) = ask(running, what="incidents").rows
    assert (row["title"], row["name"]) == ("Coolant flow lost", "20260511T120000Z-001122-000007")
    shown = ask(running, what="incident", name=str(row["name"]))
    flow = next(t for t in shown.trends if t.signal == "coolant flow")
    assert {v for v in flow.value if v is not None} >= {2.0, 0.0}
    for name in ("../../etc/passwd", "20990101T000000Z-001122-000001"):
        wrong = ask(running, what="incident", name=name)
        assert (wrong.complete, wrong.trends) == (False, [])
        assert "incident" in wrong.why


def test_questions_beyond_the_rate_are_refused_in_words(running: Running) -> None:
    running.state()
    where = running.topic("history", "response", "eager")
    for _ in range(40):
        running.onlooker.publish(running.topic("history", "request"), '{"what":"events"}', response=where)
    until(lambda: any("too many" in a["why"] for a in running.onlooker.of("/history/response/eager")))
    until(lambda: any(a["complete"] for a in running.onlooker.of("/history/response/eager")))


@pytest.mark.parametrize("where", ["", f"lyewatch/v1/{RIG}/command", "lyewatch/v1/another/state", "#"])
def test_no_question_makes_the_link_speak_on_another_topic(running: Running, where: str) -> None:
    running.state()
    running.onlooker.publish(running.topic("history", "request"), '{"what":"events"}', response=where)
    until(lambda: any(x["refused"] for x in running.onlooker.of("/link")))
    assert not [t for t, _, _ in running.onlooker.seen if "another" in t]
