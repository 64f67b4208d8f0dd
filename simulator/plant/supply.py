"""The supply and its leads: which current flows at the end of a step.

One equation serves every kind: a source of volts behind a resistance and a choke, its current held down by a regulator.
Constant current, constant voltage and the drooping line of a welding source differ only in numbers, so thermal run-away
at constant voltage comes out of the cell, not out of a script. The choke makes the equation stiff against a cell that
passes nothing below its reversible voltage; it is therefore solved at the end of the step (with ahead_s = 0 it is the
plain derivative).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from .cell import Electrodes, Stack, StackOf
from .inputs import Disturbances, Inputs
from .parameters import Parameters, SupplyKind

CurrentOf = Callable[[float, float, tuple[float, ...], Electrodes, Inputs, float], tuple[float, float, Stack]]
CLOSE_ENOUGH_A = 1e-9
CLOSE_ENOUGH_V = 1e-9
ROUNDS = 60
FIRST_OF_SUPPLY: Final = 29
assert Disturbances._fields[FIRST_OF_SUPPLY] == "supply_forced_a"
NO_LOAD_OHM = 1e6


def path_open(inputs: Inputs) -> bool:
    """No current can flow, from the supply or back into it."""
    both = inputs.main_closed and inputs.second_closed
    return not both and inputs.disturbances.path_past_contactors_s <= 0.0


def supply_live(inputs: Inputs) -> bool:
    """Switched on, fed, and not cut out."""
    d = inputs.disturbances
    return inputs.supply_on and inputs.mains and not d.mains_lost and not d.supply_cut_out


def build(parameters: Parameters, stack: StackOf) -> CurrentOf:
    """The function that gives (current through the leads, its rate of change, what it does to the stack)."""
    p = parameters.supply
    drooping = p.kind is SupplyKind.DROOPING
    choke_h, rise_s, fall_s, off_ohm, lag_s = p.choke_h, p.rise_s, p.fall_s, p.off_ohm, p.start_lag_s
    largest_a, largest_v = p.largest_a, p.largest_v
    no_amps_knob, no_volts_knob = not p.amps_knob, not p.volts_knob

    def current(
        now_a: float, ready_s: float, film_c: tuple[float, ...], e: Electrodes, inputs: Inputs, ahead_s: float
    ) -> tuple[float, float, Stack]:
        main_closed, second_closed, supply_on, set_a, set_v, _, _, _, _, mains, _, _, d = inputs
        past_ohm = 0.0
        if not (main_closed and second_closed):
            if d.path_past_contactors_s <= 0.0:
                return 0.0, 0.0, stack(0.0, film_c, e, ahead_s)
            past_ohm = 1.0 / d.path_past_contactors_s
        forced_a, forced_v, cut_out, is_reversed, mains_lost, _ = d[FIRST_OF_SUPPLY:]
        if ready_s < lag_s or not supply_on or not mains or mains_lost or cut_out:
            # the films discharge into the dead supply
            back_a = -stack(0.0, film_c, e, ahead_s)[0] / (off_ohm + past_ohm + e.stack_ohm)
            rate = (back_a - now_a) / (fall_s + ahead_s)
            then_a = now_a + ahead_s * rate
            then = stack(then_a, film_c, e, ahead_s)
            sign = 1.0 if then_a >= 0.0 else -1.0
            if ahead_s > 0.0 and sign * then[0] > largest_v:  # a dry cell stops the choke too
                then_a = sign * settle(sign * then_a, 0.0, largest_v, 0.0, film_c, e, sign, ahead_s)
                return then_a, (then_a - now_a) / ahead_s, stack(then_a, film_c, e, ahead_s)
            return then_a, rate, then
        if forced_a is not None:
            set_a = forced_a
        elif no_amps_knob or set_a > largest_a:
            set_a = largest_a
        if forced_v is not None:
            set_v = forced_v
        elif no_volts_knob or set_v > largest_v:
            set_v = largest_v
        if set_a < 0.0:
            set_a = 0.0
        ohm = past_ohm
        if drooping:
            ohm += set_v / set_a if set_a > 0.0 else NO_LOAD_OHM
        sign = -1.0 if is_reversed else 1.0
        from_a = sign * now_a
        if from_a < 0.0:  # a supply does not sink current
            from_a = 0.0
        rate = (set_a - from_a) / ((rise_s if set_a > from_a else fall_s) + ahead_s)
        then_a = from_a + ahead_s * rate
        then = stack(sign * then_a, film_c, e, ahead_s)
        short_v = set_v - ohm * then_a - sign * then[0] - choke_h * rate
        if short_v < 0.0:  # else the regulator holds the current down; the volts would give more
            if ahead_s <= 0.0:
                rate += short_v / choke_h
                return now_a, sign * (rate if from_a > 0.0 or rate > 0.0 else 0.0), then
            choke_ohm = choke_h / ahead_s
            then_a = settle(then_a, from_a, set_v + choke_ohm * from_a, ohm + choke_ohm, film_c, e, sign, ahead_s)
            then = stack(sign * then_a, film_c, e, ahead_s)
        then_a *= sign
        return then_a, (then_a - now_a) / ahead_s if ahead_s > 0.0 else sign * rate, then

    def settle(
        high_a: float, now_a: float, source_v: float, ohm: float, film_c: tuple[float, ...], e: Electrodes, sign: float,
        ahead_s: float,
    ) -> float:  # fmt: skip
        """The current at which volts balance, between 0 and high_a: Illinois false position, safe on any curve."""

        def surplus_v(amps: float) -> float:
            return source_v - ohm * amps - sign * stack(sign * amps, film_c, e, ahead_s)[0]

        low_a, low_v, high_v = 0.0, surplus_v(0.0), surplus_v(high_a)
        if low_v <= 0.0:
            return 0.0
        if 0.0 < now_a < high_a:  # usually the answer is close to where it was
            start_v = surplus_v(now_a)
            if start_v > 0.0:
                low_a, low_v = now_a, start_v
            else:
                high_a, high_v = now_a, start_v
        guess_a, side = high_a, 0
        for _ in range(ROUNDS):
            guess_a = low_a + (high_a - low_a) * low_v / (low_v - high_v)
            guess_v = surplus_v(guess_a)
            if abs(guess_v) < CLOSE_ENOUGH_V or high_a - low_a < CLOSE_ENOUGH_A:
                break
            if guess_v > 0.0:
                low_a, low_v = guess_a, guess_v
                high_v *= 0.5 if side > 0 else 1.0  # the other end was kept twice: move it
                side = 1
            else:
                high_a, high_v = guess_a, guess_v
                low_v *= 0.5 if side < 0 else 1.0
                side = -1
        return guess_a

    return current
