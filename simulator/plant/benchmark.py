"""How fast and how exact the plant is, as rows (name, value, unit, baseline, ratio)."""

from __future__ import annotations

from statistics import median
from time import process_time
from typing import NamedTuple

from .advance import advance
from .inputs import OFF, RUN30
from .ledger import balances
from .observe import observer
from .parameters import BOATHOUSE
from .rates import model
from .start import cold_start, steady_state
from .state import NUMBERS, State

ROUNDS = 15
STEPS = 2000
SCAN_S = 0.1
ALLOWED_STEP_US = 15.0
SOLVED_S = 600.0
SOLVER_TOLERANCE = 1e-6
DAY_S = 86_400
ALLOWED_BALANCE = 1e-9


class Row(NamedTuple):
    """ratio is value over baseline: below 1 is better than the baseline. None where there is nothing to compare."""

    name: str
    value: float
    unit: str
    baseline: float | None
    ratio: float | None


def rows() -> list[Row]:
    """Measure everything; takes about ten seconds. The comparison with a general solver needs scipy."""
    step_us, look_us = _step_us(), _look_us()
    plant_s, one_go_s, apart_k = against_solver(SOLVED_S, SOLVED_S)
    minute_s, scans_s, _ = against_solver(60.0, SCAN_S)
    worst = _worst_balance()
    return [
        Row("plant_step", step_us, "us", ALLOWED_STEP_US, step_us / ALLOWED_STEP_US),
        Row("plant_observe", look_us, "us", None, None),
        Row("plant_minute_against_solver_scan_by_scan", minute_s, "s", scans_s, minute_s / scans_s),
        Row("plant_ten_minutes_against_solver_in_one_go", plant_s, "s", one_go_s, plant_s / one_go_s),
        Row("plant_ten_minutes_difference", apart_k, "K", None, None),
        Row("plant_day_worst_balance", worst, "1", ALLOWED_BALANCE, worst / ALLOWED_BALANCE),
    ]


def _step_us() -> float:
    state, times = steady_state(BOATHOUSE), []
    for _ in range(ROUNDS):
        start = process_time()
        for _ in range(STEPS):
            state = advance(BOATHOUSE, state, RUN30, SCAN_S)
        times.append((process_time() - start) / STEPS * 1e6)
    return median(times)


def _look_us() -> float:
    state, look, times = steady_state(BOATHOUSE), observer(BOATHOUSE), []
    for _ in range(ROUNDS):
        start = process_time()
        for _ in range(STEPS):
            look(state, RUN30)
        times.append((process_time() - start) / STEPS * 1e6)
    return median(times)


def against_solver(seconds: float, piece_s: float) -> tuple[float, float, float]:
    """CPU seconds of the plant at the scan step, of scipy's LSODA on the same right-hand side, and how far apart, K.

    piece_s: after which the solver starts anew, as it must where inputs can change (on a bench: at every scan).
    """
    from scipy.integrate import solve_ivp

    rates = model(BOATHOUSE).rates
    first = cold_start(BOATHOUSE)._replace(supply_ready_s=BOATHOUSE.supply.start_lag_s)

    def right_hand_side(_: float, vector: list[float]) -> list[float]:
        numbers, films = rates(State._make((*vector[:NUMBERS], tuple(vector[NUMBERS:]))), RUN30, 0.0)
        return [*numbers, *films]

    start = process_time()
    state = first
    for _ in range(round(seconds / SCAN_S)):
        state = advance(BOATHOUSE, state, RUN30, SCAN_S)
    middle = process_time()
    vector = [*first[:-1], *first.film_c]
    for _ in range(round(seconds / piece_s)):
        solved = solve_ivp(
            lambda t, v: right_hand_side(t, v.tolist()),
            (0.0, piece_s),
            vector,
            method="LSODA",
            rtol=SOLVER_TOLERANCE,
            atol=SOLVER_TOLERANCE,
            max_step=10.0,  # it must not step over the opening of a seal
        )
        vector = solved.y[:, -1]
    end = process_time()
    stack_j = vector[State._fields.index("stack_j")]
    return middle - start, end - middle, abs(state.stack_j - float(stack_j)) / BOATHOUSE.heat.stack_j_k


def _worst_balance() -> float:
    """Over a day of an hour on and half an hour off, at steps of a second."""
    first = state = cold_start(BOATHOUSE)
    for second in range(DAY_S):
        state = advance(BOATHOUSE, state, RUN30 if second % 5400 < 3600 else OFF, 1.0)
    return balances(BOATHOUSE, first, state).worst
