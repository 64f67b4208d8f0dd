"""The right-hand side of the plant, written once: a general solver and the plant's own step both use it.

`rates(state, inputs, ahead_s)` gives how fast every number of the state changes. With `ahead_s = 0` that is the plain
derivative. With the length of a step, the flows that would be stiff (current, gas through the seals, cooling coil,
bubbles, leaks from a nearly empty side) are those at the end of that step, so that a plain sum `state + dt x rate` is
stable. Every flow enters what it leaves and what it reaches with the same number, so all balances close to rounding.

One long function, because a call costs as much as ten lines of arithmetic; its sections are marked, and what only
happens in trouble is called out of line (module trouble).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import exp
from typing import Final, NamedTuple

from controller.chemistry.constants import (
    ELECTRONS_PER_HYDROGEN,
    ELECTRONS_PER_OXYGEN,
    FARADAY_C_MOL,
    GAS_J_MOL_K,
    WATER_G_MOL,
    ZERO_CELSIUS_K,
)

from . import cell, contents, moment, sides, supply, trouble
from .inputs import Inputs
from .parameters import Parameters
from .properties import WATER_J_KG_K, lye_fits
from .state import State, Stepped, stepper

WATER_KG_MOL = WATER_G_MOL / 1000.0
H2_MOL_C = 1.0 / (ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL)
O2_MOL_C = 1.0 / (ELECTRONS_PER_OXYGEN * FARADAY_C_MOL)
WATER_KG_M3 = 1000.0
L_MIN_KG_S = WATER_KG_M3 / 60_000.0
FLOODED_PA_MOL = 3e7  # R T / V of a gas room below 0.1 L
WARM_C = 60.0  # no lye boils below, at any pressure that the seals allow

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
    c, y, h, wear, room = parameters.cell, parameters.hydraulics, parameters.heat, parameters.wear, parameters.room
    fits = lye_fits(y.lye)
    vapour_pa, outflow = fits.vapour_pa_of(), sides.outflow
    scarce, condense = trouble.scarce, trouble.condense
    strays, boils, pours = trouble.separator(parameters), trouble.boiling(parameters), trouble.pouring(parameters)
    zero_k, gas, h2_mol_c, o2_mol_c, water_kg_mol = ZERO_CELSIUS_K, GAS_J_MOL_K, H2_MOL_C, O2_MOL_C, WATER_KG_MOL
    water_j_kg_k, hydroxide_j_kg_k, latent_j_kg = WATER_J_KG_K, fits.hydroxide_j_kg_k, fits.latent_j_kg
    neutral_v, neutral_v_k = fits.thermoneutral
    atmosphere_pa, lag_s = parameters.atmosphere_pa, parameters.supply.start_lag_s
    separator_mm = sides.separator_mm(c)
    outlet_h_m3, outlet_o_m3 = sides.vessel(y.hydrogen, y).outlet_m3, sides.vessel(y.oxygen, y).outlet_m3
    bore_h, bore_o = y.hydrogen.outlet_mol_s_pa, y.oxygen.outlet_mol_s_pa
    depth_h_pa, depth_o_pa = y.hydrogen.seal_mm * sides.WATER_PA_MM, y.oxygen.seal_mm * sides.WATER_PA_MM
    lift_h_pa, lift_o_pa = y.hydrogen.seal_lift_mm * sides.WATER_PA_MM, y.oxygen.seal_lift_mm * sides.WATER_PA_MM
    gravity, offset_pa_mm = sides.GRAVITY_PER_MM, sides.GRAVITY_PER_MM * fits.density_kg_m3(y.mass_fraction, 20.0)
    equalising_m3_s_pa, exchange_kg_s = y.equalising_m3_s_pa, y.separator_exchange_kg_s
    flooded_pa_mol = FLOODED_PA_MOL
    bubble_point_pa, diffusion_mol_s = y.bubble_point_pa, y.crossover_mol_s_bar * atmosphere_pa * 1e-5
    oxygen_share, half_a, crossover_still = y.crossover_oxygen_share, y.crossover_half_a, y.crossover_still
    nearly_dry_kg, bubble_s = sides.NEARLY_DRY_KG, y.bubble_s
    burst_pa, burst_mol_s_pa, top_up_kg_s = y.burst_pa, y.burst_mol_s_pa, y.top_up_kg_s
    surface_mol_s_pa, reflux = h.evaporation_mol_s_pa, h.reflux
    coil_w_k, coil_j_k, coolant_l_min_open, coolant_s = h.coil_w_k, h.coil_j_k, h.coolant_l_min, h.coolant_s
    l_min_w_k = L_MIN_KG_S * WATER_J_KG_K
    circulation_w_k, lift_w_k, lift_half_mol = h.circulation_w_k, h.gas_lift_w_k, h.gas_lift_half_mol
    stack_loss_w_k, reservoir_loss_w_k = h.stack_loss_w_k, h.reservoir_loss_w_k
    rated_a, recoverable, recoverable_s = wear.rated_a, wear.recoverable, wear.recoverable_s
    lasting_s, reverse_c, joint_s = wear.lasting_s, wear.reverse_c, wear.joint_s
    room_m3, fan_s = room.volume_m3, room.fan_s
    cable = parameters.cable
    cable_k_a2, cable_s, joint_k_w = cable.rated_k / cable.rated_a**2, cable.lag_s, cable.joint_k_w
    joint_ohm, joints, joint_lag_s = c.joint_ohm, c.cells + 1, cable.joint_k_w * cable.joint_j_k
    fan_per_s, draught_per_s = (q / 3600.0 / room_m3 for q in (room.ventilation_m3_h, room.draught_m3_h))

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
            pa_mol_h, pa_mol_o, gauge_h_pa, gauge_o_pa, bubbles_h_m3, bubbles_o_m3, still_h_mm, still_o_mm,
        ) = held  # fmt: skip

        # --- current, volts, gas made
        amps, amps_rate, stack = current_of(now_a, ready_s, film_c, electrodes, inputs, ahead_s)
        stack_v, gas_a, film_a, past_a, film_w, _ = stack
        made_a = gas_a if gas_a >= 0.0 else -gas_a
        h2_made = made_a * h2_mol_c
        o2_made = made_a * o2_mol_c
        h2_to_h, o2_to_o, h2_to_o, o2_to_h = h2_made, o2_made, 0.0, 0.0
        if torn > 0.0:  # fully torn, either side gets half of each gas
            h2_to_o, o2_to_h = 0.5 * torn * h2_made, 0.5 * torn * o2_made
            h2_to_h, o2_to_o = h2_made - h2_to_o, o2_made - o2_to_h
        if gas_a < 0.0:  # reversed: the gases change sides
            h2_to_h, h2_to_o, o2_to_h, o2_to_o = h2_to_o, h2_to_h, o2_to_o, o2_to_h

        # --- gas through the separator, from the lye beside it, which is full of gas under load
        diffusion = diffusion_mol_s * crossover
        full = made_a / (made_a + half_a)
        still = crossover_still * (1.0 - full)
        h2_cross = diffusion * (full + still * h2_h / gas_h)
        o2_cross = oxygen_share * diffusion * (full + still * o2_o / gas_o)
        if crossover > 1.0:  # never more than there is
            h2_cross, o2_cross = scarce(h2_cross, h2_h, h2_to_h, ahead_s), scarce(o2_cross, o2_o, o2_to_o, ahead_s)
        if gas_a < 0.0:  # the lye beside the cathode is now on the other side
            h2_cross = -scarce(diffusion * full, h2_o, h2_to_o, ahead_s)
            o2_cross = -scarce(oxygen_share * diffusion * full, o2_h, o2_to_h, ahead_s)

        # --- lye from side to side, positive towards oxygen
        drive_pa = (
            gauge_h_pa - gauge_o_pa + gravity * (density_h * still_h_mm - density_o * still_o_mm)
            + offset_pa_mm * level_offset_mm
        )  # fmt: skip
        equalise = equalising_m3_s_pa * equalising * drive_pa * density_h
        if pa_mol_h > flooded_pa_mol or pa_mol_o > flooded_pa_mol:  # lye squeezes what little gas is left
            stiff_pa_m3 = (
                gas_h * pa_mol_h * pa_mol_h / (h_c + zero_k) + gas_o * pa_mol_o * pa_mol_o / (o_c + zero_k)
            ) / gas
            equalise /= 1.0 + ahead_s * equalising_m3_s_pa * equalising * stiff_pa_m3
        if equalise > 0.0:
            equalise *= lye_h / (lye_h + nearly_dry_kg + equalise * ahead_s)
            equalise_hydroxide, equalise_c = equalise * w_h, h_c
        else:
            equalise *= lye_o / (lye_o + nearly_dry_kg - equalise * ahead_s)
            equalise_hydroxide, equalise_c = equalise * w_o, o_c
        equalise_water = equalise - equalise_hydroxide
        exchange = exchange_kg_s * (w_h - w_o) * cover  # hydroxide one way, as much water the other
        h2_pass = o2_pass = air_pass = vapour_pass = 0.0
        if lower_mm < 0.0 or torn > 0.0 or drive_pa > bubble_point_pa or drive_pa < -bubble_point_pa:
            bare = -lower_mm / separator_mm if lower_mm < 0.0 else 0.0
            h2_pass, o2_pass, air_pass, vapour_pass = strays(
                state, bare, torn, drive_pa, gauge_h_pa - gauge_o_pa, pa_mol_h, pa_mol_o, gas_h, gas_o, ahead_s
            )

        # --- evaporation and boiling
        wet = surface_mol_s_pa * water_h / (water_h + nearly_dry_kg)
        evaporate_h = wet * (vapour_pa(w_h, h_c) - vapour_h * pa_mol_h) / (1.0 + wet * ahead_s * pa_mol_h)
        wet = surface_mol_s_pa * water_o / (water_o + nearly_dry_kg)
        evaporate_o = wet * (vapour_pa(w_o, o_c) - vapour_o * pa_mol_o) / (1.0 + wet * ahead_s * pa_mol_o)
        if evaporate_h < 0.0:
            evaporate_h = condense(evaporate_h, vapour_h, ahead_s)
        if evaporate_o < 0.0:
            evaporate_o = condense(evaporate_o, vapour_o, ahead_s)
        steam = thrown = 0.0  # to each side
        if stack_c > WARM_C:
            stack_pa = vapour_pa(0.5 * (w_h + w_o), stack_c)
            excess_pa = stack_pa - atmosphere_pa - 0.5 * (gauge_h_pa + gauge_o_pa)
            if excess_pa > 0.0:
                least_kg = water_h if water_h < water_o else water_o
                steam, thrown = boils(excess_pa, stack_pa, stack_c, cover, least_kg, ahead_s)

        # --- gas out through the seals; it has the composition at the end of the step, so that none can go negative
        make_h2_h = h2_to_h - h2_cross - h2_pass
        make_o2_h = o2_to_h + o2_cross - o2_pass
        make_vapour_h = evaporate_h + steam - vapour_pass
        make_h = make_h2_h + make_o2_h + make_vapour_h - air_pass
        make_h2_o = h2_to_o + h2_cross + h2_pass
        make_o2_o = o2_to_o - o2_cross + o2_pass
        make_vapour_o = evaporate_o + steam + vapour_pass
        make_o = make_h2_o + make_o2_o + make_vapour_o + air_pass
        out_h, back_h, burst_h = outflow(
            gauge_h_pa, make_h * pa_mol_h, pa_mol_h, bore_h * open_h,
            depth_h_pa * seal_h + (100.0 * store_mbar if collecting else 0.0), lift_h_pa * seal_h,
            burst_pa, burst_mol_s_pa, ahead_s,
        )  # fmt: skip
        out_o, back_o, burst_o = outflow(
            gauge_o_pa, make_o * pa_mol_o, pa_mol_o, bore_o * open_o, depth_o_pa * seal_o, lift_o_pa * seal_o,
            burst_pa, burst_mol_s_pa, ahead_s,
        )  # fmt: skip
        leave_h = (out_h + burst_h) / (gas_h + make_h * ahead_s)
        leave_o = (out_o + burst_o) / (gas_o + make_o * ahead_s)
        stay_h, stay_o = 1.0 - leave_h * ahead_s, 1.0 - leave_o * ahead_s
        h2_h_rate = stay_h * make_h2_h - leave_h * h2_h
        o2_h_rate = stay_h * make_o2_h - leave_h * o2_h
        air_h_rate = back_h - stay_h * air_pass - leave_h * air_h
        vapour_h_rate = stay_h * make_vapour_h - leave_h * vapour_h
        h2_o_rate = stay_o * make_h2_o - leave_o * h2_o
        o2_o_rate = stay_o * make_o2_o - leave_o * o2_o
        air_o_rate = back_o + stay_o * air_pass - leave_o * air_o
        vapour_o_rate = stay_o * make_vapour_o - leave_o * vapour_o
        h2_out_h, vapour_out_h = make_h2_h - h2_h_rate, make_vapour_h - vapour_h_rate
        h2_out_o, vapour_out_o = make_h2_o - h2_o_rate, make_vapour_o - vapour_o_rate
        h2_leaked = h2_out_h * to_room
        if burst_h > 0.0:
            h2_leaked += (h2_out_h - h2_leaked) * burst_h / (out_h + burst_h)
        if burst_o > 0.0:
            h2_leaked += h2_out_o * burst_o / (out_o + burst_o)
        h2_by_outlet = h2_out_h + h2_out_o - h2_leaked
        vapour_lost = (1.0 - reflux) * (vapour_out_h + vapour_out_o) * water_kg_mol

        # --- liquids split, added, lost
        split = h2_made * water_kg_mol  # half from each side: water passes the separators easily
        boiled = steam * water_kg_mol
        dried_h = (evaporate_h - reflux * vapour_out_h) * water_kg_mol  # beside what boils
        dried_o = (evaporate_o - reflux * vapour_out_o) * water_kg_mol
        holed = holed_l_min * L_MIN_KG_S
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

        # --- coolant
        flows_l_min = 0.0
        if coolant_open and mains and coolant_in_c > 0.0:
            flows_l_min = coolant_l_min_open * coolant_supply * (1.0 - coolant_air) * (1.0 + 0.4 * hose_off)
        coolant_rate = (flows_l_min - coolant_l_min) / (coolant_s + ahead_s)
        spilt_l_min = coolant_l_min * hose_off
        floor_m3_s += spilt_l_min / 60_000.0
        coolant_w_k = (coolant_l_min - spilt_l_min) * l_min_w_k
        touched_w_k = coil_w_k * (1.0 - coolant_air)
        # a coil in a mixed bath by its effectiveness, as a conductance to its outlet; half in each reservoir
        if touched_w_k < coolant_w_k:
            coil_half_w_k = 0.5 * coolant_w_k * (exp(touched_w_k / coolant_w_k) - 1.0)
        else:
            coil_half_w_k = 0.859140914229523 * touched_w_k  # (e - 1) / 2: the same where they meet
        coil_rate = (coil_half_w_k * (h_c + o_c - 2.0 * coil_c) + coolant_w_k * (coolant_in_c - coil_c)) / (
            coil_j_k + ahead_s * (2.0 * coil_half_w_k + coolant_w_k)
        )
        coil_then_c = coil_c + ahead_s * coil_rate
        coil_h_w = coil_half_w_k * (h_c - coil_then_c)
        coil_o_w = coil_half_w_k * (o_c - coil_then_c)

        # --- heat; a liquid carries its enthalpy above 0 C
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

        # --- cable and joints, which warm the room alone
        square_a2 = amps * amps
        worst_ohm = joint_ohm + aged_ohm / joints
        if joint_extra_ohm:
            worst_ohm += max(joint_extra_ohm)

        # --- wear, room
        load = (amps if amps >= 0.0 else -amps) / rated_a
        backwards_a = -amps if amps < 0.0 else 0.0
        fan_rate = ((ventilation if ventilation_on and mains else 0.0) - fan) / (fan_s + ahead_s)
        room_rate = 0.0
        if h2_leaked > 0.0 or room_h2 > 0.0:
            leaks_per_s = h2_leaked * gas * (ambient_c + zero_k) / (atmosphere_pa * room_m3)
            changes_per_s = leaks_per_s + fan_per_s * fan + draught_per_s
            room_rate = (leaks_per_s - changes_per_s * room_h2) / (1.0 + ahead_s * changes_per_s)

        flow_s = bubble_s * froth
        return (
            amps_rate,
            1.0 if ready_s < lag_s and supply.supply_live(inputs) else 0.0,
            wear_rate * (recoverable * (load if load < 1.0 else 1.0) - worn) / recoverable_s,
            wear_rate * (load / lasting_s + backwards_a / reverse_c),
            sum(joint_extra_ohm) * load * load / joint_s if joint_extra_ohm else 0.0,
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
            (h2_to_h + o2_to_h - bubbles_h / flow_s) / (1.0 + ahead_s / flow_s),
            (h2_to_o + o2_to_o - bubbles_o / flow_s) / (1.0 + ahead_s / flow_s),
            room_rate,
            fan_rate,
            floor_m3_s,
            (cable_k_a2 * square_a2 - cable_k) / (cable_s + ahead_s),
            (joint_k_w * worst_ohm * square_a2 - joint_k) / (joint_lag_s + ahead_s),
            amps,
            gas_a,
            past_a,
            backwards_a,
            electrical_w,
            reaction_w,
            lost_stack_w + lost_h_w + lost_o_w,
            coolant_w_k * (coil_then_c - coolant_in_c),
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
            make_o2_h - o2_h_rate + make_o2_o - o2_o_rate,
            air_h_rate + air_o_rate,
        ), film_a  # fmt: skip

    return rates
