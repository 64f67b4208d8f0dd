"""What an instrument in the right place would read, exactly and at once: its lag, noise and faults come later."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Final, NamedTuple

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
    cable_k: float  # copper of the power cable above the room
    terminal_c: float  # the worst bolted joint


LEAST_MOL = 1e-15  # of dry gas in a room full of steam
LOOKED_AT: Final = 29  # nothing that an instrument sees comes after
assert State._fields[LOOKED_AT - 1] == "joint_k"
Observer = Callable[[State, Inputs], Seen]


def observe(parameters: Parameters, state: State, inputs: Inputs) -> Seen:
    """Everything that can be measured now."""
    return observer(parameters)(state, inputs)


@lru_cache(maxsize=64)
def observer(parameters: Parameters) -> Observer:
    """`observe` with the parameters bound, for whoever looks at every step."""
    plant = model(parameters)
    stack_of, moment_of = plant.stack, plant.moment
    c, y = parameters.cell, parameters.hydraulics
    level_h, level_o = sides.level(y.hydrogen, c), sides.level(y.oxygen, c)
    outlet_h_m3, outlet_o_m3 = sides.vessel(y.hydrogen, y).outlet_m3, sides.vessel(y.oxygen, y).outlet_m3
    lid_h_m3 = sides.vessel(y.hydrogen, y).lid_m3
    fan_m3_h, ripple = parameters.room.ventilation_m3_h, parameters.supply.ripple_fraction
    seal_h_mm, seal_o_mm, tray_m2 = y.hydrogen.seal_mm, y.oxygen.seal_mm, y.tray_m2
    joints, joint_ohm, smallest_gas_m3 = c.cells + 1, c.joint_ohm, y.smallest_gas_m3
    new, kind = tuple.__new__, Seen  # a NamedTuple's own constructor costs as much as all that goes into it

    def look(state: State, inputs: Inputs) -> Seen:
        _, _, _, _, _, _, _, _, _, _, ambient_c, coolant_inlet_c, d = inputs
        ambient_c += d.ambient_warmer_k
        (
            amps, _, _, _, aged_ohm, _, _, _, coil_c, coolant_l_min, _, _, hydroxide_h, hydroxide_o,
            h2_h, o2_h, air_h, vapour_h, h2_o, _, _, vapour_o, _, _, room_h2, fan, floor_m3,
            cable_k, joint_k,
        ) = state[:LOOKED_AT]  # fmt: skip
        held, _, _, electrodes = moment_of(state, d)
        (
            stack_c, h_c, o_c, lye_h_kg, lye_o_kg, _, _, _, _, lye_h_m3, lye_o_m3, gas_h, gas_o, _, _,
            gauge_h_pa, gauge_o_pa, bubbles_h_m3, bubbles_o_m3, _, _,
        ) = held  # fmt: skip
        stack_v, _, _, _, _, each_v = stack_of(amps, state[-1], electrodes, 0.0)
        joint_v = amps * (joint_ohm + aged_ohm / joints)
        cell_v = [v + joint_v for v in each_v]
        cell_v[-1] += joint_v
        for joint, extra_ohm in enumerate(d.joint_extra_ohm):
            cell_v[min(joint, joints - 2)] += amps * extra_ohm
        high_h_m3, high_o_m3 = lye_h_m3 + bubbles_h_m3, lye_o_m3 + bubbles_o_m3
        dry_h, dry_o, room_m3 = gas_h - vapour_h, gas_o - vapour_o, lid_h_m3 - lye_h_m3
        if dry_h < LEAST_MOL:
            dry_h = LEAST_MOL
        if dry_o < LEAST_MOL:
            dry_o = LEAST_MOL
        if room_m3 < smallest_gas_m3:
            room_m3 = smallest_gas_m3
        found: Seen = new(
            kind,
            (
                amps,
                ripple * (amps if amps >= 0.0 else -amps),
                stack_v,
                tuple(cell_v),
                stack_c,
                h_c,
                o_c,
                coolant_inlet_c + d.coolant_warmer_k,
                coil_c,
                coolant_l_min,
                level_h(high_h_m3),
                level_o(high_o_m3),
                1.0 if high_h_m3 > outlet_h_m3 or high_o_m3 > outlet_o_m3 else 0.0,
                0.01 * gauge_h_pa,
                0.01 * gauge_o_pa,
                seal_h_mm * d.seal_h,
                seal_o_mm * d.seal_o,
                100.0 * h2_o / dry_o,
                100.0 * (o2_h + AIR_OXYGEN_FRACTION * air_h) / dry_h,
                h2_h / dry_h,
                1000.0 * room_m3,
                100.0 * room_h2,
                fan_m3_h * fan,
                1000.0 * floor_m3 / tray_m2,
                1000.0 * floor_m3,
                (hydroxide_h + hydroxide_o) / (lye_h_kg + lye_o_kg),
                ambient_c,
                cable_k,
                ambient_c + cable_k + joint_k,
            ),
        )
        return found

    return look
