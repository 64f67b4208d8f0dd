"""Whether nothing came from nowhere: what two states hold, against what the running totals say passed between them."""

from __future__ import annotations

from typing import NamedTuple

from .gases import H2_MOL_C, O2_MOL_C
from .parameters import Parameters
from .properties import lye_fits
from .rates import WATER_KG_MOL
from .state import State


class Balances(NamedTuple):
    """Difference between what is held more and what came in, over all that passed (0 if nothing did)."""

    charge: float
    hydrogen: float
    oxygen: float
    air: float
    water: float
    hydroxide: float
    energy: float

    @property
    def worst(self) -> float:
        return max(abs(error) for error in self)


def _closes(before: float, after: float, came: list[float], went: list[float], beside: float = 0.0) -> float:
    """beside: what else is there, for a trace (air left in a purged side) that must not be its own measure."""
    error = after - before - sum(came) + sum(went)
    passed = max(abs(number) for number in (before, after, beside, *came, *went))
    return error / passed if passed > 0.0 else 0.0


def balances(parameters: Parameters, before: State, after: State) -> Balances:
    """Every balance between two states of one run."""
    latent_j_mol = lye_fits(parameters.hydraulics.lye).latent_j_kg * WATER_KG_MOL
    film_j_c2 = 0.5 * parameters.cell.film_full_v / parameters.cell.film_full_c
    passed = State._make((*(b - a for a, b in zip(before[:-1], after[:-1], strict=True)), after.film_c))

    def energy(s: State) -> float:
        return (
            s.stack_j + s.reservoir_h_j + s.reservoir_o_j + parameters.heat.coil_j_k * s.coolant_outlet_c
            + latent_j_mol * (s.vapour_h_mol + s.vapour_o_mol) + film_j_c2 * sum(q * q for q in s.film_c)
        )  # fmt: skip

    def water(s: State) -> float:
        return s.water_h_kg + s.water_o_kg + WATER_KG_MOL * (s.vapour_h_mol + s.vapour_o_mol)

    return Balances(
        charge=_closes(
            sum(before.film_c), sum(after.film_c),
            [parameters.cell.cells * passed.charge_c], [passed.gas_charge_c, passed.past_c],
        ),
        hydrogen=_closes(
            before.h2_h_mol + before.h2_o_mol, after.h2_h_mol + after.h2_o_mol,
            [passed.made_c * H2_MOL_C], [passed.h2_vented_mol, passed.h2_collected_mol, passed.h2_leaked_mol],
        ),
        oxygen=_closes(
            before.o2_h_mol + before.o2_o_mol, after.o2_h_mol + after.o2_o_mol,
            [passed.made_c * O2_MOL_C], [passed.o2_out_mol],
        ),
        air=_closes(
            before.air_h_mol + before.air_o_mol, after.air_h_mol + after.air_o_mol, [passed.air_in_mol], [],
            beside=before.h2_h_mol + before.o2_o_mol,
        ),
        water=_closes(
            water(before), water(after), [passed.water_added_kg],
            [passed.made_c * H2_MOL_C * WATER_KG_MOL, passed.vapour_lost_kg, passed.water_lost_kg],
        ),
        hydroxide=_closes(
            before.hydroxide_h_kg + before.hydroxide_o_kg, after.hydroxide_h_kg + after.hydroxide_o_kg,
            [], [passed.hydroxide_lost_kg],
        ),
        energy=_closes(
            energy(before), energy(after), [passed.electrical_j],
            [passed.reaction_j, passed.lost_j, passed.coolant_j, passed.latent_j, passed.carried_j],
        ),
    )  # fmt: skip
