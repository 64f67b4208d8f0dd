"""What the cell is worth: efficiencies with their basis said, energy a kilogram, and where the rest goes.

Voltage efficiency (how much of each volt ends in the gas) and Faraday efficiency (how much of each ampere does) are
kept apart: they go wrong for different reasons. An efficiency without its heating value is meaningless; for a cell fed
with liquid water the higher one is the consistent basis.
"""

from __future__ import annotations

from enum import Enum

from .constants import ELECTRONS_PER_HYDROGEN, FARADAY_C_MOL, HHV_J_MOL, HYDROGEN_G_MOL, LHV_J_MOL, NORMAL_C
from .elementwise import elementwise
from .errors import within
from .faraday import gas_litres, hydrogen_mol
from .thermodynamics import thermoneutral_voltage_v

CELL_V = (0.1, 100.0)
SHARE = (0.0, 1.05)  # a measured share a little over one is the meter's error, and shown as such
J_PER_KWH = 3.6e6


class HeatingValue(Enum):
    """Energy of hydrogen burnt at 25 C, J/mol: water leaves as liquid (HHV) or as steam (LHV)."""

    HHV = HHV_J_MOL
    LHV = LHV_J_MOL


@elementwise
def voltage_efficiency(cell_voltage_v: float, basis: HeatingValue = HeatingValue.HHV) -> float:
    """Share of the electrical energy that is in the hydrogen if every electron makes its part: H/(2F V).

    cell_voltage_v: per cell, 0.1 to 100 V. basis: heating value. Over 1 below 1.481 V (HHV): such a cell draws heat.
    Source: definition; heating values from CODATA Key Values 1989.
    """
    within("cell_voltage_v", cell_voltage_v, *CELL_V, "V")
    return basis.value / (ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL * cell_voltage_v)


@elementwise
def faraday_efficiency(hydrogen_measured_mol: float, charge_c: float, cells: float = 1) -> float:
    """Hydrogen collected as a share of what the charge could make.

    hydrogen_measured_mol: without its vapour (faraday.gas_mol), 0 and up. charge_c: above 0 C. cells: in series.
    Source: definition.
    """
    within("hydrogen_measured_mol", hydrogen_measured_mol, 0.0, 1e9, "mol")
    within("charge_c", charge_c, 1e-9, 1e15, "C")
    return hydrogen_measured_mol / hydrogen_mol(charge_c, cells)


@elementwise
def energy_efficiency(
    cell_voltage_v: float, faraday_share: float = 1.0, basis: HeatingValue = HeatingValue.HHV
) -> float:
    """Energy in the hydrogen as a share of the electrical energy at the cell: voltage times Faraday efficiency.

    cell_voltage_v: 0.1 to 100 V. faraday_share: 0 to 1.05. Without supply, pumps and fan. Source: definition.
    """
    within("faraday_share", faraday_share, *SHARE, "(share)")
    return faraday_share * voltage_efficiency(cell_voltage_v, basis)


@elementwise
def energy_kwh_kg(cell_voltage_v: float, faraday_share: float = 1.0) -> float:
    """Electrical energy at the cell for a kilogram of hydrogen, kWh/kg: 26.59 for each volt.

    cell_voltage_v: 0.1 to 100 V. faraday_share: above 0 to 1.05. Source: 2F V/M.
    """
    within("cell_voltage_v", cell_voltage_v, *CELL_V, "V")
    within("faraday_share", faraday_share, 1e-3, SHARE[1], "(share)")
    j_per_g = ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL * cell_voltage_v / HYDROGEN_G_MOL
    return 1000.0 * j_per_g / J_PER_KWH / faraday_share


@elementwise
def energy_kwh_nm3(cell_voltage_v: float, faraday_share: float = 1.0) -> float:
    """Electrical energy at the cell for a cubic metre of hydrogen at 0 C, 101.325 kPa, dry, kWh: 2.39 for each volt.

    Arguments as energy_kwh_kg. Source: 2F V/V_m.
    """
    within("cell_voltage_v", cell_voltage_v, *CELL_V, "V")
    within("faraday_share", faraday_share, 1e-3, SHARE[1], "(share)")
    j_per_litre = ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL * cell_voltage_v / gas_litres(1.0, NORMAL_C)
    return 1000.0 * j_per_litre / J_PER_KWH / faraday_share


@elementwise
def heat_w(current_a: float, cell_voltage_v: float, temperature_c: float, cells: float = 1) -> float:
    """Heat released in the stack at steady temperature, W: cells I (V - V_tn). Negative: the cells cool.

    current_a: 0 A and up. cell_voltage_v: per cell. temperature_c: of the cell, 0 to 120 C. Feed and vapour are extra.
    Source: LeRoy, J. Electrochem. Soc. 127 (1980) 1954.
    """
    within("current_a", current_a, 0.0, 1e6, "A")
    return cells * current_a * (cell_voltage_v - thermoneutral_voltage_v(temperature_c))
