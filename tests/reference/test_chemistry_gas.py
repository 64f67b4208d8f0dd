"""Flammability, dilution and stored energy against standards and libraries. All at 25 C and 101.325 kPa unless said."""

from __future__ import annotations

import chemicals
import pytest
from CoolProp.CoolProp import PropsSI

from controller.chemistry import constants, faraday, gas_safety, room

FARADAY = 96485.33212
HYDROGEN = "1333-74-0"
PASCAL = 101_325.0


def fifty_amperes_m3_h(temperature_c: float = 25.0) -> float:
    """What one cell at 50 A makes."""
    return faraday.gas_litres(faraday.hydrogen_mol(50.0 * 3600.0), temperature_c) / 1000.0


def test_the_lower_limit_is_the_most_cautious_published_one() -> None:
    """chemicals: IEC 60079-20-1:2010 and NFPA 497:2008; Bureau of Mines Bulletin 503 has 4.65 % in oxygen."""
    published = [
        chemicals.safety.LFL(CASRN=HYDROGEN, method=method) for method in chemicals.safety.LFL_methods(CASRN=HYDROGEN)
    ]
    assert pytest.approx(min(*published, 0.0465), abs=1e-3) == constants.LFL_FRACTION


def test_the_upper_limit_is_the_most_cautious_published_one() -> None:
    """chemicals: 77 % (IEC), 75 % (NFPA); in oxygen 93.9 % (Bureau of Mines) or 94 % (NASA, from memory)."""
    published = [
        chemicals.safety.UFL(CASRN=HYDROGEN, method=method) for method in chemicals.safety.UFL_methods(CASRN=HYDROGEN)
    ]
    assert max(published) == pytest.approx(constants.UFL_IN_AIR_FRACTION, abs=5e-3)
    assert pytest.approx(0.939, abs=0.005) == constants.UFL_IN_OXYGEN_FRACTION


def test_one_percent_by_volume_is_a_quarter_of_the_lower_limit() -> None:
    """The alarm step of New York City Building Code 918.8.1, after the International Fire Code."""
    assert gas_safety.lfl_percent(0.01) == pytest.approx(25.0)


def test_hydrogen_is_as_light_as_its_equation_of_state_says() -> None:
    """CoolProp, 20 C."""
    ratio = PropsSI("D", "T", 293.15, "P", PASCAL, "Hydrogen") / PropsSI("D", "T", 293.15, "P", PASCAL, "Air")
    assert pytest.approx(ratio, abs=3e-4) == constants.HYDROGEN_TO_AIR_DENSITY


def test_three_independent_rules_ask_for_the_same_air() -> None:
    """One cell at 50 A: mass balance 2.26, IEC 60079-10-1:2008 annex B 2.24, EN 50272-3 2.5 m3/h."""
    assert fifty_amperes_m3_h() == pytest.approx(0.02282, rel=1e-3)
    ours = room.dilution_air_m3_h(fifty_amperes_m3_h(), 0.01)
    assert ours == pytest.approx(2.259, rel=1e-3)
    battery_room_m3_h = 24 * 0.42e-3 * 5 * 1 * 50  # EN 50272-3: v q s n I
    lfl_kg_m3 = 0.416e-3 * 2.016 * 4.0  # IEC 60079-10-1:2008, annex B (from memory)
    annex_b_m3_h = faraday.hydrogen_g(50.0 * 3600.0) / 1000.0 / (0.25 * lfl_kg_m3)
    assert ours == pytest.approx(annex_b_m3_h, rel=0.02)
    assert ours == pytest.approx(battery_room_m3_h, rel=0.12)


def test_the_crossover_balance_is_the_one_a_hand_would_draw() -> None:
    """2 % at 1000 A/m2: oxygen 1000/4F = 2.591e-3 mol/(s m2); hydrogen 2/98 of it."""
    leak = gas_safety.crossover_mol_s_m2(0.02, 1000.0)
    assert leak == pytest.approx(1000.0 / (4 * FARADAY) * 2 / 98, rel=1e-12)
    assert gas_safety.hydrogen_in_oxygen(2000.0, leak) == pytest.approx(1 / 99, rel=1e-12)


def test_purging_with_hydrogen_passes_through_the_explosive_range() -> None:
    """0.8 L at 0.684 L/min, well mixed: over 77 % hydrogen after 1.7 min, under 1 % air after 5.4, by hand."""
    minutes_a_volume = gas_safety.time_until_fit_min(0.8, 0.684, volumes=1.0)
    assert minutes_a_volume * gas_safety.volume_changes(0.23, 1.0) == pytest.approx(1.72, abs=0.01)
    assert minutes_a_volume * gas_safety.volume_changes(0.01, 1.0) == pytest.approx(5.39, abs=0.01)


def test_five_volumes_leave_less_than_a_percent_of_the_air() -> None:
    """exp(-5) = 0.67 %: 0.14 % of oxygen."""
    assert gas_safety.oxygen_left(5.0) == pytest.approx(0.001412, rel=1e-3)


def test_cooling_draws_back_what_the_steam_tables_and_charles_law_say() -> None:
    """1 L over pure water, 60 to 20 C: (101.325 - 19.946)/(101.325 - 2.339) x 293.15/333.15 L stay (IAPWS)."""
    stays = (101.325 - 19.946) / (101.325 - 2.339) * 293.15 / 333.15
    assert gas_safety.suck_back_l(1.0, 60.0, 20.0) == pytest.approx(1.0 - stays, abs=1e-4)


def test_a_litre_of_hydrogen_burns_with_the_published_heat() -> None:
    """Lower heating value 119.96 MJ/kg (JANAF) times the density of hydrogen at 25 C (CoolProp)."""
    kg_l = PropsSI("D", "T", 298.15, "P", PASCAL, "Hydrogen") / 1000.0
    assert gas_safety.stored_energy_kj(1.0) == pytest.approx(119.96e3 * kg_l, rel=2e-3)


def test_the_stack_flow_is_bernoullis() -> None:
    """Two openings of 200 cm2, 1.8 m apart, 0.0396 m3/h: found by stepping the room to its steady state."""
    opening_m2, height_m, released_m3_s = 0.02, 1.8, 0.0396 / 3600
    share = 1e-4
    for _ in range(20_000):  # a 30 m3 room in steps of ten seconds
        pull = 9.81 * height_m * share * (1 - constants.HYDROGEN_TO_AIR_DENSITY)  # Pa for each kg/m3 of air
        out_m3_s = 0.61 * (2 * pull / 2) ** 0.5 * opening_m2  # half the pull across each of two equal openings
        share += 10.0 * (released_m3_s - share * out_m3_s) / 30.0
    assert room.natural_fraction(0.0396, opening_m2, opening_m2, height_m) == pytest.approx(share, rel=1e-3)
