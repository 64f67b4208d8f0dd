"""Gas: made at the electrodes, through the separator's lye, out of each side."""

from __future__ import annotations

from collections.abc import Callable

from controller.chemistry.constants import ELECTRONS_PER_HYDROGEN, ELECTRONS_PER_OXYGEN, FARADAY_C_MOL

from . import sides
from .parameters import Parameters, SideParameters
from .trouble import scarce

H2_MOL_C = 1.0 / (ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL)
O2_MOL_C = 1.0 / (ELECTRONS_PER_OXYGEN * FARADAY_C_MOL)

# ampere that make gas, whichever way round; mol/s: hydrogen made, bubbles on each side, hydrogen and oxygen that reach
# the hydrogen side and those that reach the oxygen side
Made = tuple[float, float, float, float, float, float, float, float]
MakesOf = Callable[[float, float, float, float, float, float, float, float, float, float], Made]
# mol/s: how fast hydrogen, oxygen, air and vapour of a side grow; what leaves by its outlet, what past a torn hose
Leaves = tuple[float, float, float, float, float, float]
LeavesOf = Callable[
    [float, float, float, float, float, float, float, float, float, float, float, float, float, float, float], Leaves
]


def making(parameters: Parameters) -> MakesOf:
    """What the electrodes make and where it goes, what crosses the separator included."""
    y = parameters.hydraulics
    h2_mol_c, o2_mol_c = H2_MOL_C, O2_MOL_C
    diffusion_mol_s = y.crossover_mol_s_bar * parameters.atmosphere_pa * 1e-5
    oxygen_share, half_a, crossover_still = y.crossover_oxygen_share, y.crossover_half_a, y.crossover_still

    def makes(
        gas_a: float, torn: float, crossover: float, h2_h: float, o2_h: float, h2_o: float, o2_o: float,
        gas_h: float, gas_o: float, ahead_s: float,
    ) -> Made:  # fmt: skip
        """h2_h and so on: mol held; gas_h, gas_o: of all gas of a side."""
        made_a = gas_a if gas_a >= 0.0 else -gas_a
        h2_made = made_a * h2_mol_c
        o2_made = made_a * o2_mol_c
        h2_to_h, o2_to_o, h2_to_o, o2_to_h = h2_made, o2_made, 0.0, 0.0
        if torn > 0.0:  # fully torn, either side gets half of each gas
            h2_to_o, o2_to_h = 0.5 * torn * h2_made, 0.5 * torn * o2_made
            h2_to_h, o2_to_o = h2_made - h2_to_o, o2_made - o2_to_h
        if gas_a < 0.0:  # reversed: the gases change sides
            h2_to_h, h2_to_o, o2_to_h, o2_to_o = h2_to_o, h2_to_h, o2_to_o, o2_to_h

        # through the separator, from the lye beside it, which is full of gas under load
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
        return (
            made_a, h2_made, h2_to_h + o2_to_h, h2_to_o + o2_to_o,
            h2_to_h - h2_cross, o2_to_h + o2_cross, h2_to_o + h2_cross, o2_to_o - o2_cross,
        )  # fmt: skip

    return makes


def leaving(parameters: Parameters, side: SideParameters) -> LeavesOf:
    """Gas out of one side: it has the composition at the end of the step, so that none can go negative."""
    outflow, bore_mol_s_pa = sides.outflow, side.outlet_mol_s_pa
    depth_pa, most_lift_pa = side.seal_mm * sides.WATER_PA_MM, side.seal_lift_mm * sides.WATER_PA_MM
    burst_pa, burst_mol_s_pa = parameters.hydraulics.burst_pa, parameters.hydraulics.burst_mol_s_pa

    def leaves(
        h2: float, o2: float, air: float, vapour: float, gas: float,
        h2_in: float, o2_in: float, air_in: float, vapour_in: float,
        gauge_pa: float, pa_mol: float, bore: float, seal: float, behind_pa: float, ahead_s: float,
    ) -> Leaves:  # fmt: skip
        """mol held; mol/s that come from within; shares of the outlet's bore and of the seal's depth that are left."""
        come = h2_in + o2_in + vapour_in + air_in
        out, back, burst = outflow(
            gauge_pa, come * pa_mol, pa_mol, bore_mol_s_pa * bore, depth_pa * seal + behind_pa, most_lift_pa * seal,
            burst_pa, burst_mol_s_pa, ahead_s,
        )  # fmt: skip
        leave = (out + burst) / (gas + come * ahead_s)
        stay = 1.0 - leave * ahead_s
        return (
            stay * h2_in - leave * h2, stay * o2_in - leave * o2, back + stay * air_in - leave * air,
            stay * vapour_in - leave * vapour, out, burst,
        )  # fmt: skip

    return leaves
