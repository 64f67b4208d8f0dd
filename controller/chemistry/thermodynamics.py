"""What splitting water costs at least, in volts, and the properties of the water and steam beside it.

The reversible voltage is the polynomial of LeRoy, Bowen and LeRoy, J. Electrochem. Soc. 127 (1980) 1954, for 1 atm. The
thermoneutral voltage follows from it by Gibbs and Helmholtz, so that the two cannot contradict each other.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .constants import ATMOSPHERE_BAR, ELECTRONS_PER_HYDROGEN, FARADAY_C_MOL, GAS_J_MOL_K, ZERO_CELSIUS_K
from .elementwise import elementwise
from .errors import within

TEMPERATURE_C = (0.0, 120.0)  # where the voltages below were compared with reference equations of state
PRESSURE_BAR = (0.1, 50.0)  # ideal gases, within 0.5 mV
VAPOUR_C = (0.0, 350.0)
KPA_PER_BAR = 100.0

_A, _B, _C, _D = 1.5184, -1.5421e-3, 9.523e-5, 9.84e-8  # V, K; the form: A + B T + C T ln T + D T^2
_SATURATION = (  # IAPWS R7-97(2012), table 34
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def _nernst_v(kelvin: float, quotient: Any) -> float:
    """(RT/2F) ln(quotient), V: what a reaction quotient other than one adds to the reversible voltage."""
    volts: float = GAS_J_MOL_K * kelvin / (ELECTRONS_PER_HYDROGEN * FARADAY_C_MOL) * np.log(quotient)
    return volts


def _one_atmosphere_v(kelvin: float) -> float:
    """LeRoy's polynomial: reversible voltage with dry gases at 1 atm over pure water, V."""
    volts: float = _A + _B * kelvin + _C * kelvin * np.log(kelvin) + _D * kelvin * kelvin
    return volts


@elementwise
def water_vapour_pressure_kpa(temperature_c: float) -> float:
    """Saturation pressure of pure water, kPa.

    temperature_c: 0 to 350 C. Source: IAPWS R7-97(2012), equation 30.

    >>> round(water_vapour_pressure_kpa(60.0), 3)
    19.946
    """
    within("temperature_c", temperature_c, *VAPOUR_C, "C")
    n = _SATURATION
    kelvin = temperature_c + ZERO_CELSIUS_K
    theta = kelvin + n[8] / (kelvin - n[9])
    a = theta * theta + n[0] * theta + n[1]
    b = n[2] * theta * theta + n[3] * theta + n[4]
    c = n[5] * theta * theta + n[6] * theta + n[7]
    pressure_kpa: float = 1000.0 * (2.0 * c / (-b + np.sqrt(b * b - 4.0 * a * c))) ** 4
    return pressure_kpa


@elementwise
def heat_of_vaporisation_j_kg(temperature_c: float) -> float:
    """Heat of vaporisation of pure water, J/kg.

    temperature_c: 0 to 120 C. Source: cubic through IAPWS-IF97 saturation properties, within 0.1 kJ/kg.
    """
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    t = temperature_c
    return 1000.0 * (2500.950 + t * (-2.378261 + t * (6.2702e-4 - t * 1.294935e-5)))


@elementwise
def water_heat_capacity_j_kg_k(temperature_c: float) -> float:
    """Specific heat capacity of pure water at 1 atm or saturation, J/(kg K).

    temperature_c: 0 to 120 C. Source: quartic through IAPWS-IF97, within 4 J/(kg K).
    """
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    x = temperature_c / 100.0
    return 4215.14 + x * (-226.364 + x * (449.620 + x * (-339.846 + x * 117.566)))


@elementwise
def standard_voltage_v(temperature_c: float, pressure_bar: float = 1.0) -> float:
    """Reversible voltage of a cell with dry gases over pure liquid water, V: the figure of the textbooks.

    temperature_c: 0 to 120 C. pressure_bar: of hydrogen and of oxygen, each, 0.1 to 50 bar absolute.
    Source: LeRoy 1980 with the Nernst term (RT/2F) ln p^1.5; within 0.2 mV of the reference equations of state.

    >>> round(standard_voltage_v(25.0), 3)
    1.229
    """
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    within("pressure_bar", pressure_bar, *PRESSURE_BAR, "bar")
    kelvin = temperature_c + ZERO_CELSIUS_K
    return _one_atmosphere_v(kelvin) + _nernst_v(kelvin, (pressure_bar / ATMOSPHERE_BAR) ** 1.5)


@elementwise
def reversible_voltage_v(
    temperature_c: float, pressure_bar: float = ATMOSPHERE_BAR, water_activity: float = 1.0
) -> float:
    """Reversible voltage of a working cell, V: gases saturated with vapour, over water or lye.

    temperature_c: 0 to 120 C, below boiling. pressure_bar: total, absolute, on both sides, 0.1 to 50 bar.
    water_activity: of the lye, above 0 to 1 (see lye.water_activity). E0(1 atm) + (RT/2F) ln[((P - p_w)/P0)^1.5 / a_w]
    with p_w = a_w p*(T): the two corrections nearly cancel in 20 % lye, and either alone is wrong by millivolts.
    Source: LeRoy 1980. Raises OutOfRange from the boiling point upwards, where no gas could leave dry.
    """
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    within("pressure_bar", pressure_bar, *PRESSURE_BAR, "bar")
    within("water_activity", water_activity, 1e-3, 1.0, "(share of pure water's)")
    kelvin = temperature_c + ZERO_CELSIUS_K
    gas_bar = pressure_bar - water_activity * water_vapour_pressure_kpa(temperature_c) / KPA_PER_BAR
    within("gas pressure left beside the vapour", gas_bar, 1e-6, PRESSURE_BAR[1], "bar (the lye boils)")
    return _one_atmosphere_v(kelvin) + _nernst_v(kelvin, (gas_bar / ATMOSPHERE_BAR) ** 1.5 / water_activity)


@elementwise
def thermoneutral_voltage_v(temperature_c: float) -> float:
    """Voltage at which a cell kept at temperature_c, and fed at that temperature, neither warms nor cools, V.

    temperature_c: 0 to 120 C; 1 bar. It falls with temperature (1.481 V at 25 C, 1.472 V at 80 C); with cold feed the
    voltage rises instead, see cold_feed_voltage_v. Use one of them, never both.
    Source: E - T dE/dT of the LeRoy 1980 polynomial; within 0.5 mV of the reference equations of state.
    """
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    kelvin = temperature_c + ZERO_CELSIUS_K
    return _A - _C * kelvin - _D * kelvin * kelvin


@elementwise
def cold_feed_voltage_v(temperature_c: float) -> float:
    """Enthalpy voltage when make-up water enters at 25 C and dry gases leave at temperature_c, V.

    temperature_c: 0 to 120 C. Source: LeRoy 1980, V = 1.4756 + 2.252e-4 t + 1.52e-8 t^2.
    """
    within("temperature_c", temperature_c, *TEMPERATURE_C, "C")
    return 1.4756 + temperature_c * (2.252e-4 + temperature_c * 1.52e-8)
