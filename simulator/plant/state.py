"""Everything the plant remembers from one step to the next, and the running totals that must close.

Heat is kept as enthalpy above 0 C and gas as moles, so that each balance is a plain sum of these numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple


class State(NamedTuple):
    # electrical
    current_a: float  # positive makes hydrogen at the cathode
    supply_ready_s: float  # since the supply was switched on, counted up to its start lag
    wear: float  # log of cathode activity lost but recoverable
    wear_lasting: float  # and lost for good
    joints_aged_ohm: float
    # heat
    stack_j: float
    reservoir_h_j: float
    reservoir_o_j: float
    coolant_outlet_c: float
    coolant_l_min: float  # as the meter sees it
    # lye
    water_h_kg: float
    water_o_kg: float
    hydroxide_h_kg: float
    hydroxide_o_kg: float
    # gas of each side, bubbles included
    h2_h_mol: float
    o2_h_mol: float
    air_h_mol: float
    vapour_h_mol: float
    h2_o_mol: float
    o2_o_mol: float
    air_o_mol: float
    vapour_o_mol: float
    bubbles_h_mol: float  # of that gas, what is still under way in the lye
    bubbles_o_mol: float
    # surroundings
    room_h2: float  # mole fraction
    fan: float  # share of full speed
    floor_m3: float
    # running totals
    charge_c: float  # through the leads
    gas_charge_c: float  # that made gas, all cells together, signed
    past_c: float  # that did neither: self-discharge of the films, bridges; all cells together
    reverse_c: float  # through the leads the wrong way, positive
    electrical_j: float
    reaction_j: float  # carried away as enthalpy of hydrogen and oxygen
    lost_j: float  # to the room
    coolant_j: float
    latent_j: float  # in vapour that left
    carried_j: float  # in liquid that left, less what came
    water_added_kg: float
    vapour_lost_kg: float
    water_lost_kg: float  # in lye that left
    hydroxide_lost_kg: float
    made_c: float  # that made gas, whichever way round: 2 F for a mole of hydrogen
    h2_vented_mol: float
    h2_collected_mol: float
    h2_leaked_mol: float
    o2_out_mol: float
    air_in_mol: float  # less what went out
    # one number a cell
    film_c: tuple[float, ...]


NUMBERS = len(State._fields) - 1  # all but the films


def _unrolled() -> Callable[[State, tuple[float, ...], float, tuple[float, ...]], State]:
    """Write `state + dt_s x rates` out field by field, as NamedTuple writes its own constructor.

    Made from State's fields, so it cannot fall out of step with them; a loop over them costs a microsecond more, a
    fifteenth of the whole step.
    """
    fields = State._fields[:-1]
    source = "\n".join(
        (
            "def stepped(state, rates, dt_s, film_c):",
            f"    {', '.join(fields)}, _ = state",
            f"    {', '.join(f'd_{name}' for name in fields)} = rates",
            f"    return new(State, ({', '.join(f'{name} + dt_s * d_{name}' for name in fields)}, film_c))",
        )
    )
    made: dict[str, Any] = {"new": tuple.__new__, "State": State}
    exec(source, made)
    stepped: Callable[[State, tuple[float, ...], float, tuple[float, ...]], State] = made["stepped"]
    return stepped


stepped = _unrolled()
