"""The current is folded back before a limit is reached."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.core.derate import cap, cap_a
from controller.core.events import Happened
from controller.core.limits import Effect, Limit
from controller.core.sequence import State
from controller.core.signals import Code, Status, Value
from tests.core.bench import LIMITS, rig
from tests.core.rigs import full_bench, full_rig
from tests.core.states import ran

# --- derate


numbers = st.none() | st.sampled_from([62.0, 65.0, 68.0, 61.9, 68.1]) | st.floats(0.0, 100.0)
RIG = full_rig()


def value(number: float | None) -> Value:
    return Value(number, Status.GOOD, Code.OK, 0.0, number, None, 0.0, 0)


@example(last=1.0, number=20.0, dt_s=5.0)
@given(last=st.floats(0.0, 1.0), number=numbers, dt_s=st.floats(0.0, 5.0))
def test_a_cap_falls_at_once_and_rises_by_one_percent_a_second_and_never_on_a_bad_value(
    last: float, number: float | None, dt_s: float
) -> None:
    values = tuple(value(number) for _ in RIG.signals)
    new = cap(RIG, last, values, dt_s)
    allowed = 1.0 if number is None else min(1.0, max(0.0, (68.0 - number) / 6.0))  # from 62 to 68 C, by hand
    assert 0.0 <= new <= 1.0
    if number is None:
        assert new == last
    elif allowed < last:
        assert new == pytest.approx(allowed)
    else:
        assert new == pytest.approx(min(allowed, last + 0.01 * dt_s))
    assert 9.0 <= cap_a(RIG, new) <= 30.0


@given(one=numbers, other=numbers, last=st.floats(0.0, 1.0))
def test_of_two_members_the_worse_decides_and_a_bad_one_still_lets_it_fall(
    one: float | None, other: float | None, last: float
) -> None:
    limit = Limit("derate", "Derate", (0, 1), 62.0, True, Effect.DERATE, derate_to=68.0)
    rig_ = rig(limits=(*LIMITS, limit))
    rest = [value(0.0)] * 4
    new = cap(rig_, last, (value(one), value(other), *rest), 1.0)
    each = [cap(rig_, last, (value(n), value(n), *rest), 1.0) for n in (one, other)]
    assert new == min(each)


def test_the_current_is_folded_back_as_the_lye_warms_and_comes_back_slowly() -> None:
    bench = ran(full_bench())
    assert bench.outputs.setpoint_a == 30.0
    bench.numbers["cell temperature"] = 65.0  # half of the way from 62 to 68 C: half of the span from 30 to 9 A
    bench.scan()
    assert bench.outputs.setpoint_a == pytest.approx(19.5)
    bench.codes["cell temperature"] = Code.ABSENT
    bench.run(2.0)
    assert bench.outputs.setpoint_a == pytest.approx(19.5)
    bench.codes.clear()
    bench.numbers["cell temperature"] = 50.0
    bench.run(10.0)
    assert bench.outputs.setpoint_a == pytest.approx(19.5 + 0.1 * 21.0, abs=0.05)
    bench.run(60.0)
    assert bench.outputs.setpoint_a == 30.0
    assert bench.at(State.RUNNING)


def test_at_the_end_of_a_derate_the_minimum_runs_and_beyond_it_the_rig_stops() -> None:
    bench = ran(full_bench())
    bench.numbers["cell temperature"] = 68.0
    bench.run(5.0)
    assert bench.outputs.setpoint_a == pytest.approx(9.0)
    assert bench.at(State.RUNNING)
    bench.numbers["cell temperature"] = 68.1
    bench.scan()
    assert bench.at(State.STOPPING)
    assert bench.said(Happened.STOP_DEMANDED) == ["over-temperature derate"]
    bench.until(lambda: bench.at(State.COOLING), 20.0)
    assert not bench.causes


def test_a_derate_falls_where_a_low_number_is_the_bad_one() -> None:
    limit = Limit("flow derate", "Folded back", (4,), 2.0, False, Effect.DERATE, derate_to=1.0)
    rig_ = rig(limits=(*LIMITS, limit))
    values = [value(0.0)] * 6
    for flow, share in ((2.5, 1.0), (2.0, 1.0), (1.5, 0.5), (1.0, 0.0), (0.5, 0.0)):
        values[4] = value(flow)
        assert cap(rig_, 1.0, tuple(values), 0.1) == pytest.approx(share)
