"""`lyewatch lye`, `gas` and `room` as a person and as a program meets them."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner, Result

from controller.cli.arithmetic import COMMANDS

MAIN = click.Group("lyewatch", commands=COMMANDS)


def run(line: str) -> Result:
    return CliRunner().invoke(MAIN, shlex.split(line))


def numbers(line: str) -> dict[str, float]:
    answer = run(f"{line} --json")
    assert answer.exit_code == 0, answer.output
    parsed: dict[str, float] = json.loads(answer.output)
    return parsed


def leaves(command: click.Command, path: str = "") -> Iterator[tuple[str, click.Command]]:
    for name, sub in command.commands.items() if isinstance(command, click.Group) else ():
        yield from leaves(sub, f"{path} {name}".strip())
    if not isinstance(command, click.Group):
        yield path, command


LEAVES = dict(leaves(MAIN))
EXAMPLES = [
    line.strip().removeprefix("lyewatch ")
    for command in LEAVES.values()
    for line in re.sub(r" \\\n\s*", " ", command.epilog or "").splitlines()  # a long one goes on below
    if line.strip().startswith("lyewatch ")
]


def test_the_commands_are_lye_gas_and_room() -> None:
    assert [command.name for command in COMMANDS] == ["lye", "gas", "room"]


@pytest.mark.parametrize("path", LEAVES)
def test_every_command_has_help_and_an_example_of_itself(path: str) -> None:
    told = run(f"{path} --help")
    assert told.exit_code == 0
    assert f"lyewatch {path}" in " ".join(told.output.split())
    assert all(option.help for option in LEAVES[path].params if isinstance(option, click.Option))


@pytest.mark.parametrize("example", EXAMPLES)
def test_every_example_in_the_help_runs_for_people_and_for_programs(example: str) -> None:
    spoken = run(example)
    assert spoken.exit_code == 0, spoken.output
    assert "local codes" in spoken.output
    assert numbers(example)


def test_making_lye_says_what_to_weigh() -> None:
    """By hand: 4 L x 1.2375 kg/L x 25 % / 90 % = 1375 g of the pack; the rest of 4.95 kg is water."""
    made = numbers("lye make --kind koh --percent 25 --litres 4 --purity 90")
    assert made["pack_g"] == pytest.approx(4 * 1237.5 * 0.25 / 0.90, rel=0.003)
    assert made["water_g"] + made["pack_g"] == pytest.approx(4 * 1237.5, rel=0.003)


def test_whoever_makes_lye_is_told_the_order_and_what_to_wear() -> None:
    told = run("lye make --kind naoh --percent 20 --litres 4").output
    assert "Caustic into water, never water onto caustic" in told
    assert "Goggles and gloves" in told


@pytest.mark.parametrize("density", ["1.188", "1188"])
def test_a_hydrometer_may_read_in_either_unit(density: str) -> None:
    """20 % KOH at 18 C: 1.188 (fizyka.pk.edu.pl/tabele/GesRoztw.htm)."""
    assert numbers(f"lye read --kind KOH --density {density} --at 18")["percent"] == pytest.approx(20.0, abs=0.3)


def test_lye_that_is_too_strong_gets_water_and_lye_that_is_too_weak_gets_caustic_dissolved_outside() -> None:
    """By hand: 4 L at 24 % weigh 5.04 kg and hold 1.21 kg; at 20 % that is 6.05 kg, so 1.01 kg of water."""
    weaker = numbers("lye correct --kind naoh --from 24 --to 20 --litres 4")
    assert weaker["add"] == "water"
    assert weaker["add_g"] == pytest.approx(1008, rel=0.01)
    stronger = run("lye correct --kind naoh --from 20 --to 24 --litres 4")
    assert "caustic" in stronger.output
    assert "Never pellets into the rig" in stronger.output


def test_a_property_beyond_its_data_does_not_hide_the_others() -> None:
    known = numbers("lye show --kind koh --percent 42 --at 25")
    assert known["conductivity_s_m"] == "no data"
    assert known["density_kg_m3"] == pytest.approx(1415, rel=0.01)


def test_use_makes_lye_stronger_and_topping_up_brings_it_back() -> None:
    used = numbers("lye top-up --kind koh --percent 25 --litres 4 --used 700")
    assert used["percent"] == pytest.approx(25.0 * 4.95 / 4.25, rel=0.003)
    restored = numbers("lye top-up --kind koh --percent 25 --litres 4 --used 700 --added 700")
    assert restored["percent"] == pytest.approx(25.0)


def test_an_hour_at_thirty_amperes_makes_the_textbook_gas_and_heat() -> None:
    """By hand: 90 Ah x 0.4181 NL; 90 Ah x 0.3361 g; 3 x 30 A x (2.2 - 1.477) V; 1.481 / 2.2."""
    hour = numbers("gas --amps 30 --cells 3 --volts 6.6 --at 50")
    assert hour["hydrogen_nl_h"] == pytest.approx(90 * 0.4181, rel=1e-3)
    assert hour["oxygen_nl_h"] == pytest.approx(45 * 0.4181, rel=1e-3)
    assert hour["water_split_g_h"] == pytest.approx(90 * 0.3361, rel=1e-3)
    assert hour["heat_w"] == pytest.approx(65.0, abs=0.2)
    assert hour["efficiency_hhv_percent"] == pytest.approx(67.3, abs=0.1)
    assert hour["efficiency_lhv_percent"] == pytest.approx(67.3 * 241.8 / 285.8, abs=0.1)
    assert hour["energy_kwh_kg"] == pytest.approx(26.59 * 2.2, rel=1e-3)
    assert hour["hydrogen_wet_l_h"] > hour["hydrogen_room_l_h"] > hour["hydrogen_nl_h"]


def test_one_measured_crossover_gives_the_current_below_which_not_to_run() -> None:
    """1 % at 9 A is 1 % at 9 A; 2 % at 9 x (98/2)/(99/1) A."""
    point = numbers("gas --amps 30 --volts 2.2 --crossover 1 --crossover-at 9")
    assert point["minimum_current_1_percent_a"] == pytest.approx(9.0)
    assert point["minimum_current_2_percent_a"] == pytest.approx(9.0 * 49 / 99)
    assert point["hydrogen_in_oxygen_percent"] == pytest.approx(100 / (1 + 99 * 30 / 9))


def test_a_room_is_told_its_air_and_its_minutes() -> None:
    """By hand: 90 Ah x 0.4487 L at 20 C is 40.4 L/h; x 99 is 4.0 m3/h; 1 % of 30 m3 is 300 L: 7.4 h."""
    told = numbers("room --floor 12 --height 2.5 --amps 30 --cells 3")
    assert told["air_25_lfl_m3_h"] == pytest.approx(4.0, abs=0.05)
    assert told["air_battery_rule_m3_h"] == pytest.approx(4.5)
    assert told["closed_room_25_lfl_min"] == pytest.approx(60 * 300 / 40.4, rel=0.01)
    assert told["closed_layer_25_lfl_min"] == pytest.approx(told["closed_room_25_lfl_min"] * 0.3 / 2.5)
    assert told["closed_room_10_lfl_min"] == pytest.approx(told["closed_room_25_lfl_min"] / 2.5)


def test_a_fan_of_the_size_asked_for_holds_the_room_at_a_quarter_of_the_limit() -> None:
    asked = numbers("room --floor 12 --height 2.5 --amps 30 --cells 3")["air_25_lfl_m3_h"]
    assert numbers(f"room --floor 12 --height 2.5 --amps 30 --cells 3 --air {asked}")[
        "fan_lfl_percent"
    ] == pytest.approx(25.0)


WRONG = [
    ("lye make --kind koh --percent 60 --litres 4", "mass fraction is 60 %; give 0 to 45 %"),
    ("lye make --kind koh --percent 25 --litres 4 --purity 20", "purity is 20 %; give 50 to 100 %"),
    ("lye make --kind koh --percent 25 --litres 0", "litres is 0"),
    ("lye make --kind lime --percent 25 --litres 4", "'lime' is not one of 'koh', 'naoh'"),
    ("lye make --kind koh --percent nan --litres 4", "mass fraction is nan %"),
    ("lye read --kind koh --density 0.9 --at 20", "density is 900"),
    ("lye read --kind koh --density 1.2 --at 300", "temperature is 300; give 0 to 120 C"),
    ("lye read --kind koh --at 20", "Missing option '--density'"),
    ("lye correct --kind koh --from 25 --to 95 --litres 4 --purity 90", "give 0.01 to 50 %"),
    ("lye top-up --kind koh --percent 25 --litres 4 --used 9000", "water left"),
    ("gas --amps 30 --volts 0.05", "cell voltage is 0.05; give 0.1 to 100 V"),
    ("gas --amps nan --volts 6", "nan"),
    ("gas --amps 30 --volts 6 --at 119", "boils"),
    ("gas --amps 30 --volts 6 --cells 0", "0 is not in the range x>=1"),
    ("gas --amps 30 --volts 6 --crossover 1", "--crossover and --crossover-at belong together"),
    ("room --floor 12 --height 2.5 --amps 30 --opening 200", "--opening and --between belong together"),
    ("room --floor 0 --height 2.5 --amps 30", "floor is 0"),
    ("room --floor 12 --height inf --amps 30", "inf"),
]


@pytest.mark.parametrize(("line", "said"), WRONG, ids=[line for line, _ in WRONG])
def test_wrong_input_is_answered_in_a_sentence_and_with_two(line: str, said: str) -> None:
    answer = run(line)
    assert answer.exit_code == 2
    assert said in answer.output
    assert "Traceback" not in answer.output
