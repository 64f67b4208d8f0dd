"""What current does to electrodes, joints and cable in time, and what leaked hydrogen does to the room."""

from __future__ import annotations

from collections.abc import Callable

from controller.chemistry.constants import GAS_J_MOL_K, ZERO_CELSIUS_K

from .parameters import Parameters

# per second: wear that recovers, wear that lasts, ohm of the joints, K of the cable, K of the worst joint
Worn = tuple[float, float, float, float, float]
WearsOf = Callable[[float, float, float, float, float, float, tuple[float, ...], float], Worn]
# per second: mole fraction of hydrogen in the room, share of the fan's speed
RoomOf = Callable[[float, float, float, float, float, float], tuple[float, float]]


def wearing(parameters: Parameters) -> WearsOf:
    wear, cable, c = parameters.wear, parameters.cable, parameters.cell
    rated_a, recoverable, recoverable_s = wear.rated_a, wear.recoverable, wear.recoverable_s
    lasting_s, reverse_c, joint_s = wear.lasting_s, wear.reverse_c, wear.joint_s
    cable_k_a2, cable_s, joint_k_w = cable.rated_k / cable.rated_a**2, cable.lag_s, cable.joint_k_w
    joint_ohm, joints, joint_lag_s = c.joint_ohm, c.cells + 1, cable.joint_k_w * cable.joint_j_k

    def wears(
        amps: float, worn: float, aged_ohm: float, cable_k: float, joint_k: float, wear_rate: float,
        joint_extra_ohm: tuple[float, ...], ahead_s: float,
    ) -> Worn:  # fmt: skip
        """Cable and joints warm the room alone."""
        square_a2 = amps * amps
        worst_ohm = joint_ohm + aged_ohm / joints
        load = (amps if amps >= 0.0 else -amps) / rated_a
        backwards_a = -amps if amps < 0.0 else 0.0
        ages_ohm = 0.0
        if joint_extra_ohm:
            worst_ohm += max(joint_extra_ohm)
            ages_ohm = sum(joint_extra_ohm) * load * load / joint_s
        return (
            wear_rate * (recoverable * (load if load < 1.0 else 1.0) - worn) / recoverable_s,
            wear_rate * (load / lasting_s + backwards_a / reverse_c),
            ages_ohm,
            (cable_k_a2 * square_a2 - cable_k) / (cable_s + ahead_s),
            (joint_k_w * worst_ohm * square_a2 - joint_k) / (joint_lag_s + ahead_s),
        )

    return wears


def airing(parameters: Parameters) -> RoomOf:
    room, atmosphere_pa = parameters.room, parameters.atmosphere_pa
    room_m3, fan_s = room.volume_m3, room.fan_s
    fan_per_s, draught_per_s = (q / 3600.0 / room_m3 for q in (room.ventilation_m3_h, room.draught_m3_h))
    zero_k, gas = ZERO_CELSIUS_K, GAS_J_MOL_K

    def airs(
        room_h2: float, fan: float, fan_wanted: float, h2_leaked: float, ambient_c: float, ahead_s: float
    ) -> tuple[float, float]:
        """h2_leaked: mol/s into the room."""
        room_rate = 0.0
        if h2_leaked > 0.0 or room_h2 > 0.0:
            leaks_per_s = h2_leaked * gas * (ambient_c + zero_k) / (atmosphere_pa * room_m3)
            changes_per_s = leaks_per_s + fan_per_s * fan + draught_per_s
            room_rate = (leaks_per_s - changes_per_s * room_h2) / (1.0 + ahead_s * changes_per_s)
        return room_rate, (fan_wanted - fan) / (fan_s + ahead_s)

    return airs
