"""Volts of the stack for a current: reversible voltage, activation of both electrodes, lye, separator, joints, film.

Each electrode follows Butler and Volmer in the form that inverts, eta = (RT / alpha F) asinh(i / 2 i0): Tafel's line at
working current, a straight line through zero. The oxide film of a nickel anode takes part of the current until it is
full, holds volts when the current stops, and gives it back through whatever path is left.
"""

from __future__ import annotations

from collections.abc import Callable
from math import asinh, exp, sqrt
from typing import Final, NamedTuple

from controller.chemistry.constants import FARADAY_C_MOL, GAS_J_MOL_K, ZERO_CELSIUS_K

from .inputs import Disturbances
from .parameters import Parameters
from .properties import lye_fits

SMALLEST_AREA = 1e-12  # of a plate, so that a dry one is a very large resistance and not a division by zero
SMALLEST_S_M = 0.05
FIRST_OF_STACK: Final = 23
AFTER_STACK: Final = 29
assert Disturbances._fields[FIRST_OF_STACK:AFTER_STACK:5] == ("cathode_activity", "cell_short")
BRIDGE_EMPTIES = 500.0  # how many times faster a film empties through a bridge that takes the whole current


class Electrodes(NamedTuple):
    """What the stack is like at one moment; all cells alike but the odd one."""

    reversible_v: float
    hydrogen_v: float  # RT / alpha F of the cathode
    hydrogen_per_a: float  # 1 / (2 i0 A)
    oxygen_v: float
    oxygen_per_a: float
    ohm: float  # lye and separator of one cell
    joints_ohm: float  # all of them
    alike: bool  # no cell is odd, and all films hold the same charge
    odd_cell: int
    odd_area: float
    odd_through: float  # share of the current that goes through the odd cell's electrodes
    stack_ohm: float  # all cells and joints


class Stack(NamedTuple):
    """What a current does to the stack."""

    volts: float  # joints included
    gas_a: float  # summed over the cells, signed
    film_a: tuple[float, ...]  # current into each film
    past_a: float  # summed: what the films lose by themselves, and what goes through a bridge
    film_w: float  # summed: how fast the films take up energy
    cell_v: tuple[float, ...]  # without joints


ElectrodesOf = Callable[[float, float, float, float, float, float, tuple[float, ...], Disturbances], Electrodes]
StackOf = Callable[[float, tuple[float, ...], Electrodes, float], Stack]


def build(parameters: Parameters) -> tuple[ElectrodesOf, StackOf]:
    """The cell's two functions, with its constants bound."""
    p = parameters.cell
    fits = lye_fits(parameters.hydraulics.lye)
    k = fits.conductivity
    k10, k11, k12, k20, k21, k22, k30, k31, k32, k40, k41, k42 = k
    r0, r1, r2, r3, r4, r5 = fits.reversible
    largest_w = fits.largest_w
    cells, area_m2, gap_m, separator_ohm_m2 = p.cells, p.electrode_area_m2, p.gap_m, p.separator_ohm_m2
    reference_k = p.reference_c + ZERO_CELSIUS_K
    hydrogen_v_k = GAS_J_MOL_K / (p.hydrogen_transfer * FARADAY_C_MOL)
    oxygen_v_k = GAS_J_MOL_K / (p.oxygen_transfer * FARADAY_C_MOL)
    hydrogen_arrhenius_k = p.hydrogen_activation_j_mol / GAS_J_MOL_K
    oxygen_arrhenius_k = p.oxygen_activation_j_mol / GAS_J_MOL_K
    hydrogen_2i0_a = 2.0 * p.hydrogen_exchange_a_m2 * area_m2
    oxygen_2i0_a = 2.0 * p.oxygen_exchange_a_m2 * area_m2
    joints_ohm = p.joint_ohm * (cells + 1)
    rest_a, full_c, full_v, leaks_per_s = p.shunt_rest_a, p.film_full_c, p.film_full_v, 1.0 / p.film_leak_s
    volts_per_c = full_v / full_c
    new = tuple.__new__  # a NamedTuple's own constructor costs three times as much

    def electrodes(
        stack_c: float, w: float, cover: float, void: float, worn: float, joints_aged_ohm: float,
        film_c: tuple[float, ...], d: Disturbances,
    ) -> Electrodes:  # fmt: skip
        """w: mass fraction; cover: share of the electrodes under lye; void: of the gap; worn: log of lost activity."""
        if w > largest_w:
            w = largest_w
        kelvin = stack_c + ZERO_CELSIUS_K
        kappa = d.conductivity * w * (
            k10 + stack_c * (k11 + stack_c * k12)
            + w * (k20 + stack_c * (k21 + stack_c * k22)
                   + w * (k30 + stack_c * (k31 + stack_c * k32) + w * (k40 + stack_c * (k41 + stack_c * k42))))
        )  # fmt: skip
        if kappa < SMALLEST_S_M:
            kappa = SMALLEST_S_M
        if cover < SMALLEST_AREA:
            cover = SMALLEST_AREA
        free = 1.0 - void
        ohm = (gap_m / (kappa * free * sqrt(free)) + separator_ohm_m2) / (area_m2 * cover)  # Bruggeman
        below = 1.0 / kelvin - 1.0 / reference_k
        activity, _, joint_extra_ohm, odd_cell, dry, short = d[FIRST_OF_STACK:AFTER_STACK]
        if activity < 1e-6:
            activity = 1e-6
        all_joints_ohm = joints_ohm + joints_aged_ohm + (sum(joint_extra_ohm) if joint_extra_ohm else 0.0)
        area, through = 1.0 - dry, 1.0 - short
        if area < SMALLEST_AREA:
            area = SMALLEST_AREA
        return new(
            Electrodes,
            (
                r0 + stack_c * (r1 + stack_c * r2) + w * (r3 + w * r4 + stack_c * r5),
                hydrogen_v_k * kelvin,
                exp(hydrogen_arrhenius_k * below + worn) / (hydrogen_2i0_a * cover * activity),
                oxygen_v_k * kelvin,
                exp(oxygen_arrhenius_k * below) / (oxygen_2i0_a * cover),
                ohm,
                all_joints_ohm,
                not dry and not short and film_c.count(film_c[0]) == cells,
                odd_cell % cells,
                area,
                through,
                all_joints_ohm + ohm * (cells - 1 + through * through / area),
            ),
        )

    def one(
        current_a: float, film_c: float, e: Electrodes, area: float, through: float, ahead_s: float
    ) -> tuple[float, float, float]:
        """Volts, gas current, film current of one cell.

        The film takes all of a current that opposes its charge, and ever less of one that fills it. It holds the volts
        up while the electrodes would show less (reversed: down).
        """
        reversible_v, hydrogen_v, hydrogen_per_a, oxygen_v, oxygen_per_a, ohm, _, _, _, _, _, _ = e
        inside_a = current_a * through
        if inside_a >= 0.0:
            magnitude_a, charge_c = inside_a, film_c
        else:
            magnitude_a, charge_c = -inside_a, -film_c
        free = 1.0 - charge_c / full_c
        if free > 1.0:
            gas_a = 0.0
        elif free > 0.0:
            gas_a = magnitude_a * (1.0 - free / (1.0 + magnitude_a * ahead_s / full_c))
        else:
            gas_a = magnitude_a
        shown_v = charge_c * volts_per_c
        if gas_a > 0.0:
            made_v = (
                reversible_v * gas_a / (gas_a + rest_a)
                + hydrogen_v * asinh(gas_a * hydrogen_per_a / area)
                + oxygen_v * asinh(gas_a * oxygen_per_a / area)
            )
            if made_v > shown_v:
                shown_v = made_v
        if inside_a >= 0.0:
            return through * (shown_v + inside_a * ohm / area), gas_a, inside_a - gas_a
        return through * (inside_a * ohm / area - shown_v), -gas_a, inside_a + gas_a

    def stack(current_a: float, film_c: tuple[float, ...], e: Electrodes, ahead_s: float) -> Stack:
        volts_joints = current_a * e[6]
        if e[7]:
            first_c = film_c[0]
            cell_v, gas_a, film_a = one(current_a, first_c, e, 1.0, 1.0, ahead_s)
            leak_a = first_c * leaks_per_s / (1.0 + leaks_per_s * ahead_s)
            film_a -= leak_a
            film_w = cells * film_a * (first_c + 0.5 * ahead_s * film_a) * volts_per_c
            return new(
                Stack,
                (
                    cells * cell_v + volts_joints, cells * gas_a, (film_a,) * cells,
                    cells * leak_a, film_w, (cell_v,) * cells,
                ),
            )  # fmt: skip
        volts, gas_a, leak_a, film_w = volts_joints, 0.0, 0.0, 0.0
        films, cell_v_each = [], []
        for i, charge_c in enumerate(film_c):
            area, through = (e[9], e[10]) if i == e[8] else (1.0, 1.0)
            cell_v, one_gas_a, film_a = one(current_a, charge_c, e, area, through, ahead_s)
            per_s = leaks_per_s * (1.0 + BRIDGE_EMPTIES * (1.0 - through))
            one_leak_a = charge_c * per_s / (1.0 + per_s * ahead_s)
            film_a -= one_leak_a
            volts += cell_v
            gas_a += one_gas_a
            leak_a += one_leak_a + current_a * (1.0 - through)
            film_w += film_a * (charge_c + 0.5 * ahead_s * film_a) * volts_per_c
            films.append(film_a)
            cell_v_each.append(cell_v)
        return Stack(volts, gas_a, tuple(films), leak_a, film_w, tuple(cell_v_each))

    return electrodes, stack
