"""What is told is found again: measurements within their bound, events and counters at once, with the right date."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from controller.record.historian import Deed, Happening, Historian, Keep, Moment, Tracked
from controller.record.history import History
from controller.record.logbook import Entry
from controller.record.schema import WrongDatabase
from tests.record.workshop import NOON_S, SIGNALS, day, historian, moment, quiet


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "record.sqlite"


def event(number: int, at_s: float = 1.0, what: str = "NOTE", subject: str = "", boot: str = "guard-1") -> Happening:
    return Happening(boot, number, at_s, what, subject, sentence=f"number {number}")


def test_an_hour_of_measurements_comes_back_within_each_bound(path: Path) -> None:
    one = historian(path)
    rows = list(day(3600, begin_s=10 * 3600))
    for at_s, values in rows:
        one.measure(moment(at_s), values)
    one.flush(moment(11 * 3600))
    with one.history() as history:
        for nth, signal in enumerate(SIGNALS):
            ((_, points),) = history.stored(signal.name, NOON_S + 36_000, NOON_S + 39_600)
            measured = np.array([values[nth][0] for _, values in rows], float)
            line = np.interp([at_s for at_s, _ in rows], points.at_s, points.value)
            # single precision adds one part in 16 million
            assert np.abs(line - measured).max() <= signal.bound + 1e-6 * np.abs(measured).max()
        noisy = next(history.stored("lye_temperature", NOON_S + 36_000, NOON_S + 39_600))[1]
        assert noisy.at_s.size < 3600 / 2  # and it does leave something out


def test_around_an_event_every_sample_is_kept(path: Path) -> None:
    one = historian(path)
    rng = np.random.default_rng(1)
    wiggle = rng.uniform(-0.04, 0.04, 3000).tolist()  # within the bound of 0.05 A
    for nth, a in enumerate(wiggle):
        at_s = nth / 10.0
        if nth == 1500:
            one.happened([event(1, at_s, "TRIP", "leak")], moment(at_s))
        one.measure(moment(at_s), quiet(20.0 + a))
    one.flush(moment(300.0))
    with one.history() as history:
        ((_, points),) = history.stored("current", NOON_S, NOON_S + 300)
    around = (points.at_s >= 140.0) & (points.at_s <= 170.0)
    assert around.sum() == 301  # ten a second for 10 s before and 20 s after, both ends included
    assert (points.at_s < 139.0).sum() <= 140  # elsewhere it is thinned
    assert points.value[around] == pytest.approx(20.0 + np.array(wiggle[1400:1701]), abs=1e-5)


def test_a_lost_sensor_is_a_gap_in_the_trend_not_a_line(path: Path) -> None:
    one = historian(path)
    for at_s in range(600):
        values = list(quiet(20.0))
        if 200 <= at_s < 400:
            values[0] = (None, 4)
        one.measure(moment(at_s), values)
    one.flush(moment(600))
    with one.history() as history:
        (trend,) = history.trend(["current"], NOON_S, NOON_S + 600, 100)
    inside = (trend.at_s >= NOON_S + 200) & (trend.at_s < NOON_S + 400)
    assert np.isnan(trend.value[inside]).all()
    assert inside.sum() >= 1
    assert np.isfinite(trend.value[~inside]).all()


def test_a_trend_ends_now_though_the_newest_minutes_are_not_stored(path: Path) -> None:
    one = historian(path)
    for at_s in range(60):
        one.measure(moment(at_s), quiet(float(at_s)))
    with one.history() as history:
        (trend,) = history.trend(["current"], NOON_S, NOON_S + 60, 100, one.tail())
    assert (trend.at_s[-1], trend.value[-1]) == (NOON_S + 59, 59.0)


def test_peaks_survive_in_a_trend_of_any_length(path: Path) -> None:
    one = Historian(path, "boathouse", SIGNALS[:1], "machine-1", moment(0.0))
    for at_s in range(0, 3 * 86400, 4):
        one.measure(moment(at_s), [(77.0 if at_s == 90_000 else 20.0, 0)])  # one sample in three days
    one.flush(moment(3 * 86400))
    with one.history() as history:
        for span_s in (3600 * 26, 3 * 86400):
            for points in (20, 500):
                (trend,) = history.trend(["current"], NOON_S, NOON_S + span_s, points)
                assert trend.at_s.size <= points
                assert np.nanmax(trend.value) == pytest.approx(77.0)
                assert np.nanmin(trend.value) == pytest.approx(20.0)


def test_hours_and_days_say_what_the_samples_said(path: Path) -> None:
    one = historian(path)
    rows = list(day(86400 + 7200, step_s=5.0))
    for at_s, values in rows:
        one.measure(moment(at_s), values)
    one.flush(moment(86400 + 7200))
    measured = np.array([values[0][0] for _, values in rows], float)
    with one.history() as history:
        (trend,) = history.trend(["current"], NOON_S, NOON_S + 86400, 24)
    assert np.nanmax(trend.value) == pytest.approx(measured.max(), abs=0.05)
    db = one._db
    assert db is not None
    kept = dict(db.execute("SELECT level_s, count(*) FROM rollup GROUP BY level_s").fetchall())
    assert kept == {60: 25, 3600: 25, 86400: 1}  # the last hour is not over


def test_an_event_is_on_the_card_when_the_call_returns_and_is_stored_once(path: Path) -> None:
    one = historian(path)
    assert one.happened([event(1), event(2)], moment(1.0))
    assert one.happened([event(2), event(3)], moment(1.5))
    with one.history() as history:
        assert [(e.guard_number, e.sentence) for e in history.events()] == [
            (1, "number 1"),
            (2, "number 2"),
            (3, "number 3"),
        ]
    assert one.safe_event("guard-1") == 3
    assert one.safe_event("guard-2") == 0


def test_counters_grow_for_ever_and_a_repeated_trip_counts_once(path: Path) -> None:
    for life in range(3):
        one = historian(path, boot=f"machine-{life}")
        one.count({"charge_ah": 1.5})
        one.count({"charge_ah": 0.5})
        trip = Happening(f"guard-{life}", 1, 2.0, "TRIP", "leak")
        one.happened([trip, trip], moment(2.0))
        one.happened([trip, Happening(f"guard-{life}", 2, 3.0, "STATE", "RAMPING")], moment(3.0))
        one.close()
    with History.open(path) as history:
        assert history.counters() == {"charge_ah": 6.0, "trips": 3.0, "trips: leak": 3.0, "starts": 3.0}


def test_what_an_outage_forwards_is_what_was_stored_by_number_in_order(path: Path) -> None:
    one = historian(path)
    for at_s in range(3600):
        one.measure(moment(at_s), quiet(20.0 + (at_s % 100) / 100.0))
        if at_s % 600 == 300:
            one.happened([event(at_s // 600 + 1, at_s)], moment(at_s))
    one.flush(moment(3600))
    with one.history() as history:
        everything, after = [], 0
        while some := history.forward(after, 7):
            everything += some
            after = some[-1].number
        assert history.waiting(0) == len(everything)
        assert history.waiting(after) == 0
    assert [f.number for f in everything] == list(range(1, len(everything) + 1))
    assert [f.event.guard_number for f in everything if f.event] == [1, 2, 3, 4, 5, 6]
    spans = [s for f in everything for s in f.spans if s.signal == "current"]
    assert [s.begin_s for s in spans] == sorted(s.begin_s for s in spans)
    covered = sum(s.span_s for s in spans)
    assert covered >= 3600
    for span in spans:
        assert 20.0 - 0.051 <= span.least <= span.mean <= span.most <= 20.99 + 0.051


def test_a_clock_that_is_put_right_moves_all_that_came_before(path: Path) -> None:
    """Case A42: 14 days behind at power-up; steps +14 d at 95 s, -3 s at 200 s, +90 min at 300 s."""
    behind_s = NOON_S - 14 * 86400
    true_s = NOON_S - 3.0 + 5400.0
    one = historian(path, now=Moment(0.0, behind_s, False))
    one.happened([event(1, 10.0)], Moment(10.0, behind_s + 10, False))
    one.log(Entry("a", "note", text="early", machine_boot="machine-1", mono_s=20.0), Moment(20.0, behind_s + 20, False))
    with one.history() as history:
        assert (history.events()[0].time_s, history.events()[0].synchronised) == (behind_s + 10, False)
    for at_s in range(400):
        offset_s = behind_s if at_s < 95 else NOON_S if at_s < 200 else NOON_S - 3 if at_s < 300 else true_s
        one.measure(Moment(at_s, at_s + offset_s, at_s >= 95), quiet(float(at_s)))
    one.happened([event(2, 400.0)], Moment(400.0, true_s + 400, True))
    one.flush(Moment(400.0, true_s + 400, True))
    with one.history() as history:
        assert [(e.time_s, e.synchronised) for e in history.events()] == [(true_s + 10, True), (true_s + 400, True)]
        assert [(x.time_s, x.synchronised) for x in history.logbook()] == [(true_s + 20, True)]
        (trend,) = history.trend(["current"], true_s, true_s + 400, 500)
        assert trend.at_s - true_s == pytest.approx(trend.value)  # each second once, in its place
        assert np.all(np.diff(trend.at_s) > 0)


def test_a_power_up_without_the_time_is_not_dated_into_the_one_before(path: Path) -> None:
    one = historian(path, boot="a", now=moment(0.0))
    one.happened([event(1, 5000.0, boot="x")], moment(5000.0))
    one.close()
    two = historian(path, boot="b", now=Moment(30.0, NOON_S + 100.0, False))  # an hour and more behind
    two.happened([event(1, 40.0, boot="y")], Moment(40.0, NOON_S + 110.0, False))
    with two.history() as history:
        first, second = history.events()
    assert second.time_s == first.time_s + 10.0  # 30 s after power-up is the earliest it can be the end of the former
    assert not second.synchronised


def test_a_restarted_link_goes_on_in_the_same_power_up(path: Path) -> None:
    for begin_s in (0, 600):
        one = historian(path, now=moment(begin_s))
        for at_s in range(begin_s, begin_s + 300):
            one.measure(moment(at_s), quiet(20.0))
        one.flush(moment(begin_s + 300))
        one.close()
    with History.open(path) as history:
        assert len(history.power_ups()) == 1
        (trend,) = history.trend(["current"], NOON_S, NOON_S + 1000, 100)
        missing = trend.at_s[np.isnan(trend.value)] - NOON_S
        assert missing.tolist() == [600.0]  # one gap, up to there


def test_old_detail_goes_and_hours_stay(path: Path) -> None:
    keep = Keep(stored_days=1.0, minutes_days=2.0)
    one = Historian(path, "boathouse", SIGNALS[:1], "machine-1", moment(0.0), keep)
    for at_s in range(0, 4 * 86400, 4):
        one.measure(moment(at_s), [(20.0 + at_s / 86400.0, 0)])
    one.flush(moment(4 * 86400))
    db = one._db
    assert db is not None
    oldest_s = db.execute("SELECT min(begin_ms) / 1000.0 FROM block").fetchone()[0]
    assert 2.9 * 86400 < oldest_s < 3.05 * 86400
    minutes = db.execute("SELECT min(begin_s), count(*) FROM rollup WHERE level_s = 60").fetchone()
    assert 1.8 * 86400 < minutes[0] < 2.05 * 86400
    assert db.execute("SELECT count(*) FROM rollup WHERE level_s = 3600").fetchone()[0] >= 95
    with one.history() as history:
        (trend,) = history.trend(["current"], NOON_S, NOON_S + 4 * 86400, 2000)
        assert trend.at_s[0] < NOON_S + 3600  # hours stand in for what is gone
        assert np.interp(NOON_S + 43_200, trend.at_s, trend.value) == pytest.approx(20.5, abs=0.05)
        (trend,) = history.trend(["current"], NOON_S + 600, NOON_S + 7200, 200)  # asked finely, long gone
        assert trend.at_s.size >= 2


def test_a_record_that_grows_too_big_gives_up_its_oldest_detail(path: Path) -> None:
    one = historian(path, keep=Keep(most_bytes=600_000, least_blocks=10))
    for at_s, values in day(86400, begin_s=9 * 3600, step_s=2.0):
        one.measure(moment(at_s), values)
    assert one.health().bytes_used < 800_000
    assert one._db is not None
    assert one._db.execute("SELECT min(begin_ms) FROM block").fetchone()[0] > 10 * 3_600_000
    with one.history() as history:
        trend = history.trend(["current"], NOON_S, NOON_S + 5 * 86400, 100)[0]
        assert trend.at_s[0] < NOON_S + 10 * 3600


def test_the_wrong_clock_throws_nothing_away(path: Path) -> None:
    one = historian(path, keep=Keep(stored_days=1.0), now=moment(0.0))
    for at_s in range(0, 7200, 4):
        one.measure(moment(at_s), quiet(20.0))
    one.flush(moment(7200))
    one.close()
    year_s = NOON_S + 365 * 86400
    two = historian(path, boot="b", now=Moment(0.0, year_s, False), keep=Keep(stored_days=1.0))
    for at_s in range(0, 7200, 4):
        two.measure(Moment(at_s, year_s + at_s, False), quiet(20.0))
    assert two._db is not None
    assert two._db.execute("SELECT min(begin_ms) FROM block WHERE power_up = 1").fetchone()[0] == 0


def test_acts_about_alarms_are_kept(path: Path) -> None:
    one = historian(path)
    one.act(Deed("shelved", "over-temperature", "Ada", NOON_S + 3600, "probe in the sun"), moment(5.0))
    with one.history() as history:
        (act,) = history.acts()
    assert (act.time_s, act.what, act.alarm, act.until_s) == (NOON_S + 5, "shelved", "over-temperature", NOON_S + 3600)


def test_the_record_of_another_rig_is_refused(path: Path) -> None:
    historian(path).close()
    with pytest.raises(WrongDatabase, match="record of rig 'boathouse', not of 'shed'"):
        Historian(path, "shed", SIGNALS, "machine-1", moment(0.0))


def test_a_changed_bound_or_unit_begins_a_new_line_under_the_same_name(path: Path) -> None:
    for bound, boot in ((0.1, "a"), (0.2, "b")):
        now = moment(0.0, offset_s=NOON_S + (1000 if boot == "b" else 0))
        one = Historian(path, "boathouse", [Tracked("current", "Current", "A", bound)], boot, now)
        for at_s in range(100):
            one.measure(Moment(at_s, now.wall_s + at_s, True), [(5.0, 0)])
        one.flush(Moment(100.0, now.wall_s + 100, True))
        one.close()
    with History.open(path) as history:
        (trend,) = history.trend(["current"], NOON_S, NOON_S + 2000, 100)
        assert np.isfinite(trend.value).sum() == 4
        assert math.isnan(trend.value[2])


def test_a_row_of_the_wrong_length_is_refused(path: Path) -> None:
    with pytest.raises(ValueError, match="1 values for 20 signals"):
        historian(path).measure(moment(1.0), [(1.0, 0)])
