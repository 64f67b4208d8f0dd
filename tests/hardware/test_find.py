"""Finding chips, probes and wires by touch, on the emulated boards."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from click.testing import CliRunner

from controller.cli.find import find, listed
from controller.config.load import load
from controller.config.rigs import shipped
from controller.hardware.find import Finder, Moved, moved
from simulator.boards.bench import BenchPorts
from simulator.boards.clock import VirtualClock
from simulator.boards.wiring import shipped_wiring
from simulator.whole import WholeBench

INPUTS = {5: "up", 6: "up", 16: "up", 20: "up", 21: "up", 26: "up"}


class Hands:
    """A boathouse bench, a finder on it, and somebody who touches things."""

    def __init__(self) -> None:
        self.clock = VirtualClock(100.0)
        self.bench = WholeBench(shipped_wiring("boathouse"), self.clock)
        self.ports: BenchPorts = self.bench.ports()
        self.finder = Finder(self.ports, INPUTS, self.clock, self.wait)
        self.wait(1.0)

    def wait(self, seconds: float) -> None:
        for _ in range(max(1, round(seconds / 0.1))):
            self.clock.now_s += min(0.1, seconds)
            self.bench.advance(self.clock.now_s)

    def touch(self, **script: float) -> list[Moved]:
        before = self.finder.look()
        self.bench.behind.script.update(script)
        self.wait(60.0)
        return moved(before, self.finder.look())

    def lower(self, float_: str, taken: tuple[str, ...] = ()) -> list[Moved]:
        before = self.finder.look()
        self.bench.fault(float_, "stuck_open")
        self.wait(1.0)
        return moved(before, self.finder.look(), taken)


@pytest.fixture
def hands() -> Iterator[Hands]:
    made = Hands()
    yield made
    made.finder.close()


def test_it_lists_the_converters_and_thermometers_that_are_there(hands: Hands) -> None:
    assert hands.finder.chips() == [(1, 0x48), (1, 0x49), (1, 0x4A)]
    seen = hands.finder.look()
    assert sorted(seen.celsius) == [f"28-0b0a7e11000{n}" for n in (1, 2, 3)]
    assert seen.silent == ()
    assert seen.volts[1, 0x48, 3] == pytest.approx(1.65, abs=0.01)
    assert seen.volts[1, 0x49, 3] == pytest.approx(2.5, abs=0.01)


def test_warming_a_probe_names_it(hands: Hands) -> None:
    first, *others = hands.touch(coolant_inlet_c=33.0)
    assert first.name == "28-0b0a7e110003"
    assert others == []


def test_lowering_the_left_float_names_its_pin(hands: Hands) -> None:
    """By hand: the lye stays where it is."""
    assert [m.name for m in hands.lower("level_hydrogen")] == ["pin 6"]


def test_opening_the_tap_names_the_pin_of_the_meter(hands: Hands) -> None:
    first = hands.touch(coolant_flow_l_min=2.0)[0]
    assert first.name == "pin 5"
    assert "a meter that turns" in first.what


def test_pressure_names_the_input_of_the_converter(hands: Hands) -> None:
    assert hands.touch(pressure_h_mbar=12.0)[0].name == "input 0 of 0x49 on bus 1"


def test_what_is_known_already_is_not_named_again(hands: Hands) -> None:
    assert hands.lower("level_hydrogen", taken=("pin 6",)) == []


def test_a_probe_that_cannot_be_read_is_listed_all_the_same(hands: Hands) -> None:
    hands.bench.fault("coolant_outlet", "bad_checksum")
    assert hands.finder.look().silent == ("28-0b0a7e110002",)


def test_no_pin_is_opened_but_those_named_and_none_is_driven(hands: Hands) -> None:
    driven: list[int] = []
    others = hands.bench.board.changed

    def changed(pin: int, level: bool, at_s: float) -> None:
        driven.append(pin)
        others(pin, level, at_s)

    hands.bench.board.changed = changed
    hands.finder.look()
    assert driven == []
    assert {int(info.name.removeprefix("GPIO")) for info in hands.ports.pins._reservations} == set(INPUTS)


def test_an_input_whose_conversion_does_not_end_is_left_out_and_not_given_the_number_of_another(hands: Hands) -> None:
    hands.bench.fault("converter 0x48", "never_ready")
    assert {address for _, address, _ in hands.finder.look().volts} == {0x49, 0x4A}


def test_what_is_there_is_listed_with_the_signal_that_the_rig_file_has_on_it(hands: Hands) -> None:
    lines = listed(hands.finder.look(), hands.finder, load(shipped("boathouse"))).splitlines()
    assert any(line.endswith("V   current") for line in lines)
    assert any(line.startswith("thermometer 28-0b0a7e110001") and line.endswith("cell_temperature") for line in lines)
    assert any(line.startswith("pin 6 ") and line.endswith("level_hydrogen") for line in lines)


def test_where_nothing_runs_it_says_so() -> None:
    answer = CliRunner().invoke(find, ["--bench", "/nonexistent", "--once"])
    assert answer.exit_code != 0
    assert "nothing can be looked at" in str(answer.exception)
