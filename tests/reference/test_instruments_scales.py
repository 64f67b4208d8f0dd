"""Scales and wired parts against datasheets and standards. Each row names its source."""

from __future__ import annotations

import pytest

from controller.core.signals import Code
from controller.hardware.scales import (
    CurrentLoop,
    LiveZero,
    NtcBeta,
    NtcSteinhartHart,
    Platinum,
    PulledUp,
    SupervisedContact,
    TwoPoint,
    divider,
    shunt_amplifier,
)
from simulator.instruments.parts import Loop, Ntc, Shunt

PULL_UP = PulledUp(10e3, 3.3)


def volts_at(ohm: float) -> float:
    return PULL_UP.supply_v * ohm / (ohm + PULL_UP.pull_up_ohm)


@pytest.mark.parametrize(
    ("beta_k", "celsius", "ohm"),
    [
        (3435.0, 0.0, 28704.3),
        (3435.0, 25.0, 10000.0),
        (3435.0, 50.0, 4101.2),
        (3435.0, 85.0, 1451.3),
        (3950.0, 0.0, 33620.6),
        (3950.0, 25.0, 10000.0),
        (3950.0, 50.0, 3588.2),
        (3950.0, 85.0, 1086.7),
    ],
)
def test_a_thermistor_follows_the_beta_equation(beta_k: float, celsius: float, ohm: float) -> None:
    """R25 exp(B (1/T - 1/298.15)), by hand."""
    number, code = NtcBeta(PULL_UP, 10e3, beta_k)(volts_at(ohm))
    assert number == pytest.approx(celsius, abs=0.002)
    assert code is Code.OK


@pytest.mark.parametrize(("ohm", "celsius"), [(336103.2, -40.0), (97006.9, -20.0), (55303.9, -10.0), (32650.9, 0.0)])
def test_a_thermistor_follows_the_manuals_table(ohm: float, celsius: float) -> None:
    """Campbell Scientific 109SS manual, table C-1 (coefficients recalled; they reproduce the table)."""
    scale = NtcSteinhartHart(PULL_UP, 1.129241e-3, 2.341077e-4, 8.775468e-8)
    assert scale.celsius(ohm) == pytest.approx(celsius, abs=0.003)


@pytest.mark.parametrize(
    ("celsius", "ohm"),
    [(-50.0, 80.3063), (0.0, 100.0), (25.0, 109.7347), (60.0, 123.2419), (80.0, 130.8968), (100.0, 138.5055)],
)
@pytest.mark.parametrize("at_0_c_ohm", [100.0, 1000.0])
def test_platinum_follows_the_standard(celsius: float, ohm: float, at_0_c_ohm: float) -> None:
    """IEC 60751 (values by rtd-sensor 0.8.0)."""
    assert Platinum(PULL_UP, at_0_c_ohm).celsius(ohm * at_0_c_ohm / 100.0) == pytest.approx(celsius, abs=0.002)


@pytest.mark.parametrize("scale", [NtcBeta(PULL_UP, 10e3, 3950.0), Platinum(PULL_UP)])
@pytest.mark.parametrize("volts", [0.0, 3.3, 3.29, 0.01, -0.1])
def test_a_resistive_sensor_at_a_rail_is_a_broken_wire_and_no_temperature(scale: NtcBeta, volts: float) -> None:
    """Case A14: the table's end value was believed."""
    assert scale(volts) == (None, Code.WIRE_FAULT)


def test_the_case_of_the_broken_thermistor_reads_as_it_says() -> None:
    """Case A14: 10 k under 10 k to 3.3 V, B 3950: 62 C is 0.62 V."""
    number, _ = NtcBeta(PULL_UP, 10e3, 3950.0)(0.62)
    assert number == pytest.approx(62.0, abs=0.5)


@pytest.mark.parametrize(
    ("milliamp", "number", "code"),
    [
        (3.5, None, Code.WIRE_FAULT),
        (3.59, None, Code.WIRE_FAULT),
        (3.7, -0.075, Code.OUT_OF_SPECIFICATION),
        (3.81, -0.0475, Code.OK),
        (4.0, 0.0, Code.OK),
        (12.0, 2.0, Code.OK),
        (20.0, 4.0, Code.OK),
        (20.49, 4.1225, Code.OK),
        (20.7, 4.175, Code.OUT_OF_SPECIFICATION),
        (22.0, 4.5, Code.OUT_OF_SPECIFICATION),
    ],
)
def test_a_current_loop_has_the_bands_of_namur_ne_43(milliamp: float, number: float | None, code: Code) -> None:
    """NAMUR NE 43: 3.8 to 20.5 mA measures, 3.6 mA and less is a fault. What is above counts towards a trip."""
    seen = CurrentLoop(100.0, 0.0, 4.0)(milliamp * 0.1)
    assert seen.code is code
    assert seen.number == (None if number is None else pytest.approx(number, abs=1e-9))


def test_thirty_amperes_through_the_demo_circuit_are_code_4b00() -> None:
    """75 mV at 50 A is 1.5 mohm; times 6.667 it is 10 mV/A; 0.3 V in steps of 15.625 uV is 19200 = 4B00h."""
    part = Shunt("shunt", "current", "current_a", 75.0, 50.0, 20.0 / 3.0, 1.65)
    volts = part.volts(30.0) - part.volts(0.0)
    assert round(volts / 15.625e-6) == 0x4B00
    assert shunt_amplifier(0.010)(0x4B00 * 15.625e-6).number == pytest.approx(30.0)


def test_full_scale_of_the_demo_circuit_is_51_198_a_either_way() -> None:
    """32767 steps of 15.625 uV at 10 mV/A."""
    scale = shunt_amplifier(0.010)
    assert scale(32767 * 15.625e-6).number == pytest.approx(51.198, abs=0.001)
    assert scale(-32768 * 15.625e-6).number == pytest.approx(-51.2)


def test_a_bare_shunt_of_75_mv_at_50_a_gives_7680_counts_at_40_a() -> None:
    """60 mV in steps of 7.8125 uV; one step is 5.208 mA."""
    scale = TwoPoint(0.0, 0.0, 0.075, 50.0)
    assert scale(7680 * 7.8125e-6).number == pytest.approx(40.0)
    assert scale(7.8125e-6).number == pytest.approx(5.208e-3, abs=1e-6)


def test_a_divider_gives_the_volts_before_it() -> None:
    assert divider(40e3, 10e3)(1.8).number == pytest.approx(9.0)


def test_two_points_must_differ() -> None:
    with pytest.raises(ValueError, match="must differ"):
        TwoPoint(1.0, 0.0, 1.0, 5.0)


@pytest.mark.parametrize(
    ("volts", "number"), [(0.5, 0.0), (2.5, 50.0), (4.5, 100.0), (0.2, None), (4.8, None), (0.0, None), (5.0, None)]
)
def test_a_sensor_with_a_live_zero_is_broken_near_the_rails(volts: float, number: float | None) -> None:
    """Ratiometric 0.5 to 4.5 V: common practice, no source."""
    seen = LiveZero(TwoPoint(0.5, 0.0, 4.5, 100.0), 0.25, 4.75)(volts)
    assert seen.number == (None if number is None else pytest.approx(number))
    assert seen.code is (Code.WIRE_FAULT if number is None else Code.OK)


@pytest.mark.parametrize(("volts", "number"), [(0.0, None), (1.1, 1.0), (1.65, None), (2.2, 0.0), (3.3, None)])
def test_a_supervised_line_tells_open_and_shorted_cables_from_the_contact(volts: float, number: float | None) -> None:
    """End-of-line resistors: common practice, no source."""
    assert SupervisedContact(closed_v=1.1, open_v=2.2)(volts).number == number


def test_the_bench_and_the_driver_agree_on_a_thermistor_by_different_ways() -> None:
    part = Ntc("ntc", "t", "cell_temperature_c", 10e3, 3950.0, pull_up_ohm=10e3, pull_up_v=3.3)
    for celsius in (0.0, 25.0, 62.0, 85.0):
        assert NtcBeta(PULL_UP, 10e3, 3950.0)(part.volts(celsius)).number == pytest.approx(celsius, abs=1e-9)


def test_a_transmitter_ends_at_its_own_limits() -> None:
    """NAMUR NE 43: 3.8 and 20.5 mA."""
    part = Loop("loop", "h", "h2_in_o2_percent", 100.0, 0.0, 4.0)
    assert (part.volts(-5.0), part.volts(50.0)) == pytest.approx((0.38, 2.05))


def test_a_turbine_of_450_pulses_a_litre_gives_7_5_hz_for_each_litre_a_minute() -> None:
    """Datasheet of a generic G1/2 Hall turbine: F = 7.5 Q."""
    from random import Random

    from simulator.instruments.turbine import Turbine

    edges = Turbine(450.0, 0.02, Random(1)).edges(2.0, 0.0, 60.0)
    assert sum(level for _, level in edges) == pytest.approx(2.0 * 7.5 * 60.0, abs=1)
