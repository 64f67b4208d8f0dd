"""Amounts, litres, energies and efficiencies against published constants and other people's libraries."""

from __future__ import annotations

import chemicals
import numpy as np
import pytest
import scipy.constants
from CoolProp.CoolProp import PropsSI
from iapws.iapws97 import _PSat_T

from controller.chemistry import constants, efficiency, faraday, thermodynamics
from controller.chemistry.efficiency import HeatingValue

AMPERE_HOUR_C = 3600.0
HYDROGEN, OXYGEN, WATER = "1333-74-0", "7782-44-7", "7732-18-5"


def test_the_constants_are_those_of_codata() -> None:
    """scipy: CODATA 2022."""
    assert pytest.approx(scipy.constants.physical_constants["Faraday constant"][0], rel=1e-9) == constants.FARADAY_C_MOL
    assert pytest.approx(scipy.constants.R, rel=1e-9) == constants.GAS_J_MOL_K


def test_the_molar_masses_are_the_published_ones() -> None:
    """chemicals: molar masses after IUPAC."""
    for ours, number in (
        (constants.HYDROGEN_G_MOL, HYDROGEN),
        (constants.OXYGEN_G_MOL, OXYGEN),
        (constants.WATER_G_MOL, WATER),
        (constants.CARBON_DIOXIDE_G_MOL, "124-38-9"),
    ):
        assert ours == pytest.approx(chemicals.MW(number), rel=1e-4)


def test_what_enters_as_water_leaves_as_gas() -> None:
    """Conservation of mass."""
    made = faraday.hydrogen_g(AMPERE_HOUR_C, 3) + faraday.oxygen_g(AMPERE_HOUR_C, 3)
    assert made == pytest.approx(faraday.water_g(AMPERE_HOUR_C, 3), rel=1e-6)


def test_an_ampere_hour_makes_the_textbook_amounts() -> None:
    """scipy's Faraday constant, chemicals' molar masses: 18.6557 mmol, 37.608 mg hydrogen; 0.3361 g water."""
    amount = AMPERE_HOUR_C / (2 * scipy.constants.physical_constants["Faraday constant"][0])
    assert faraday.hydrogen_mol(AMPERE_HOUR_C) == pytest.approx(amount, rel=1e-8)
    assert 1000 * faraday.hydrogen_mol(AMPERE_HOUR_C) == pytest.approx(18.6557, abs=1e-4)
    assert 1000 * faraday.hydrogen_g(AMPERE_HOUR_C) == pytest.approx(37.608, rel=1e-4)
    assert faraday.water_g(AMPERE_HOUR_C) == pytest.approx(0.3361, abs=2e-4)


def test_hydrogen_is_two_to_one() -> None:
    """2 H2O -> 2 H2 + O2."""
    assert faraday.hydrogen_mol(5e4, 3) == pytest.approx(2 * faraday.oxygen_mol(5e4, 3), rel=1e-12)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_kpa", "litres"),
    [(0.0, 101.325, 0.4181), (25.0, 101.325, 0.4564), (25.0, 100.0, 0.4625)],
)
def test_litres_of_an_ampere_hour_depend_on_which_litre(
    temperature_c: float, pressure_kpa: float, litres: float
) -> None:
    """Ideal gas, worked with scipy's constants."""
    assert faraday.gas_litres(faraday.hydrogen_mol(AMPERE_HOUR_C), temperature_c, pressure_kpa) == pytest.approx(
        litres, abs=1e-4
    )


def test_normal_and_room_litres_are_those_conditions() -> None:
    """scipy: molar volume of an ideal gas at 273.15 K, 101.325 kPa."""
    molar_m3 = scipy.constants.physical_constants["molar volume of ideal gas (273.15 K, 101.325 kPa)"][0]
    assert faraday.normal_litres(1.0) == pytest.approx(1000 * molar_m3, rel=1e-8)
    assert faraday.room_litres(1.0) == pytest.approx(1000 * molar_m3 * 298.15 / 273.15, rel=1e-8)
    assert faraday.normal_litres(faraday.oxygen_mol(AMPERE_HOUR_C)) == pytest.approx(0.2091, abs=1e-4)


@pytest.mark.parametrize("temperature_c", [0.0, 25.0, 60.0])
def test_real_hydrogen_is_no_further_from_ideal_than_said(temperature_c: float) -> None:
    """CoolProp's equation of state for hydrogen."""
    real = 1000 / PropsSI("DMOLAR", "T", temperature_c + 273.15, "P", 101_325, "Hydrogen")
    assert faraday.gas_litres(1.0, temperature_c) == pytest.approx(real, rel=7e-4)


@pytest.mark.parametrize(("temperature_c", "litres"), [(25.0, 0.4712), (60.0, 0.6350), (80.0, 1.0161)])
def test_wet_gas_takes_more_room(temperature_c: float, litres: float) -> None:
    """Saturated over pure water at 101.325 kPa: iapws for the vapour, ideal gas for the rest."""
    vapour_kpa = 1000 * _PSat_T(temperature_c + 273.15)
    wet = faraday.gas_litres(faraday.hydrogen_mol(AMPERE_HOUR_C), temperature_c, vapour_pressure_kpa=vapour_kpa)
    assert wet == pytest.approx(litres, abs=2e-4)


def test_water_leaves_with_the_gas_as_well() -> None:
    """60 C over pure water: 0.1236 g an ampere-hour, beside 0.336 g split (iapws, Dalton)."""
    vapour_kpa = thermodynamics.water_vapour_pressure_kpa(60.0)
    assert faraday.evaporated_g(AMPERE_HOUR_C, vapour_kpa) == pytest.approx(0.1236, rel=0.002)


def test_that_vapour_carries_the_published_heat() -> None:
    """60 / 80 C: 0.0809 / 0.2843 W an ampere (iapws saturation pressure, CoolProp heat of vaporisation)."""
    for temperature_c, watts in ((60.0, 0.0809), (80.0, 0.2843)):
        vapour_kpa = thermodynamics.water_vapour_pressure_kpa(temperature_c)
        grams_s = faraday.evaporated_g(1.0, vapour_kpa)
        assert grams_s / 1000 * thermodynamics.heat_of_vaporisation_j_kg(temperature_c) == pytest.approx(
            watts, rel=0.01
        )


def test_heating_values_are_the_published_ones() -> None:
    """chemicals: NIST WebBook (liquid), JANAF (gas); 39.39 / 33.32 kWh/kg and 3.542 / 2.997 kWh/Nm3."""
    assert HeatingValue.HHV.value == pytest.approx(-chemicals.reaction.Hfl(WATER, method="WEBBOOK"), abs=20)
    assert HeatingValue.LHV.value == pytest.approx(-chemicals.reaction.Hfg(WATER, method="JANAF"), abs=20)
    per_kg = [1000 * basis.value / constants.HYDROGEN_G_MOL / 3.6e6 for basis in HeatingValue]
    assert per_kg == pytest.approx([39.39, 33.32], abs=0.02)
    per_nm3 = [1000 * basis.value / faraday.normal_litres(1.0) / 3.6e6 for basis in HeatingValue]
    assert per_nm3 == pytest.approx([3.542, 2.997], abs=0.003)


def test_energy_for_each_volt_is_the_textbook_one() -> None:
    """2F/M and 2F/V_m with scipy's constants: 26.590 kWh/kg/V, 2.3915 kWh/Nm3/V."""
    assert efficiency.energy_kwh_kg(1.0) == pytest.approx(26.590, rel=2e-4)
    assert efficiency.energy_kwh_nm3(1.0) == pytest.approx(2.3915, rel=2e-4)


def test_efficiency_is_full_at_the_thermoneutral_voltage_on_the_higher_heating_value_only() -> None:
    """Heating values 285.83 and 241.83 kJ/mol (CODATA 1989)."""
    assert efficiency.voltage_efficiency(thermodynamics.thermoneutral_voltage_v(25.0)) == pytest.approx(1.0, abs=3e-4)
    lower = efficiency.voltage_efficiency(1.4813, HeatingValue.LHV)
    assert lower == pytest.approx(241.826 / 285.83, abs=3e-4)


def test_energy_and_efficiency_agree_with_the_heating_value() -> None:
    """Energy a kilogram times energy efficiency is the heating value of a kilogram, whatever the losses."""
    spent = efficiency.energy_kwh_kg(2.1, 0.93)
    assert spent * efficiency.energy_efficiency(2.1, 0.93) == pytest.approx(39.39, abs=0.02)
    assert spent * efficiency.energy_efficiency(2.1, 0.93, basis=HeatingValue.LHV) == pytest.approx(33.32, abs=0.02)


def test_heat_is_what_stands_over_the_thermoneutral_voltage() -> None:
    """LeRoy 1980: 40 A, 2.30 / 1.4812 / 1.30 V at 25 C: 32.75 / 0 / -7.25 W; five cells at 2.30 V: 163.76 W."""
    assert efficiency.heat_w(40.0, np.array([2.30, 1.4812, 1.30]), 25.0) == pytest.approx([32.75, 0.0, -7.25], abs=0.02)
    assert efficiency.heat_w(40.0, 2.30, 25.0, cells=5) == pytest.approx(163.76, abs=0.05)


def test_calorific_value_falls_with_the_temperature_of_combustion_as_in_the_standard() -> None:
    """ISO 6976:1995 table 3, hydrogen (from memory): 286.63 / 286.15 / 285.99 / 285.83 kJ/mol at 0 / 15 / 20 / 25 C."""
    ours = (
        2 * constants.FARADAY_C_MOL * thermodynamics.thermoneutral_voltage_v(np.array([0.0, 15.0, 20.0, 25.0])) / 1000
    )
    assert ours == pytest.approx([286.63, 286.15, 285.99, 285.83], abs=0.07)
