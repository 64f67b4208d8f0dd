"""What the gas itself can do: cross over, stay mixed with air, be drawn back, burn.

Fractions are by volume, 0 to 1; 1 % by volume of hydrogen is 25 % of the lower flammable limit (LFL).
"""

from __future__ import annotations

import numpy as np

from .constants import (
    AIR_OXYGEN_FRACTION,
    ATMOSPHERE_KPA,
    ELECTRONS_PER_OXYGEN,
    FARADAY_C_MOL,
    LFL_FRACTION,
    LHV_J_MOL,
    ROOM_C,
)
from .elementwise import elementwise
from .errors import within
from .faraday import charge_c, gas_litres, gas_mol
from .thermodynamics import water_vapour_pressure_kpa

FRACTION = "(share by volume)"
CROSSOVER_MOL_S_M2 = (1e-12, 1.0)
CURRENT_DENSITY_A_M2 = (0.0, 1e6)
FIT_VOLUMES = 5.0  # leaves 0.7 % of the air: common practice for a well mixed space


@elementwise
def lfl_percent(hydrogen_fraction: float) -> float:
    """Hydrogen in air or oxygen as percent of its lower flammable limit, 4 % by volume.

    hydrogen_fraction: 0 to 1. Source: IEC 60079-20-1:2010; the same limit is used in oxygen (NASA NSS 1740.16).
    """
    within("hydrogen_fraction", hydrogen_fraction, 0.0, 1.0, FRACTION)
    return 100.0 * hydrogen_fraction / LFL_FRACTION


@elementwise
def hydrogen_in_oxygen(current_density_a_m2: float, crossover_mol_s_m2: float) -> float:
    """Share of hydrogen in the oxygen leaving the cell, 0 to 1, dry: N/(N + j/4F).

    current_density_a_m2: 0 A/m2 and up (90 cm2 at 9 A: 1000). crossover_mol_s_m2: hydrogen that gets through the
    separator or with the lye, taken as independent of current. At no current all of it is hydrogen: that is why a
    minimum current exists.
    Source: mole balance; Trinke et al., J. Electrochem. Soc. 165 (2018) F502, found most of it in mixed lye.
    """
    within("current_density_a_m2", current_density_a_m2, *CURRENT_DENSITY_A_M2, "A/m2")
    within("crossover_mol_s_m2", crossover_mol_s_m2, *CROSSOVER_MOL_S_M2, "mol/(s m2)")
    oxygen = current_density_a_m2 / (ELECTRONS_PER_OXYGEN * FARADAY_C_MOL)
    return crossover_mol_s_m2 / (crossover_mol_s_m2 + oxygen)


@elementwise
def current_density_a_m2(hydrogen_fraction: float, crossover_mol_s_m2: float) -> float:
    """Current density at which the oxygen carries that share of hydrogen, A/m2: below it, more. Inverse of the above.

    hydrogen_fraction: above 0 to 1 (0.01 alarm, 0.02 trip). crossover_mol_s_m2: as hydrogen_in_oxygen.
    Source: mole balance.
    """
    within("hydrogen_fraction", hydrogen_fraction, 1e-9, 1.0, FRACTION)
    within("crossover_mol_s_m2", crossover_mol_s_m2, *CROSSOVER_MOL_S_M2, "mol/(s m2)")
    return ELECTRONS_PER_OXYGEN * FARADAY_C_MOL * crossover_mol_s_m2 * (1.0 - hydrogen_fraction) / hydrogen_fraction


@elementwise
def crossover_mol_s_m2(hydrogen_fraction: float, current_density_a_m2: float) -> float:
    """Crossover that explains one measured share of hydrogen in oxygen at one current density, mol/(s m2).

    hydrogen_fraction: above 0 to under 1. current_density_a_m2: above 0 A/m2. Source: mole balance.
    """
    within("hydrogen_fraction", hydrogen_fraction, 1e-9, 0.999, FRACTION)
    within("current_density_a_m2", current_density_a_m2, 1e-6, CURRENT_DENSITY_A_M2[1], "A/m2")
    oxygen = current_density_a_m2 / (ELECTRONS_PER_OXYGEN * FARADAY_C_MOL)
    return oxygen * hydrogen_fraction / (1.0 - hydrogen_fraction)


@elementwise
def oxygen_left(volume_changes: float, start_fraction: float = AIR_OXYGEN_FRACTION) -> float:
    """Share of oxygen left in a well mixed space after some changes of its volume by pure other gas, 0 to 1.

    volume_changes: 0 and up. start_fraction: 0 to 1, air unless given. A dead-end pocket is not well mixed and keeps
    its air. Source: exponential dilution of a stirred vessel.
    """
    within("volume_changes", volume_changes, 0.0, 1e3, "volumes")
    within("start_fraction", start_fraction, 0.0, 1.0, FRACTION)
    left: float = start_fraction * np.exp(-volume_changes)
    return left


@elementwise
def volume_changes(end_fraction: float, start_fraction: float = AIR_OXYGEN_FRACTION) -> float:
    """Volume changes that bring a well mixed space from one share of oxygen to another; inverse of oxygen_left.

    end_fraction: above 0 to start_fraction. Source: exponential dilution of a stirred vessel.
    """
    within("start_fraction", start_fraction, 1e-9, 1.0, FRACTION)
    within("end_fraction / start_fraction", end_fraction / start_fraction, 1e-12, 1.0, "(share)")
    changes: float = np.log(start_fraction / end_fraction)
    return changes


@elementwise
def time_until_fit_min(headspace_l: float, gas_l_min: float, volumes: float = FIT_VOLUMES) -> float:
    """Minutes of venting until the gas of one side is fit to collect.

    headspace_l: of that side with its line and bubbler, 0 L and up. gas_l_min: that side's gas, above 0 L/min.
    volumes: to be replaced, 0 to 100. Source: common practice, five volumes.
    """
    within("headspace_l", headspace_l, 0.0, 1e6, "L")
    within("gas_l_min", gas_l_min, 1e-9, 1e6, "L/min")
    within("volumes", volumes, 0.0, 100.0, "volumes")
    return volumes * headspace_l / gas_l_min


@elementwise
def charge_until_fit_c(
    headspace_l: float,
    volumes: float = FIT_VOLUMES,
    temperature_c: float = ROOM_C,
    pressure_kpa: float = ATMOSPHERE_KPA,
    cells: float = 1,
) -> float:
    """Charge that makes the hydrogen to replace a headspace some times over, C; the oxygen side needs twice as much.

    headspace_l: 0 L and up. volumes: 0 to 100. temperature_c, pressure_kpa: of the gas, counted dry, which errs towards
    more venting. cells: feeding that headspace. Source: Faraday's law, ideal gas.
    """
    within("headspace_l", headspace_l, 0.0, 1e6, "L")
    within("volumes", volumes, 0.0, 100.0, "volumes")
    return charge_c(gas_mol(volumes * headspace_l, temperature_c, pressure_kpa), cells)


@elementwise
def suck_back_l(
    gas_l: float,
    warm_c: float,
    cold_c: float,
    water_activity: float = 1.0,
    pressure_kpa: float = ATMOSPHERE_KPA,
) -> float:
    """Air or seal water drawn in when shut-off wet gas cools at constant pressure, L. Negative: it pushes out.

    gas_l: of wet gas, 0 L and up. warm_c, cold_c: 0 to 120 C, below boiling. water_activity: of the lye it stands over.
    The vapour that condenses shrinks it more than the cold does. Source: ideal gas, Dalton's law.
    """
    within("gas_l", gas_l, 0.0, 1e6, "L")
    within("water_activity", water_activity, 1e-3, 1.0, "(share of pure water's)")
    warm = gas_mol(gas_l, warm_c, pressure_kpa, water_activity * water_vapour_pressure_kpa(warm_c))
    return gas_l - gas_litres(warm, cold_c, pressure_kpa, water_activity * water_vapour_pressure_kpa(cold_c))


@elementwise
def stored_energy_kj(
    gas_l: float,
    hydrogen_fraction: float = 1.0,
    temperature_c: float = ROOM_C,
    pressure_kpa: float = ATMOSPHERE_KPA,
) -> float:
    """Heat released if the hydrogen in a volume of dry gas burns, kJ, steam uncondensed (LHV).

    gas_l: 0 L and up. hydrogen_fraction: 0 to 1; two thirds for the mixed gas of a cell without separator.
    A litre of hydrogen holds about 10 kJ: as much as 1 kg falling a kilometre. Source: CODATA Key Values 1989.
    """
    within("gas_l", gas_l, 0.0, 1e9, "L")
    within("hydrogen_fraction", hydrogen_fraction, 0.0, 1.0, FRACTION)
    return hydrogen_fraction * gas_mol(gas_l, temperature_c, pressure_kpa) * LHV_J_MOL / 1000.0
