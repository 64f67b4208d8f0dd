"""Everything the plant remembers from one step to the next, and the running totals that must close.

Heat is kept as enthalpy above 0 C and gas as moles, so that each balance is a plain sum of these numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
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
    cable_k: float  # copper of the power cable, above the room
    joint_k: float  # the worst bolted joint, above the cable
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


Stepped = Callable[[State, tuple[float, ...], float, tuple[float, ...]], State]


def stepper(cells: int) -> Stepped:
    """The function `state + dt_s x (rates, film currents)`, written out field by field.

    Made from State's fields, as NamedTuple makes its own constructor, so it cannot fall out of step with them; a loop
    over them costs a microsecond more, a fifteenth of the whole step.
    """
    fields = State._fields[:-1]
    films = [f"film_{n}" for n in range(cells)]

    def unpacked(names: Iterable[str]) -> str:
        return ", ".join(names) + ","

    source = "\n".join(
        (
            "def stepped(state, rates, dt_s, film_a):",
            f"    {unpacked(fields)} film_c = state",
            f"    {unpacked(f'd_{name}' for name in fields)} = rates",
            f"    {unpacked(films)} = film_c",
            f"    {unpacked(f'd_{name}' for name in films)} = film_a",
            f"    film_c = ({unpacked(f'{name} + dt_s * d_{name}' for name in films)})",
            f"    return new(State, ({unpacked(f'{name} + dt_s * d_{name}' for name in fields)} film_c))",
        )
    )
    made: dict[str, Any] = {"new": tuple.__new__, "State": State}
    exec(source, made)
    stepped: Stepped = made["stepped"]
    return stepped
