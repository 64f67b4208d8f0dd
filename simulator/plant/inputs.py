"""What acts on the plant from outside: the controller's outputs, the weather, and what has gone wrong.

`Disturbances` is neutral by default. A fault is one or more of its fields moved off neutral; nothing in the plant asks
which fault it is, so that faults can be combined and every consequence has to follow from the physics.
"""

from __future__ import annotations

from typing import NamedTuple


class Disturbances(NamedTuple):
    # coolant
    coolant_supply: float = 1.0  # share of the flow the mains water gives: lost 0, throttled or kinked below 1
    coolant_air: float = 0.0  # share of the coil filled with air: 1 is air-locked
    coolant_warmer_k: float = 0.0  # inlet temperature above the stated one; at or below 0 C nothing flows (frozen)
    hose_off: float = 0.0  # share of the metered water that reaches the floor instead of the coil; the meter reads high
    coolant_into_lye_l_min: float = 0.0  # tap water through a holed coil
    # lye
    lye_leak_ml_s: float = 0.0  # from both sides to the floor
    level_offset_mm: float = 0.0  # how much higher the oxygen side stands at rest: tilted rig, unequal seals
    equalising: float = 1.0  # openness of the line between the sides
    froth: float = 1.0  # how many times longer bubbles stay in the lye
    water_into_lye_ml_s: float = 0.0  # a top-up valve that leaks
    top_up_supply: float = 1.0  # share of what the top-up gives: can empty or valve stuck 0
    conductivity: float = 1.0  # of the lye, against the right one: wrong or spent fluid
    # gas
    outlet_h_open: float = 1.0  # share of the outlet line's bore
    outlet_o_open: float = 1.0
    seal_h: float = 1.0  # share of the water seal's depth
    seal_o: float = 1.0
    store_mbar: float = 0.0  # back pressure of whatever collects the hydrogen
    suck_back_ml_s: float = 0.0  # seal water drawn into the hydrogen side
    separator_torn: float = 0.0  # share of each gas that strays to the other side
    crossover: float = 1.0  # times the diffusion through a sound separator
    hydrogen_to_room: float = 0.0  # share of the outgoing hydrogen that leaks into the room
    # room
    ventilation: float = 1.0  # share of the fan's air
    ambient_warmer_k: float = 0.0
    # stack
    cathode_activity: float = 1.0  # share of the hydrogen exchange current left
    wear_rate: float = 1.0
    joint_extra_ohm: tuple[float, ...] = ()  # one a joint, from the negative end; missing ones are 0
    odd_cell: int = 0  # the cell, from 0, that the next two mean
    cell_dry: float = 0.0  # share of its electrodes out of the lye
    cell_short: float = 0.0  # share of its current that goes through a bridge between the plates
    # supply
    supply_forced_a: float | None = None  # current setting it uses whatever it is told: ignoring, or running away
    supply_forced_v: float | None = None  # the same for its voltage setting
    supply_cut_out: bool = False  # its own thermal cut-out is open
    supply_reversed: bool = False  # leads swapped
    mains_lost: bool = False
    path_past_contactors_s: float = 0.0  # conductance, siemens, left across open contactors


NEUTRAL = Disturbances()


class Inputs(NamedTuple):
    main_closed: bool = False
    second_closed: bool = False  # power flows only with both
    supply_on: bool = True
    setpoint_a: float = 30.0  # or where the knob stands
    setpoint_v: float = 7.5
    coolant_open: bool = False
    ventilation_on: bool = True
    collecting: bool = False  # hydrogen goes to the store; without it, to the vent
    top_up_on: bool = False
    mains: bool = True  # feeds supply, coolant valve, top-up pump and fan
    ambient_c: float = 20.0
    coolant_inlet_c: float = 15.0
    disturbances: Disturbances = NEUTRAL


OFF = Inputs()
RUN30 = Inputs(main_closed=True, second_closed=True, coolant_open=True)
