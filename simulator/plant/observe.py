"""What an instrument in the right place would read, exactly and at once: its lag, noise and faults come later."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from controller.chemistry.constants import AIR_OXYGEN_FRACTION

from . import sides
from .inputs import Inputs
from .parameters import Parameters
from .rates import model
from .state import State


class Seen(NamedTuple):
    """_h is the hydrogen side, _o the oxygen side."""

    current_a: float  # signed; positive makes hydrogen at the cathode
    ripple_a: float  # root mean square, on top of the mean
    stack_voltage_v: float  # anode end against cathode end, joints included
    cell_v: tuple[float, ...]  # from the negative end, with the joint before each; the last also with the one after
    cell_temperature_c: float
    reservoir_h_c: float
    reservoir_o_c: float
    coolant_inlet_c: float
    coolant_outlet_c: float
    coolant_flow_l_min: float  # through the meter, which sits before the coil: a hose off behind it raises it
    level_h_mm: float  # above the separator's top edge, bubbles and froth included
    level_o_mm: float
    liquid_in_gas_line: float  # 1 while lye runs or froths out through a gas outlet, else 0
    pressure_h_mbar: float  # gauge
    pressure_o_mbar: float
    seal_h_mm: float  # water left in the seals
    seal_o_mm: float
    h2_in_o2_percent: float  # by volume, of the dry gas
    o2_in_h2_percent: float  # oxygen of the air included
    hydrogen_fraction: float  # of the dry gas in the hydrogen side's gas room
    gas_h_l: float  # gas room, bubbles included
    room_h2_percent: float
    air_flow_m3_h: float
    tray_mm: float  # liquid in the tray on the floor
    floor_l: float
    mass_fraction: float  # of hydroxide in the lye, both sides together
    ambient_c: float


LEAST_MOL = 1e-15  # of dry gas in a room full of steam
Observer = Callable[[State, Inputs], Seen]


def observe(parameters: Parameters, state: State, inputs: Inputs) -> Seen:
    """Everything that can be measured now."""
    return observer(parameters)(state, inputs)


@lru_cache(maxsize=64)
def observer(parameters: Parameters) -> Observer:
    """`observe` with the parameters bound, for whoever looks at every step."""
    _, contents_of, electrodes_of, stack_of, _ = model(parameters)
    c, y = parameters.cell, parameters.hydraulics
    level_h, level_o = sides.level(y.hydrogen, c), sides.level(y.oxygen, c)
    outlet_h_m3, outlet_o_m3 = sides.vessel(y.hydrogen, y).outlet_m3, sides.vessel(y.oxygen, y).outlet_m3
    lid_h_m3 = sides.vessel(y.hydrogen, y).lid_m3
    fan_m3_h, ripple = parameters.room.ventilation_m3_h, parameters.supply.ripple_fraction
    seal_h_mm, seal_o_mm, tray_m2 = y.hydrogen.seal_mm, y.oxygen.seal_mm, y.tray_m2
    joints, joint_ohm, smallest_gas_m3 = c.cells + 1, c.joint_ohm, y.smallest_gas_m3
    cover_of, void_of = sides.cover(c), sides.void(c)

    def look(state: State, inputs: Inputs) -> Seen:
        d = inputs.disturbances
        (
            stack_c, h_c, o_c, lye_h_kg, lye_o_kg, w_h, w_o, _, _, lye_h_m3, lye_o_m3, gas_h, gas_o, _, _,
            gauge_h_pa, gauge_o_pa, bubbles_h_m3, bubbles_o_m3, still_h_mm, still_o_mm,
        ) = contents_of(state)  # fmt: skip
        amps, film_c = state.current_a, state.film_c
        cover = cover_of(min(still_h_mm, still_o_mm), min(state.water_h_kg, state.water_o_kg))
        electrodes = electrodes_of(
            stack_c, 0.5 * (w_h + w_o), cover, void_of(bubbles_h_m3 + bubbles_o_m3),
            state.wear + state.wear_lasting, state.joints_aged_ohm, film_c, d, 0.0,
        )  # fmt: skip
        stack = stack_of(amps, film_c, electrodes)
        joint_v = amps * (joint_ohm + state.joints_aged_ohm / joints)
        cell_v = [v + joint_v for v in stack.cell_v]
        cell_v[-1] += joint_v
        for joint, extra_ohm in enumerate(d.joint_extra_ohm):
            cell_v[min(joint, joints - 2)] += amps * extra_ohm
        high_h_m3, high_o_m3 = lye_h_m3 + bubbles_h_m3, lye_o_m3 + bubbles_o_m3
        dry_h = max(gas_h - state.vapour_h_mol, LEAST_MOL)
        dry_o = max(gas_o - state.vapour_o_mol, LEAST_MOL)
        return Seen(
            current_a=amps,
            ripple_a=ripple * abs(amps),
            stack_voltage_v=stack.volts,
            cell_v=tuple(cell_v),
            cell_temperature_c=stack_c,
            reservoir_h_c=h_c,
            reservoir_o_c=o_c,
            coolant_inlet_c=inputs.coolant_inlet_c + d.coolant_warmer_k,
            coolant_outlet_c=state.coolant_outlet_c,
            coolant_flow_l_min=state.coolant_l_min,
            level_h_mm=level_h(high_h_m3),
            level_o_mm=level_o(high_o_m3),
            liquid_in_gas_line=1.0 if high_h_m3 > outlet_h_m3 or high_o_m3 > outlet_o_m3 else 0.0,
            pressure_h_mbar=0.01 * gauge_h_pa,
            pressure_o_mbar=0.01 * gauge_o_pa,
            seal_h_mm=seal_h_mm * d.seal_h,
            seal_o_mm=seal_o_mm * d.seal_o,
            h2_in_o2_percent=100.0 * state.h2_o_mol / dry_o,
            o2_in_h2_percent=100.0 * (state.o2_h_mol + AIR_OXYGEN_FRACTION * state.air_h_mol) / dry_h,
            hydrogen_fraction=state.h2_h_mol / dry_h,
            gas_h_l=1000.0 * max(lid_h_m3 - lye_h_m3, smallest_gas_m3),
            room_h2_percent=100.0 * state.room_h2,
            air_flow_m3_h=fan_m3_h * state.fan,
            tray_mm=1000.0 * state.floor_m3 / tray_m2,
            floor_l=1000.0 * state.floor_m3,
            mass_fraction=(state.hydroxide_h_kg + state.hydroxide_o_kg) / (lye_h_kg + lye_o_kg),
            ambient_c=inputs.ambient_c + d.ambient_warmer_k,
        )

    return look
