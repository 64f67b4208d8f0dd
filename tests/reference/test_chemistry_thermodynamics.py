"""Voltages and water properties against other people's equations of state and published values."""

from __future__ import annotations

import chemicals
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from iapws import IAPWS97
from iapws.iapws97 import _PSat_T

from controller.chemistry import thermodynamics as thermo
from controller.chemistry.errors import OutOfRange

FARADAY = 96485.33212
KELVIN = 273.15
BAR_PA = 1e5

# CODATA Key Values for Thermodynamics, 1989: enthalpy of formation J/mol and entropy J/(mol K) at 298.15 K, 1 bar.
CODATA = {"Hydrogen": (0.0, 130.680), "Oxygen": (0.0, 205.152), "Water": (-285_830.0, 69.95)}


def by_equation_of_state(temperature_c: float) -> tuple[float, float]:
    """Gibbs energy and enthalpy of H2O(l) -> H2 + 1/2 O2 at 1 bar, J/mol: CoolProp anchored on CODATA."""
    gibbs = enthalpy = 0.0
    kelvin = temperature_c + KELVIN
    for fluid, count in (("Hydrogen", 1.0), ("Oxygen", 0.5), ("Water", -1.0)):
        h0, s0 = CODATA[fluid]
        h, s = (
            PropsSI(of, "T", kelvin, "P", BAR_PA, fluid) - PropsSI(of, "T", 298.15, "P", BAR_PA, fluid)
            for of in ("HMOLAR", "SMOLAR")
        )
        enthalpy += count * (h0 + h)
        gibbs += count * (h0 + h - kelvin * (s0 + s))
    return gibbs, enthalpy


@pytest.mark.parametrize("temperature_c", [5, 10, 25, 40, 50, 60, 70, 80, 90])
def test_reversible_voltage_of_dry_gas_follows_the_equations_of_state(temperature_c: float) -> None:
    gibbs, _ = by_equation_of_state(temperature_c)
    assert thermo.standard_voltage_v(temperature_c, pressure_bar=1.0) == pytest.approx(gibbs / (2 * FARADAY), abs=3e-4)


@pytest.mark.parametrize("temperature_c", [5, 10, 25, 50, 80, 95])
def test_thermoneutral_voltage_follows_the_equations_of_state(temperature_c: float) -> None:
    _, enthalpy = by_equation_of_state(temperature_c)
    assert thermo.thermoneutral_voltage_v(temperature_c) == pytest.approx(enthalpy / (2 * FARADAY), abs=5e-4)


@pytest.mark.parametrize("temperature_c", [25, 50, 80])
def test_with_cold_feed_the_enthalpy_voltage_rises_as_the_equations_of_state_say(temperature_c: float) -> None:
    """Feed water at 25 C, dry gases out at the cell's temperature."""
    _, at_25_c = by_equation_of_state(25.0)
    warmed = sum(
        count
        * (
            PropsSI("HMOLAR", "T", temperature_c + KELVIN, "P", BAR_PA, gas)
            - PropsSI("HMOLAR", "T", 298.15, "P", BAR_PA, gas)
        )
        for gas, count in (("Hydrogen", 1.0), ("Oxygen", 0.5))
    )
    assert thermo.cold_feed_voltage_v(temperature_c) == pytest.approx((at_25_c + warmed) / (2 * FARADAY), abs=5e-4)


def test_the_heat_of_formation_of_water_is_the_one_of_the_web_book() -> None:
    """chemicals: NIST WebBook."""
    published = chemicals.reaction.Hfl("7732-18-5", method="WEBBOOK")
    assert 2 * FARADAY * thermo.thermoneutral_voltage_v(25.0) == pytest.approx(-published, abs=60.0)


def test_reversible_voltage_at_one_atmosphere_is_the_polynomial_of_leroy() -> None:
    """LeRoy, Bowen, LeRoy, J. Electrochem. Soc. 127 (1980) 1954: 1.2291 / 1.1999 / 1.1834 V (from memory)."""
    assert thermo.standard_voltage_v(np.array([25.0, 60.0, 80.0]), 1.01325) == pytest.approx(
        [1.2291, 1.1999, 1.1834], abs=1e-4
    )


def test_reversible_voltage_falls_by_the_published_millivolts_a_kelvin() -> None:
    """CODATA entropies: -163.3 J/(mol K) / 2F = -0.846 mV/K at 25 C."""
    entropy = CODATA["Hydrogen"][1] + 0.5 * CODATA["Oxygen"][1] - CODATA["Water"][1]
    slope = (thermo.standard_voltage_v(30.0) - thermo.standard_voltage_v(20.0)) / 10.0
    assert slope == pytest.approx(-entropy / (2 * FARADAY), abs=1e-5)


@pytest.mark.parametrize(("pressure_bar", "temperature_c", "rise_mv"), [(10.0, 25.0, 44.37), (5.0, 80.0, 36.73)])
def test_pressure_raises_it_by_nernsts_term(pressure_bar: float, temperature_c: float, rise_mv: float) -> None:
    """(RT/2F) ln p^1.5 with the CODATA constants, worked by hand."""
    rise_v = thermo.standard_voltage_v(temperature_c, pressure_bar) - thermo.standard_voltage_v(temperature_c, 1.0)
    assert 1000 * rise_v == pytest.approx(rise_mv, abs=0.05)


def test_over_lye_the_vapour_and_activity_terms_nearly_cancel() -> None:
    """20 % NaOH at 60 C: activity 0.7370 from PHREEQC's pitzer.dat, saturation IAPWS-IF97: 1.2009 V, E0 is 1.1999 V."""
    assert thermo.reversible_voltage_v(60.0, 1.01325, 0.7370) == pytest.approx(1.2009, abs=3e-4)
    assert thermo.reversible_voltage_v(60.0, 1.01325) < thermo.standard_voltage_v(60.0, 1.01325) - 3e-3


def test_no_reversible_voltage_is_given_for_a_boiling_cell() -> None:
    with pytest.raises(OutOfRange, match="boils"):
        thermo.reversible_voltage_v(100.1)


@pytest.mark.parametrize(("kelvin", "kpa"), [(300.0, 3.53658941), (500.0, 2638.89776), (600.0, 12344.3146)])
def test_saturation_pressure_meets_the_verification_values_of_the_standard(kelvin: float, kpa: float) -> None:
    """IAPWS R7-97(2012), table 35."""
    assert thermo.water_vapour_pressure_kpa(kelvin - KELVIN) == pytest.approx(kpa, rel=1e-8)


def test_saturation_pressure_is_the_one_of_two_other_implementations() -> None:
    for temperature_c in (1.0, 10.0, 25.0, 40.0, 60.0, 80.0, 90.0, 120.0):
        ours = thermo.water_vapour_pressure_kpa(temperature_c)
        assert ours == pytest.approx(1000 * _PSat_T(temperature_c + KELVIN), rel=1e-9)  # iapws
        assert ours == pytest.approx(PropsSI("P", "T", temperature_c + KELVIN, "Q", 0, "Water") / 1000, rel=3e-4)


@pytest.mark.parametrize("temperature_c", [1.0, 25.0, 60.0, 90.0, 119.0])
def test_heat_of_vaporisation_is_that_of_the_industrial_formulation(temperature_c: float) -> None:
    steam, water = (IAPWS97(T=temperature_c + KELVIN, x=x).h for x in (1, 0))
    assert thermo.heat_of_vaporisation_j_kg(temperature_c) == pytest.approx(1000 * (steam - water), rel=1e-4)


@pytest.mark.parametrize("temperature_c", [1.0, 20.0, 60.0, 99.0])
def test_heat_capacity_of_water_is_that_of_the_industrial_formulation(temperature_c: float) -> None:
    published = 1000 * IAPWS97(T=temperature_c + KELVIN, P=0.101325).cp
    assert thermo.water_heat_capacity_j_kg_k(temperature_c) == pytest.approx(published, abs=4.0)
