"""What a rig file can say of each kind of sensor, and what follows for its error and its ends."""

from __future__ import annotations

import re
from datetime import date

import pytest

from controller.config.load import CompiledRig, compile_text
from controller.config.problems import RigFileError
from controller.config.rigs import shipped
from controller.core.signals import Code
from controller.hardware.description import Ads1115Channel, WorkedOut
from controller.hardware.scales import NtcSteinhartHart, Platinum
from simulator.plant.curves import polarisation
from simulator.plant.parameters import BOATHOUSE

TODAY = date(2026, 6, 1)


def with_signal(rig: str, name: str, table: str) -> CompiledRig:
    """A rig that ships with one signal's line replaced."""
    text, count = re.subn(rf"(?m)^{name} = .*$", f"{name} = {{ {table} }}", shipped(rig).read_text(encoding="utf-8"))
    assert count == 1
    return compile_text(text.encode(), "changed.toml", TODAY)


def scale(rig: CompiledRig, name: str) -> Ads1115Channel:
    source = dict(rig.hardware.signals)[name]
    assert isinstance(source, Ads1115Channel)
    return source


HALL = 'sensor = "ADS1115", converter = "power", plus = 0, range_V = 6.144, range_low_A = -51, range_high_A = 51'


def test_a_rail_that_sags_two_percent_moves_the_zero_of_a_hall_sensor_by_an_ampere_and_a_quarter() -> None:
    """40 mV/A about half of 5 V, by arithmetic: 2 % of 2.5 V is 50 mV."""
    text = shipped("voltage-knob").read_text(encoding="utf-8").replace("supply_V = 3.3", "supply_V = 5.0", 1)
    hall = "hall = { V_per_A = 0.04, rail_V = 5.0, rail_error_percent = 2 }, error_A = 0.2"
    text = re.sub(r"(?m)^current = .*$", f"current = {{ {HALL}, {hall} }}", text)
    rig = compile_text(text.encode(), "changed.toml", TODAY)
    current = rig.core.signals[rig.core.position("current")]
    assert current.error == pytest.approx(0.2 + 1.25)
    assert rig.core.zero_current_a == pytest.approx(2.0 * 1.45)
    assert scale(rig, "current").scale(2.5).number == pytest.approx(0.0)
    assert scale(rig, "current").scale(3.7).number == pytest.approx(30.0)


def test_against_half_of_its_own_rail_nothing_is_added() -> None:
    rig = compile_text(shipped("voltage-knob").read_bytes(), "voltage-knob", TODAY)
    assert rig.core.signals[rig.core.position("current")].error == pytest.approx(0.2)
    assert scale(rig, "current").negative is not None


def test_a_rail_that_nobody_measures_is_too_much_for_a_small_rig_and_is_told_what_would_do() -> None:
    hall = "hall = { V_per_A = 0.0267, rail_V = 3.333, rail_error_percent = 10 }, error_A = 0.2"
    with pytest.raises(RigFileError, match=r"nobody can tell .* A from none.*\n?.*Give less than"):
        with_signal("voltage-knob", "current", f"{HALL}, {hall}")


def test_a_hall_sensor_on_five_volts_may_not_drive_a_chip_on_three() -> None:
    hall = "hall = { V_per_A = 0.04, rail_V = 5.0 }, error_A = 0.2"
    with pytest.raises(RigFileError, match="10 and 20 kilohm"):
        with_signal("voltage-knob", "current", f"{HALL}, {hall}")


def test_a_bare_shunt_in_the_negative_lead_sees_current_that_flows_backwards() -> None:
    """75 mV at 50 A: a tenth of a volt under ground is 66 A, and 40 A are 7680 steps of 7.8125 uV."""
    rig = compile_text(shipped("drooping").read_bytes(), "drooping", TODAY)
    current = rig.core.signals[rig.core.position("current")]
    assert current.electrical_low < -50.0
    assert scale(rig, "current").scale(-0.0015).number == pytest.approx(-1.0)
    assert scale(rig, "current").scale(7680 * 7.8125e-6).number == pytest.approx(40.0)


ON_CONVERTER = (
    'sensor = "ADS1115", converter = "gas", plus = 2, range_V = 4.096, range_low_C = -10, range_high_C = 99, '
    "error_C = 1"
)


def test_a_thermistor_may_be_given_by_its_three_coefficients() -> None:
    """Campbell Scientific 109SS manual, table C-1: 32650.9 ohm at 0 C."""
    by = "steinhart_hart = { pull_up_ohm = 10000, a = 1.129241e-3, b = 2.341077e-4, c = 8.775468e-8 }"
    rig = with_signal("drooping", "cell_temperature", f"{ON_CONVERTER}, {by}")
    made = scale(rig, "cell_temperature").scale
    assert isinstance(made, NtcSteinhartHart)
    assert made(3.3 * 32650.9 / (32650.9 + 10000.0)).number == pytest.approx(0.0, abs=0.003)
    assert made(3.29).code is Code.WIRE_FAULT


def test_platinum_of_a_thousand_ohm_reads_as_the_standard_says() -> None:
    """IEC 60751: 1232.419 ohm at 60 C."""
    by = "platinum = { pull_up_ohm = 2000 }"
    rig = with_signal("drooping", "cell_temperature", f"{ON_CONVERTER}, {by}")
    made = scale(rig, "cell_temperature").scale
    assert isinstance(made, Platinum)
    assert made(3.3 * 1232.419 / (1232.419 + 2000.0)).number == pytest.approx(60.0, abs=0.002)


def taps(*limits: str) -> CompiledRig:
    each = "".join(
        f'tap_{n} = {{ sensor = "ADS1115", converter = "taps", plus = {n - 1}, quantity = "voltage", range_V = 4.096, '
        "V_per_V = 0.5, isolated = true, range_low_V = -0.5, range_high_V = 6, error_V = 0.05 }\n"
        for n in (1, 2, 3)
    )
    text = shipped("voltage-knob").read_text(encoding="utf-8")
    text = text.replace("[signals]\n", f"taps = {{ address = 0x4a, supply_V = 3.3 }}\n[signals]\n{each}")
    for name, threshold in zip(("a cell high", "a cell low"), limits, strict=False):
        text += (
            f'"{name}" = {{ signals = ["tap_1", "tap_2", "tap_3"], {threshold}, effect = "trip", delay_s = 2, '
            'because = "a cell that stands out is dry or worn" }\n'
        )
    return compile_text(text.encode(), "taps.toml", TODAY)


def test_a_limit_may_watch_a_tap_of_each_cell() -> None:
    """One bad cell of three does not show in their sum."""
    rig = taps("above_V = 2.8", "below_V = 1.4")
    [limit] = [x for x in rig.core.limits if x.name == "a cell high"]
    assert [rig.core.signals[m].name for m in limit.members] == ["tap_1", "tap_2", "tap_3"]
    assert limit.needed == 1


def test_a_wire_that_may_break_unseen_is_refused_with_what_would_do() -> None:
    """An open tap reads 0 V, which is under a limit that only looks upwards."""
    with pytest.raises(RigFileError, match=r"a broken wire reads 0 V, which means 0 V: .*'a cell high'.*live zero"):
        taps("above_V = 2.8")


def test_a_hall_sensors_gain_goes_with_its_rail() -> None:
    """5 % of 30 A are 1.5 A: a third of the way to 34.5 A and no longer to be told from it."""
    hall = "hall = { V_per_A = 0.026667, rail_V = 3.333, rail_error_percent = 5 }, error_A = 0.2, normal_A = 30"
    between = HALL.replace("6.144", "2.048") + ", minus = 1, middle_V = 1.667"
    with pytest.raises(RigFileError, match=r"an error of 1\.7 A is a third or more of the 4\.5 A"):
        with_signal("voltage-knob", "current", f"{between}, {hall}")
    with_signal("voltage-knob", "current", f"{between}, {hall.replace('percent = 5', 'percent = 2')}")


def test_the_volts_behind_two_resistors_may_go_under_ground_and_a_difference_of_pressure_may_be_fitted() -> None:
    """0.1 V under ground behind 40 and 10 kilohm are half a volt: enough for leads that are changed over."""
    pressure = (
        'pressure_difference = { sensor = "ADS1115", converter = "gas", plus = 2, range_V = 4.096, error_mbar = 1, '
        "range_low_mbar = -55, range_high_mbar = 55, "
        "two_points = { at_V = [0.5, 2.5], means_mbar = [-50, 50], live_zero = true } }"
    )
    text = shipped("voltage-knob").read_text(encoding="utf-8").replace("[outputs]", f"{pressure}\n[outputs]")
    text = re.sub(
        r"(?m)^voltage = .*$",
        'voltage = { sensor = "ADS1115", converter = "power", plus = 2, range_V = 4.096, range_low_V = -1, '
        "range_high_V = 16, error_V = 0.05, divider = { top_ohm = 40000, bottom_ohm = 10000 } }",
        text,
    )
    rig = compile_text(text.encode(), "changed.toml", TODAY)
    limits = {limit.name: limit for limit in rig.core.limits}
    assert limits["reversed volts"].threshold == -0.3
    assert limits["pressure difference"].grace_s == 0.5


@pytest.mark.parametrize(
    ("of", "words"),
    [
        ('["cell_1", "level_hydrogen"]', r"'level_hydrogen' is no measured signal\. Name some of current"),
        ('["cell_1", "nobody"]', r"'nobody' is no measured signal"),
        ('["cell_1", "cell_spread"]', r"'cell_spread' is no measured signal"),
        ('["cell_1", "cell_1"]', "named twice"),
    ],
)
def test_a_spread_of_what_cannot_be_compared_is_refused(of: str, words: str) -> None:
    with pytest.raises(RigFileError, match=words):
        with_signal("drooping", "cell_spread", f'sensor = "spread", of = {of}, range_high_V = 6.5, error_V = 0.04')


def test_the_curve_of_the_uncooled_rig_is_its_plants_own() -> None:
    """Volts of three cells and four joints over 9 to 33 A and 20 to 68 C, from the polarisation of the plant."""
    rig = compile_text(shipped("uncooled").read_bytes(), "uncooled", TODAY)
    line = dict(rig.hardware.signals)["off_the_curve"]
    assert isinstance(line, WorkedOut)
    assert line.of == ("voltage", "current", "cell_temperature")
    [limit] = [x for x in rig.core.limits if x.name == "stack off its curve"]
    for celsius in (20.0, 40.0, 68.0):
        for point in polarisation(BOATHOUSE, celsius, range(9, 33, 3)):
            volts = 3.0 * point.cell_v + 4.0 * BOATHOUSE.cell.joint_ohm * point.current_a
            assert abs(line((volts, point.current_a, celsius))) < limit.threshold / 4.0
