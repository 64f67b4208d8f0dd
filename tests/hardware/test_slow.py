"""Slow sensors take turns, and one that never answers keeps nobody else waiting."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from itertools import pairwise

import pytest

from controller.core.signals import Code, Reading
from controller.hardware.slow import STUCK_S, SlowGroup
from simulator.boards.clock import VirtualClock

TAKES_S = 0.92


class Sensor:
    """Gives its own number, or does not return."""

    def __init__(self, number: float, clock: Callable[[], float]) -> None:
        self.number, self._clock = number, clock
        self.stuck = False

    def read_once(self) -> Reading:
        if self.stuck:
            raise BlockingIOError(11, "not yet")
        return Reading(self.number, self._clock())


class Bus:
    def __init__(self, sensors: int) -> None:
        self.clock = VirtualClock(0.0)
        self.seen: dict[int, list[Reading]] = {at: [] for at in range(sensors)}
        self.group = SlowGroup("bus", TAKES_S, lambda at, r: self.seen[at].append(r), self.clock, self.clock.wait)
        self.sensors = [Sensor(float(at), self.clock) for at in range(sensors)]
        for at, sensor in enumerate(self.sensors):
            self.group.add(at, sensor)

    def scans(self, number: int) -> None:
        for _ in range(number):
            self.clock.now_s += 0.1
            for _ in range(self.group.threads):
                self.group.step(self.clock())


@pytest.mark.parametrize("sensors", [1, 2, 3])
def test_each_is_read_in_turn_and_as_often_as_the_bus_allows(sensors: int) -> None:
    bus = Bus(sensors)
    bus.scans(600)
    for at, readings in bus.seen.items():
        assert {reading.number for reading in readings} == {float(at)}
        assert 60.0 / (sensors * 1.0) - 2 <= len(readings) <= 60.0 / (sensors * TAKES_S)
        for earlier, later in pairwise(readings):
            assert later.stamp_s - earlier.stamp_s == pytest.approx(sensors * 1.0, abs=0.11)  # 0.92 in scans of 0.1


def test_one_that_never_returns_is_lost_alone_and_comes_back() -> None:
    """Case A13: then the signal goes stale, the other one stays good."""
    bus = Bus(2)
    bus.scans(100)
    bus.sensors[0].stuck = True
    bus.scans(1)
    counts = [len(bus.seen[at]) for at in (0, 1)]
    bus.scans(300)
    assert len(bus.seen[0]) <= counts[0] + 1
    later = bus.seen[1][counts[1] :]
    assert len(later) >= 20
    assert all(b.stamp_s - a.stamp_s <= STUCK_S + 1.1 for a, b in pairwise(later))
    bus.sensors[0].stuck = False
    bus.scans(100)
    assert len(bus.seen[0]) >= counts[0] + 4


class Garbled(Sensor):
    """As many answers garbled as a test says, in the way it says."""

    left = 0
    code = Code.BAD_CHECKSUM

    def read_once(self) -> Reading:
        if self.left > 0:
            self.left -= 1
            return Reading(None, self._clock(), self.code)
        return super().read_once()


@pytest.mark.parametrize("code", [Code.BAD_CHECKSUM, Code.POWER_ON_VALUE, Code.ALL_ZERO])
@pytest.mark.parametrize("answers", [1, 2, 40])
def test_a_garbled_answer_is_asked_for_again_at_once_but_not_for_ever(answers: int, code: Code) -> None:
    bus = Bus(3)
    bus.group._readers[0] = bus.sensors[0] = bad = Garbled(0.0, bus.clock)
    bus.scans(100)
    bad.left, bad.code = answers, code
    from_s = bus.clock()
    bus.scans(300)
    good = [r.stamp_s for r in bus.seen[0] if r.code is Code.OK and r.stamp_s > from_s - 5.0]
    longest_s = max(later - earlier for earlier, later in pairwise(good))
    if answers == 1:
        assert longest_s == pytest.approx(4.0, abs=0.15)  # one turn of three, and the second try
    others = [r.stamp_s for r in bus.seen[1] if r.stamp_s > from_s]
    assert max(later - earlier for earlier, later in pairwise(others)) <= 4.15  # one more read in a turn, not two
    assert len(others) >= 9


def test_a_read_that_never_returns_in_a_real_thread_leaves_the_rest_to_the_second_one() -> None:
    """With real threads, and a clock that says at once that the first one is stuck."""
    now_s = [0.0]
    seen: list[int] = []
    asked, waits, thrice, never, ended = (threading.Event() for _ in range(5))

    def publish(at: int, reading: Reading) -> None:
        seen.append(at)
        if seen.count(1) >= 3:
            thrice.set()

    def wait(seconds: float) -> None:
        if asked.is_set():
            waits.set()
        ended.wait(0.001)

    group = SlowGroup("bus", 0.0, publish, lambda: now_s[0], wait)

    class Hangs:
        def read_once(self) -> Reading:
            asked.set()
            never.wait(60.0)
            return Reading(0.0, 0.0)

    group.add(0, Hangs())
    group.add(1, Sensor(1.0, lambda: now_s[0]))

    def work() -> None:
        while not ended.is_set():
            group.run_once()

    assert group.threads == 2
    threads = [threading.Thread(target=work, daemon=True) for _ in range(group.threads)]
    for thread in threads:
        thread.start()
    assert asked.wait(30.0)
    assert waits.wait(30.0)  # the second thread: nobody may pass a read that is not stuck yet
    assert seen == []
    now_s[0] = STUCK_S + 1.0
    thrice.wait(30.0)
    ended.set()
    never.set()
    for thread in threads:
        thread.join(10.0)
    assert seen.count(1) >= 3
    assert not any(thread.is_alive() for thread in threads)


def test_two_threads_never_read_two_sensors_at_once_on_a_healthy_bus() -> None:
    """The kernel would make them wait for each other, and their values older."""
    inside, most = [0], [0]
    group = SlowGroup("bus", 0.0, lambda at, r: None, time.monotonic, time.sleep)

    class Counts:
        def read_once(self) -> Reading:
            inside[0] += 1
            most[0] = max(most[0], inside[0])
            time.sleep(0.002)
            inside[0] -= 1
            return Reading(0.0, 0.0)

    for at in range(3):
        group.add(at, Counts())
    threads = [threading.Thread(target=lambda: [group.run_once() for _ in range(20)]) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30.0)
    assert most == [1]
