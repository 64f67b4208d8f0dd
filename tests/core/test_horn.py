"""What the horn announces, and for how long."""

from __future__ import annotations

import pytest

from controller.core.commands import Source, Verb
from controller.core.sequence import State
from tests.core.bench import Bench
from tests.core.states import ran

# --- horn


@pytest.mark.parametrize("source", [Source.BUTTON, Source.LOCAL, Source.PLAN, Source.REMOTE])
def test_a_start_not_pressed_at_the_rig_is_announced_for_fifteen_seconds(source: Source) -> None:
    bench = Bench()
    bench.run(1.0)
    bench.ask(Verb.ENABLE)
    bench.ask(Verb.CONFIRM)
    bench.ask(Verb.START, source, seconds=600.0)
    begun_s, horn_s = bench.now_s, 0.0
    while not bench.parts.pulses:
        bench.scan()
        horn_s += 0.1 * bench.outputs.horn
    if source in (Source.BUTTON, Source.LOCAL):
        assert horn_s == 0.0
    else:
        assert horn_s == pytest.approx(15.0, abs=0.2)
        assert bench.now_s - begun_s >= 15.0
    bench.until(lambda: bench.at(State.RUNNING), 60.0)
    assert not bench.outputs.horn


def test_the_announcement_is_cancelled_by_any_stop() -> None:
    bench = Bench()
    bench.run(1.0)
    bench.ask(Verb.ENABLE)
    bench.ask(Verb.CONFIRM)
    bench.ask(Verb.START, Source.PLAN, seconds=600.0)
    bench.run(5.0)
    bench.ask(Verb.STOP, Source.BUTTON)
    bench.run(60.0)
    assert bench.at(State.OFF)
    assert not bench.outputs.horn
    assert bench.parts.pulses == 0


def test_the_horn_sounds_on_a_trip_until_it_is_silenced_and_five_minutes_at_most() -> None:
    bench = ran()
    bench.ask(Verb.SILENCE)  # long before: it silences nothing that has not begun
    bench.numbers["stop chain"] = 0.0
    bench.run(290.0)
    assert bench.outputs.horn
    bench.until(lambda: not bench.outputs.horn, 20.0)
    bench = ran()
    bench.numbers["stop chain"] = 0.0
    bench.run(2.0)
    bench.ask(Verb.SILENCE)
    assert not bench.outputs.horn
    bench.numbers["cell temperature"] = 80.0
    bench.until(lambda: bench.outputs.horn, 3.0)  # a new cause is a new alarm
