"""Gas and water from charge (Faraday's law), and litres from moles with the conditions said.

All of it at 100 % Faraday efficiency: what the charge could make. The sign follows the charge; a reversed current makes
the other gas on that side, which is not a negative amount of the right one: ask only with charge of one sign.
"""

from __future__ import annotations

from .constants import (
    ATMOSPHERE_KPA,
    ELECTRONS_PER_HYDROGEN,
    ELECTRONS_PER_OXYGEN,
    FARADAY_C_MOL,
    GAS_J_MOL_K,
    HYDROGEN_G_MOL,
    NORMAL_C,
    OXYGEN_G_MOL,
    ROOM_C,
    WATER_G_MOL,
    ZERO_CELSIUS_K,
)
from .elementwise import elementwise
from .errors import within

GAS_C = (-50.0, 300.0)
GAS_KPA = (1.0, 5000.0)


@elementwise
def hydrogen_mol(charge_c: float, cells: float = 1) -> float:
    """Hydrogen made by a charge, mol: cells Q / 2F.

    charge_c: through the stack, C (one ampere-hour is 3600 C). cells: in series, each makes the same.
    Source: Faraday's law.

    >>> round(hydrogen_mol(3600.0) * 1000, 3)
    18.656
    """
    return charge_c * cells / (ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL)


@elementwise
def oxygen_mol(charge_c: float, cells: float = 1) -> float:
    """Oxygen made by a charge, mol: cells Q / 4F, half the hydrogen. As hydrogen_mol. Source: Faraday's law."""
    return charge_c * cells / (ELECTRONS_PER_OXYGEN * FARADAY_C_MOL)


@elementwise
def water_mol(charge_c: float, cells: float = 1) -> float:
    """Water split by a charge, mol, without what leaves as vapour. As hydrogen_mol. Source: Faraday's law."""
    return charge_c * cells / (ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL)


@elementwise
def hydrogen_g(charge_c: float, cells: float = 1) -> float:
    """Hydrogen made by a charge, g. Arguments as hydrogen_mol. Source: Faraday's law, IUPAC atomic weights."""
    return HYDROGEN_G_MOL * hydrogen_mol(charge_c, cells)


@elementwise
def oxygen_g(charge_c: float, cells: float = 1) -> float:
    """Oxygen made by a charge, g. Arguments as hydrogen_mol. Source: Faraday's law, IUPAC atomic weights."""
    return OXYGEN_G_MOL * oxygen_mol(charge_c, cells)


@elementwise
def water_g(charge_c: float, cells: float = 1) -> float:
    """Water split by a charge, g, without what leaves as vapour. As hydrogen_mol. Source: Faraday's law."""
    return WATER_G_MOL * water_mol(charge_c, cells)


@elementwise
def charge_c(hydrogen_mol: float, cells: float = 1) -> float:
    """Charge that makes an amount of hydrogen, C; the inverse of hydrogen_mol. Source: Faraday's law."""
    return hydrogen_mol * ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL / cells


@elementwise
def gas_litres(
    amount_mol: float, temperature_c: float, pressure_kpa: float = ATMOSPHERE_KPA, vapour_pressure_kpa: float = 0.0
) -> float:
    """Volume of an amount of gas, L, at stated conditions, dry or wet.

    amount_mol: of the gas itself, without vapour. temperature_c: -50 to 300 C. pressure_kpa: total, absolute, 1 to
    5000. vapour_pressure_kpa: of the water in it, 0 for dry gas; lye.vapour_pressure_kpa for gas fresh from the cell.
    V = n R T / (P - p_w). Source: ideal gas and Dalton's law; real hydrogen at 0 C and 1 atm takes 0.06 % more.
    """
    within("temperature_c", temperature_c, *GAS_C, "C")
    within("pressure_kpa", pressure_kpa, *GAS_KPA, "kPa")
    within("vapour_pressure_kpa", vapour_pressure_kpa, 0.0, GAS_KPA[1], "kPa")
    dry_kpa = pressure_kpa - vapour_pressure_kpa
    within("pressure left beside the vapour", dry_kpa, 1e-3, GAS_KPA[1], "kPa (the liquid boils)")
    return amount_mol * GAS_J_MOL_K * (temperature_c + ZERO_CELSIUS_K) / dry_kpa


@elementwise
def gas_mol(
    litres: float, temperature_c: float, pressure_kpa: float = ATMOSPHERE_KPA, vapour_pressure_kpa: float = 0.0
) -> float:
    """Amount of gas in a volume, mol, without its vapour; the inverse of gas_litres, with its ranges and source."""
    return litres / gas_litres(1.0, temperature_c, pressure_kpa, vapour_pressure_kpa)


@elementwise
def normal_litres(amount_mol: float) -> float:
    """Volume of an amount of dry gas at 0 C and 101.325 kPa, normal litres. Source: DIN 1343, ideal gas."""
    return gas_litres(amount_mol, NORMAL_C)


@elementwise
def room_litres(amount_mol: float) -> float:
    """Volume of an amount of dry gas at 25 C and 101.325 kPa, L. Source: ideal gas."""
    return gas_litres(amount_mol, ROOM_C)


@elementwise
def evaporated_g(
    charge_c: float, vapour_pressure_kpa: float, pressure_kpa: float = ATMOSPHERE_KPA, cells: float = 1
) -> float:
    """Water that leaves as vapour with both gases, g: 1.5 Q/2F p_w/(P - p_w) M_w.

    charge_c, cells: as hydrogen_mol. vapour_pressure_kpa: over the lye at the temperature at which the gases leave it,
    0 to under pressure_kpa. Source: Dalton's law, gases saturated; an upper bound if a condenser returns some of it.
    """
    within("vapour_pressure_kpa", vapour_pressure_kpa, 0.0, GAS_KPA[1], "kPa")
    dry_kpa = pressure_kpa - vapour_pressure_kpa
    within("pressure left beside the vapour", dry_kpa, 1e-3, GAS_KPA[1], "kPa (the liquid boils)")
    gas = hydrogen_mol(charge_c, cells) + oxygen_mol(charge_c, cells)
    return WATER_G_MOL * gas * vapour_pressure_kpa / dry_kpa
