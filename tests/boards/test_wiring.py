"""Wiring files: the shipped ones are read, a wrong one is answered with file, line and key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from simulator.boards.wiring import SHIPPED, WiringError, read_wiring, shipped_wiring


def test_the_shipped_benches_are_marked_invented_and_wired_as_they_say() -> None:
    boathouse, minimal = shipped_wiring("boathouse"), shipped_wiring("minimal")
    assert boathouse.invented
    assert minimal.invented
    assert [converter.address for converter in boathouse.converter] == [0x48, 0x49, 0x4A]
    assert boathouse.pins["ventilation"].active == "low"
    assert boathouse.pins["collect"].behind_watchdog
    assert boathouse.power.seal_in
    assert boathouse.power.second is not None
    assert not minimal.power.seal_in
    assert minimal.power.second is None


@pytest.mark.parametrize("name", ["boathouse", "minimal"])
def test_no_output_of_a_shipped_bench_moves_while_a_pi_boots(name: str) -> None:
    """Case A26: GPIO 9 to 27 are pulled down at reset; 14 and 15 are the console."""
    for output, wired in shipped_wiring(name).pins.items():
        assert 9 <= wired.pin <= 27, output
        assert wired.pin not in (14, 15), output


@pytest.mark.parametrize("name", ["boathouse", "minimal"])
def test_the_demo_circuit_gives_ten_millivolts_an_ampere(name: str) -> None:
    part = shipped_wiring(name).converter[0].inputs[0]
    assert part.volts(30.0) - part.volts(0.0) == pytest.approx(0.300, abs=1e-6)


@pytest.mark.parametrize(
    ("right", "wrong", "key", "said"),
    [
        ("pin = 5", "pin = 'five'", "meter.0.pin", "valid integer"),
        ("pulses_per_litre = ", "pulses_per_liter = ", "meter.0.pulses_per_liter", "Unexpected keyword"),
        ("seal_in = true", "seal_in = 'perhaps'", "power.seal_in", "valid boolean"),
        ("watchdog_s = 1.0 ", "watchdog_s = 'long' ", "power.watchdog_s", "valid number"),
        ("lag_s = 15.0", "lag_s = 'slow'", "thermometer.0.lag_s", "valid number"),
        ('active = "low"', 'active = "lowish"', "pins.ventilation.active", "'high' or 'low'"),
        ("shunt_mv = 75.0", "shunt_mv = 'x'", "converter.0.inputs.0.shunt.shunt_mv", "valid number"),
    ],
)
def test_a_wrong_entry_is_named_with_its_line(tmp_path: Path, right: str, wrong: str, key: str, said: str) -> None:
    text = (SHIPPED / "boathouse.wiring.toml").read_text()
    path = tmp_path / "bench.toml"
    path.write_text(text.replace(right, wrong, 1))
    line = text[: text.index(right)].count("\n") + 1
    with pytest.raises(WiringError, match=rf"bench\.toml line {line}, {re.escape(key)}: .*{said}"):
        read_wiring(path)


@pytest.mark.parametrize(
    ("text", "said"),
    [("pin = ", "Invalid value"), ("title = 'x'", "power: "), ("", "title: ")],
)
def test_a_file_that_is_no_wiring_is_refused(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(text)
    with pytest.raises(WiringError, match=said):
        read_wiring(path)


def test_a_missing_file_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(WiringError, match=r"none\.toml: No such file"):
        read_wiring(tmp_path / "none.toml")


def test_a_pin_wired_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text((SHIPPED / "boathouse.wiring.toml").read_text().replace("pin = 26", "pin = 24"))
    with pytest.raises(WiringError, match="pin 24 is wired to stop_chain and to relay_contact"):
        read_wiring(path)
