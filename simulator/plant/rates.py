"""The right-hand side of the plant, written once: a general solver and the plant's own step both use it.

`rates(state, inputs, ahead_s)` gives how fast every number of the state changes. With `ahead_s = 0` that is the plain
derivative. With the length of a step, the flows that would be stiff (current, gas through the seals, cooling coil,
bubbles, leaks from a nearly empty side) are those at the end of that step, so that a plain sum `state + dt x rate` is
stable. Every flow enters what it leaves and what it reaches with the same number, so all balances close to rounding.

What flows is worked out where its physics stand (cell and supply, gases, liquids, cooling, surroundings; trouble for
what a sound bench does not have). Here the flows meet: each is booked where it leaves and where it arrives, and what
they carry adds up to heat. No more parts than that, because a call costs as much as ten lines of arithmetic.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Final, NamedTuple

from controller.chemistry.constants import WATER_G_MOL

from . import cell, contents, cooling, gases, liquids, moment, sides, supply, surroundings, trouble
from .inputs import Inputs
from .parameters import Parameters
from .properties import WATER_J_KG_K, lye_fits
from .state import State, Stepped, stepper

WATER_KG_MOL = WATER_G_MOL / 1000.0

FELT: Final = 29  # nothing feels the totals that come after
assert State._fields[FELT - 1] == "joint_k"

RatesOf = Callable[[State, Inputs, float], tuple[tuple[float, ...], tuple[float, ...]]]


class Model(NamedTuple):
    """The plant's functions with one set of parameters bound."""

    rates: RatesOf  # per second: the numbers of State in order, and its films
    contents: contents.ContentsOf
    electrodes: cell.ElectrodesOf
    stack: cell.StackOf
    moment: moment.MomentOf
    stepped: Stepped


@lru_cache(maxsize=64)
def model(parameters: Parameters) -> Model:
    """Compile the plant; kept per parameter object."""
    electrodes, stack_of = cell.build(parameters)
    current_of = supply.build(parameters, stack_of)
    contents_of = contents.build(parameters)
    moment_of = moment.build(parameters.cell, contents_of, electrodes)
    rates = _build(parameters, moment_of, current_of)
    return Model(rates, contents_of, electrodes, stack_of, moment_of, stepper(parameters.cell.cells))


def _build(parameters: Parameters, moment_of: moment.MomentOf, current_of: supply.CurrentOf) -> RatesOf:
    y, h, fits = parameters.hydraulics, parameters.heat, lye_fits(parameters.hydraulics.lye)
    makes, leaves_h, leaves_o = (
        gases.making(parameters), gases.leaving(parameters, y.hydrogen), gases.leaving(parameters, y.oxygen)
    )  # fmt: skip
    levels, dries, cools = liquids.levelling(parameters), liquids.drying(parameters), cooling.cooling(parameters)
    wears, airs = surroundings.wearing(parameters), surroundings.airing(parameters)
    strays, pours = trouble.separator(parameters), trouble.pouring(parameters)
    l_min_kg_s, water_kg_mol, lag_s = cooling.L_MIN_KG_S, WATER_KG_MOL, parameters.supply.start_lag_s
    water_j_kg_k, hydroxide_j_kg_k, latent_j_kg = WATER_J_KG_K, fits.hydroxide_j_kg_k, fits.latent_j_kg
    neutral_v, neutral_v_k = fits.thermoneutral
    separator_mm, bubble_point_pa = sides.separator_mm(parameters.cell), y.bubble_point_pa
    outlet_h_m3, outlet_o_m3 = sides.vessel(y.hydrogen, y).outlet_m3, sides.vessel(y.oxygen, y).outlet_m3
    exchange_kg_s, bubble_s, top_up_kg_s, reflux = y.separator_exchange_kg_s, y.bubble_s, y.top_up_kg_s, h.reflux
    circulation_w_k, lift_w_k, lift_half_mol = h.circulation_w_k, h.gas_lift_w_k, h.gas_lift_half_mol
    stack_loss_w_k, reservoir_loss_w_k = h.stack_loss_w_k, h.reservoir_loss_w_k

    def rates(state: State, inputs: Inputs, ahead_s: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
        (
            now_a, ready_s, worn, _, aged_ohm, _, _, _, coil_c, coolant_l_min, water_h, water_o, _, _,
            h2_h, o2_h, air_h, vapour_h, h2_o, o2_o, air_o, vapour_o, bubbles_h, bubbles_o, room_h2, fan,
            _, cable_k, joint_k,
        ) = state[:FELT]  # fmt: skip
        film_c = state[-1]
        (
            _, _, _, _, _, coolant_open, ventilation_on, collecting, top_up_on, mains, ambient_c, coolant_in_c, d,
        ) = inputs  # fmt: skip
        (
            coolant_supply, coolant_air, coolant_warmer_k, hose_off, holed_l_min,
            lye_leak_ml_s, level_offset_mm, equalising, froth, water_ml_s, top_up_supply, _,
            open_h, open_o, seal_h, seal_o, store_mbar, suck_back_ml_s, torn, crossover, to_room,
            ventilation, ambient_warmer_k, _, wear_rate, joint_extra_ohm, _, _, _, _, _, _, _, mains_lost, _,
        ) = d  # fmt: skip
        mains = mains and not mains_lost
        ambient_c += ambient_warmer_k
        coolant_in_c += coolant_warmer_k
        held, lower_mm, cover, electrodes = moment_of(state, d)
        (
            stack_c, h_c, o_c, lye_h, lye_o, w_h, w_o, density_h, density_o, lye_h_m3, lye_o_m3, gas_h, gas_o,
            pa_mol_h, pa_mol_o, gauge_h_pa, gauge_o_pa, bubbles_h_m3, bubbles_o_m3, _, _,
        ) = held  # fmt: skip

        # --- what flows: current, gas made, lye from side to side, water into the gas
        amps, amps_rate, stack = current_of(now_a, ready_s, film_c, electrodes, inputs, ahead_s)
        stack_v, gas_a, film_a, past_a, film_w, _ = stack
        made_a, h2_made, bubbles_h_made, bubbles_o_made, h2_to_h, o2_to_h, h2_to_o, o2_to_o = makes(
            gas_a, torn, crossover, h2_h, o2_h, h2_o, o2_o, gas_h, gas_o, ahead_s
        )
        drive_pa, equalise_water, equalise_hydroxide, equalise_c = levels(held, level_offset_mm, equalising, ahead_s)
        exchange = exchange_kg_s * (w_h - w_o) * cover  # hydroxide one way, as much water the other
        h2_pass = o2_pass = air_pass = vapour_pass = 0.0
        if lower_mm < 0.0 or torn > 0.0 or drive_pa > bubble_point_pa or drive_pa < -bubble_point_pa:
            bare = -lower_mm / separator_mm if lower_mm < 0.0 else 0.0
            h2_pass, o2_pass, air_pass, vapour_pass = strays(
                state, bare, torn, drive_pa, gauge_h_pa - gauge_o_pa, pa_mol_h, pa_mol_o, gas_h, gas_o, ahead_s
            )
        evaporate_h, evaporate_o, steam, thrown = dries(held, water_h, water_o, vapour_h, vapour_o, cover, ahead_s)

        # --- gas of each side: what comes, and what leaves through its seal
        come_h2_h, come_h2_o = h2_to_h - h2_pass, h2_to_o + h2_pass
        come_o2_h, come_o2_o = o2_to_h - o2_pass, o2_to_o + o2_pass
        come_vapour_h, come_vapour_o = evaporate_h + steam - vapour_pass, evaporate_o + steam + vapour_pass
        h2_h_rate, o2_h_rate, air_h_rate, vapour_h_rate, out_h, burst_h = leaves_h(
            h2_h, o2_h, air_h, vapour_h, gas_h, come_h2_h, come_o2_h, -air_pass, come_vapour_h,
            gauge_h_pa, pa_mol_h, open_h, seal_h, 100.0 * store_mbar if collecting else 0.0, ahead_s,
        )  # fmt: skip
        h2_o_rate, o2_o_rate, air_o_rate, vapour_o_rate, out_o, burst_o = leaves_o(
            h2_o, o2_o, air_o, vapour_o, gas_o, come_h2_o, come_o2_o, air_pass, come_vapour_o,
            gauge_o_pa, pa_mol_o, open_o, seal_o, 0.0, ahead_s,
        )  # fmt: skip
        h2_out_h, vapour_out_h = come_h2_h - h2_h_rate, come_vapour_h - vapour_h_rate
        h2_out_o, vapour_out_o = come_h2_o - h2_o_rate, come_vapour_o - vapour_o_rate
        h2_leaked = h2_out_h * to_room
        if burst_h > 0.0:
            h2_leaked += (h2_out_h - h2_leaked) * burst_h / (out_h + burst_h)
        if burst_o > 0.0:
            h2_leaked += h2_out_o * burst_o / (out_o + burst_o)
        h2_by_outlet = h2_out_h + h2_out_o - h2_leaked
        vapour_lost = (1.0 - reflux) * (vapour_out_h + vapour_out_o) * water_kg_mol

        # --- liquids split, dried, added, lost
        split = h2_made * water_kg_mol  # half from each side: water passes the separators easily
        boiled = steam * water_kg_mol
        dried_h = (evaporate_h - reflux * vapour_out_h) * water_kg_mol  # beside what boils
        dried_o = (evaporate_o - reflux * vapour_out_o) * water_kg_mol
        holed = holed_l_min * l_min_kg_s
        added = water_ml_s * 0.001
        if top_up_on and mains:
            added += top_up_kg_s * top_up_supply
        sucked = suck_back_ml_s * 0.001
        above_h_m3 = lye_h_m3 + bubbles_h_m3 - outlet_h_m3
        above_o_m3 = lye_o_m3 + bubbles_o_m3 - outlet_o_m3
        lose_water_h = lose_water_o = lose_hydroxide_h = lose_hydroxide_o = floor_m3_s = 0.0
        if above_h_m3 > 0.0 or above_o_m3 > 0.0 or thrown > 0.0 or lye_leak_ml_s > 0.0:
            lose_h, leak_h_m3_s = pours(above_h_m3, thrown, lye_leak_ml_s, density_h, lye_h, ahead_s)
            lose_o, leak_o_m3_s = pours(above_o_m3, thrown, lye_leak_ml_s, density_o, lye_o, ahead_s)
            floor_m3_s = leak_h_m3_s + leak_o_m3_s
            lose_hydroxide_h, lose_hydroxide_o = lose_h * w_h, lose_o * w_o
            lose_water_h, lose_water_o = lose_h - lose_hydroxide_h, lose_o - lose_hydroxide_o

        # --- heat; a liquid carries its enthalpy above 0 C
        coolant_rate, coil_rate, coil_h_w, coil_o_w, coolant_w, spilt_m3_s = cools(
            coolant_open and mains, coolant_supply, coolant_air, hose_off, coolant_l_min, coolant_in_c, coil_c,
            h_c, o_c, ahead_s,
        )  # fmt: skip
        electrical_w = stack_v * amps
        reaction_w = (neutral_v + neutral_v_k * stack_c) * made_a
        mix_h_w = (circulation_w_k + lift_w_k * bubbles_h / (bubbles_h + lift_half_mol)) * (stack_c - h_c)
        mix_o_w = (circulation_w_k + lift_w_k * bubbles_o / (bubbles_o + lift_half_mol)) * (stack_c - o_c)
        lost_stack_w = stack_loss_w_k * (stack_c - ambient_c)
        lost_h_w = reservoir_loss_w_k * (h_c - ambient_c)
        lost_o_w = reservoir_loss_w_k * (o_c - ambient_c)
        through_w_k = (0.5 * split + boiled) * water_j_kg_k  # the stack draws what it uses from each reservoir
        away_h_w = dried_h * water_j_kg_k * h_c
        away_o_w = dried_o * water_j_kg_k * o_c
        if lose_water_h > 0.0 or lose_water_o > 0.0:
            away_h_w += (lose_water_h * water_j_kg_k + lose_hydroxide_h * hydroxide_j_kg_k) * h_c
            away_o_w += (lose_water_o * water_j_kg_k + lose_hydroxide_o * hydroxide_j_kg_k) * o_c
        if added > 0.0 or holed > 0.0 or sucked > 0.0:
            add_w = 0.5 * water_j_kg_k * (added * ambient_c + holed * coolant_in_c)
            away_h_w -= add_w + sucked * water_j_kg_k * ambient_c
            away_o_w -= add_w
        cross_w = (equalise_water * water_j_kg_k + equalise_hydroxide * hydroxide_j_kg_k) * equalise_c
        if exchange > 0.0:
            cross_w += exchange * (hydroxide_j_kg_k * h_c - water_j_kg_k * o_c)
        else:
            cross_w += exchange * (hydroxide_j_kg_k * o_c - water_j_kg_k * h_c)

        # --- what wears, what gets warm beside the lye, the room
        wear, wear_lasting, ages_ohm, cable_rate, joint_rate = wears(
            amps, worn, aged_ohm, cable_k, joint_k, wear_rate, joint_extra_ohm, ahead_s
        )
        room_rate, fan_rate = airs(
            room_h2, fan, ventilation if ventilation_on and mains else 0.0, h2_leaked, ambient_c, ahead_s
        )

        flow_s = bubble_s * froth
        return (
            amps_rate,
            1.0 if ready_s < lag_s and supply.supply_live(inputs) else 0.0,
            wear,
            wear_lasting,
            ages_ohm,
            electrical_w - reaction_w - film_w - mix_h_w - mix_o_w - lost_stack_w - 2.0 * boiled * latent_j_kg
            + through_w_k * (h_c + o_c - 2.0 * stack_c),
            mix_h_w - lost_h_w - coil_h_w - through_w_k * h_c - dried_h * latent_j_kg - away_h_w - cross_w,
            mix_o_w - lost_o_w - coil_o_w - through_w_k * o_c - dried_o * latent_j_kg - away_o_w + cross_w,
            coil_rate,
            coolant_rate,
            0.5 * (added + holed - split) + sucked - boiled - dried_h - lose_water_h - equalise_water + exchange,
            0.5 * (added + holed - split) - boiled - dried_o - lose_water_o + equalise_water - exchange,
            -lose_hydroxide_h - equalise_hydroxide - exchange,
            -lose_hydroxide_o + equalise_hydroxide + exchange,
            h2_h_rate,
            o2_h_rate,
            air_h_rate,
            vapour_h_rate,
            h2_o_rate,
            o2_o_rate,
            air_o_rate,
            vapour_o_rate,
            (bubbles_h_made - bubbles_h / flow_s) / (1.0 + ahead_s / flow_s),
            (bubbles_o_made - bubbles_o / flow_s) / (1.0 + ahead_s / flow_s),
            room_rate,
            fan_rate,
            floor_m3_s + spilt_m3_s,
            cable_rate,
            joint_rate,
            amps,
            gas_a,
            past_a,
            -amps if amps < 0.0 else 0.0,
            electrical_w,
            reaction_w,
            lost_stack_w + lost_h_w + lost_o_w,
            coolant_w,
            vapour_lost * latent_j_kg,
            2.0 * through_w_k * stack_c + away_h_w + away_o_w,
            added + holed + sucked,
            vapour_lost,
            lose_water_h + lose_water_o,
            lose_hydroxide_h + lose_hydroxide_o,
            made_a,
            0.0 if collecting else h2_by_outlet,
            h2_by_outlet if collecting else 0.0,
            h2_leaked,
            come_o2_h - o2_h_rate + come_o2_o - o2_o_rate,
            air_h_rate + air_o_rate,
        ), film_a  # fmt: skip

    return rates
