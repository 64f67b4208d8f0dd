"""Every field case has its scenario or its test, and keeps it: a table of which, and tests of what no scenario holds.

A field case is something that went wrong for other people with the same parts or the same physics. Its number stands in
the scenario's own `case`, or in the docstring of the test, so that neither can lose it unnoticed.
"""

from __future__ import annotations

import ast
import json
import math
from functools import cache
from pathlib import Path

import pytest

from controller.core.commands import Verb
from controller.core.events import Happened
from controller.core.explain import explain
from controller.core.margins import margins
from controller.core.memory import Memory, gas_may_be_present
from controller.core.sequence import State
from controller.core.signals import Code
from controller.guard.protocol import Kept, event_as_dict
from controller.link.messages import ProvenNow
from controller.link.tell import Teller
from simulator.rehearsal.scenario import read_scenario, shipped
from simulator.rehearsal.world import Level, Physical, World, allowed_a
from tests.core.rigs import full_bench

TESTS = Path(__file__).parents[1]
GRACE_S = {"current": 2.0, "cell temperature": 5.0}  # of signals read ten times, and once, a second
NO_NUMBERS = {"nan": math.nan, "+inf": math.inf, "-inf": -math.inf, "none": None}

# Scenarios by the name of their file, tests by file and name.
WHERE: dict[str, tuple[str, ...]] = {
    "A01": (
        "a01-conversion-never-ends",
        "a01-multiplexer-stuck",
        "boards/test_ads1115_registers.py::test_the_old_result_stands_until_the_new_one_is_there",
        "hardware/test_converter.py::test_alternating_channels_are_never_swapped_over_ten_thousand_reads",
    ),
    "A03": (
        "a03-minus-one-count",
        "hardware/test_converter.py::test_small_negative_codes_at_rest_are_small_negative_currents",
    ),
    "A06": (
        "a06-i2c-errors",
        "hardware/test_converter.py::test_a_single_error_is_counted_and_retried",
        "hardware/test_converter.py::test_a_third_of_the_transfers_failing_still_leaves_most_readings",
    ),
    "A08": (
        "a08a-one-power-on-value",
        "a08b-power-on-value-stays",
        "boards/test_onewire.py::test_lines_read_as_the_kernel_prints_them",
        "hardware/test_thermometer.py::test_one_power_on_value_is_rejected_and_the_next_reading_is_good",
        "hardware/test_thermometer.py::test_a_sensor_that_keeps_saying_the_power_on_value_stays_rejected_for_longer_than_any_grace",
        "hardware/test_thermometer.py::test_a_true_85_that_was_reached_step_by_step_is_a_temperature",
    ),
    "A11": (
        "a11a-two-garbled-readings",
        "a11b-sensor-gone-for-a-while",
        "a11c-sensor-never-there",
        "a11d-sensor-file-empty",
        "hardware/test_thermometer.py::test_a_missing_file_and_a_failed_read_have_their_own_reasons",
    ),
    "A13": (
        "a13-read-never-returns",
        "boards/test_processes.py::test_thermometers_block_for_their_conversion_and_can_hang_or_vanish",
        "hardware/test_instruments.py::test_the_scan_never_reads_a_slow_sensor",
        "hardware/test_slow.py::test_one_that_never_returns_is_lost_alone_and_comes_back",
    ),
    "A14": (
        "a14-broken-sensor-wire",
        "reference/test_instruments_scales.py::test_a_resistive_sensor_at_a_rail_is_a_broken_wire_and_no_temperature",
        "reference/test_instruments_scales.py::test_the_case_of_the_broken_thermistor_reads_as_it_says",
    ),
    "A16": (
        "rehearsal/test_field_cases.py::test_a_reading_that_is_no_number_trips_at_its_grace_and_starts_nothing",
        "rehearsal/test_field_cases.py::test_one_current_in_a_thousand_that_is_no_number_is_counted_and_no_more",
    ),
    "A18": (
        "a18-off-for-twelve-hours",
        "a18-steady-for-hours",
        "hardware/test_converter.py::test_a_steady_value_is_fresh_for_hours",
        "hardware/test_flow_meter.py::test_no_flow_from_the_start_is_zero_and_good",
    ),
    "A19": (
        "a19-flow-fades",
        "a19-flow-stops",
        "hardware/test_flow_meter.py::test_lost_flow_is_under_the_limit_within_half_a_second_whatever_the_phase",
        "hardware/test_flow_meter.py::test_a_flow_that_fades_over_three_seconds_reads_lower_and_lower",
    ),
    "A21": (
        "a21a-random-spikes",
        "a21b-mains-hum",
        "a21c-one-pulse-a-second",
        "a21d-burst-at-a-relay",
        "hardware/test_flow_meter.py::test_short_spikes_without_flow_are_not_flow",
        "hardware/test_flow_meter.py::test_pulses_locked_to_the_mains_are_not_flow",
        "hardware/test_flow_meter.py::test_pulses_faster_than_the_meter_can_turn_are_not_flow",
        "hardware/test_flow_meter.py::test_one_pulse_a_second_is_no_flow",
        "hardware/test_flow_meter.py::test_a_burst_at_a_relay_switching_neither_trips_nor_counts",
    ),
    "A23": (
        "hardware/test_counter.py::test_the_flow_is_steady_throughout_a_wrap",
        "hardware/test_counter.py::test_a_restart_is_one_unseen_interval_and_no_negative_flow",
        "hardware/test_counter.py::test_an_impossible_step_is_not_good_for_that_scan_and_leaves_the_total_alone",
        "hardware/test_flow_meter.py::test_the_total_never_falls_and_is_never_negative",
    ),
    "A24": (
        "a24a-float-sloshes",
        "a24b-float-is-mostly-low",
        "a24c-float-falls-edge-lost",
        "a24d-float-wire-broken",
        "boards/test_bench.py::test_a_lost_edge_of_a_float_does_not_hide_that_it_has_opened",
        "hardware/test_switches.py::test_a_lost_edge_cannot_hide_that_a_contact_has_opened",
    ),
    "A26": (
        "a26-nothing-moves-before-a-start",
        "boards/test_wiring.py::test_no_output_of_a_shipped_bench_moves_while_a_pi_boots",
        "hardware/test_outputs.py::test_a_pin_that_is_not_quiet_at_boot_is_refused_for_an_output",
        "hardware/test_outputs.py::test_an_output_that_a_dead_pi_would_leave_unsafe_is_refused",
        "hardware/test_outputs.py::test_a_good_pin_for_a_coil_is_accepted",
    ),
    "A28": (
        "a28-guard-killed",
        "a28-guard-stopped-and-continued",
        "boards/test_bench.py::test_when_the_process_dies_the_relay_or_the_kernel_ends_it",
        "boards/test_processes.py::test_a_killed_guard_loses_power_before_the_relay_falls_where_the_kernel_lets_go",
    ),
    "A30": (
        "a30a-main-welded",
        "a30b-one-pole-welded",
        "a30c-current-returns",
        "a30d-an-ordinary-stop",
        "boards/test_power_path.py::test_each_fault_shows_its_own_pair_of_path_and_auxiliary_when_told_to_open",
    ),
    "A33": (
        "link/test_connection.py::test_commands_are_heard_again_after_a_broker_without_memory_restarts",
        "link/test_connection.py::test_a_subscription_that_does_nothing_is_said_and_asked_for_again",
    ),
    "A35": (
        "link/test_connection.py::test_a_broker_that_stands_still_is_found_and_nothing_is_lost",
        "link/test_network.py::test_a_network_that_is_cut_in_silence_is_found_by_both_ends_and_costs_nothing",
    ),
    "A37": (
        "link/test_connection.py::test_a_second_client_of_the_same_name_is_said_and_no_storm_follows",
        "system/test_processes.py::test_a_second_guard_is_refused_and_touches_no_pin",
    ),
    "A39": (
        "link/test_link.py::test_who_subscribes_an_hour_after_the_guard_fell_silent_sees_how_old_the_state_is",
        "page/test_looking.py::test_a_retained_message_alone_is_never_live",
        "page/test_looking.py::test_a_phone_that_slept_shows_what_it_has_as_old_and_then_is_live_again",
    ),
    "A40": ("a40-retained-start",),
    "A42": ("a42-clock-jumps", "record/test_historian.py::test_a_clock_that_is_put_right_moves_all_that_came_before"),
    "A44": ("a44-card-stalls",),
    "A48": ("a48-restart-loop",),
    "A52": ("a52a-flow-comes-late", "a52b-flow-never-comes", "a52c-flow-comes-and-goes", "a52e-short-at-closing"),
    "B01": ("b01-analyser-climbs", "b01-below-the-minimum"),
    "B03": ("b03-outlet-blocked", "b03-pressure-standing", "b03-slow-clog"),
    "B05": ("b05-coil-drops", "b05-mains-dip"),
    "B06": ("b06-fan-never-starts", "b06-fan-stops", "b06-hydrogen-without-air"),
    "B10": ("b10-seal-dry",),
    "B11": ("b11-over-current", "b11-short-circuit", "b11-volts-missing"),
    "B12": ("b12-constant-voltage", "b12-warm-water"),
    "B14": ("b14-no-water-limit-bypassed",),
    "B15": ("b15-air-in-the-loop", "b15-sputter-then-trickle"),
    "B17": ("b17-stop-and-reverse-current",),
    "B19": (
        "rehearsal/test_field_cases.py::test_after_a_stop_gas_counts_as_present_until_the_vent_time_has_passed_with_the_fan_proven",
        "rehearsal/test_field_cases.py::test_after_a_boot_the_vent_time_begins_anew",
    ),
    "B21": (
        "rehearsal/test_field_cases.py::test_it_is_safe_to_open_only_when_proven_off_cool_without_pressure_and_vented",
    ),
    "B22": ("b22-foam",),
    "B24": ("b24-quietly-nothing",),
}


@cache
def docstrings_of(file: str) -> dict[str, str]:
    """Docstrings by the name of the test."""
    tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
    return {
        node.name: ast.get_docstring(node) or ""
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test_")
    }


def names_case(place: str, case: str) -> bool:
    """Whether that scenario or test is there and says that it is for this case."""
    file, _, test = place.partition("::")
    if test:
        return (TESTS / file).is_file() and f"case {case}".lower() in docstrings_of(file).get(test, "").lower()
    return any(path.stem == place and read_scenario(path).case == case for path in shipped())


@pytest.mark.parametrize("case", WHERE)
def test_the_case_is_where_the_table_says(case: str) -> None:
    assert [place for place in WHERE[case] if not names_case(place, case)] == []


def test_no_case_is_without_a_place_and_no_scenario_of_a_case_is_missing_from_the_table() -> None:
    assert len(WHERE) == 39
    assert all(WHERE.values())
    listed = {place for places in WHERE.values() for place in places}
    assert [path.stem for path in shipped() if read_scenario(path).case and path.stem not in listed] == []


def test_a_place_that_vanished_or_forgot_its_case_is_found() -> None:
    assert names_case("a03-minus-one-count", "A03")
    assert not names_case("a03-minus-one-count", "A06")
    assert not names_case("a03-gone", "A03")
    assert not names_case("hardware/test_converter.py::test_that_is_gone", "A03")
    assert not names_case("hardware/test_gone.py::test_it", "A03")


# --- A16: not-a-number is not above any limit


@pytest.mark.parametrize("number", NO_NUMBERS.values(), ids=NO_NUMBERS)
@pytest.mark.parametrize("name", GRACE_S)
def test_a_reading_that_is_no_number_trips_at_its_grace_and_starts_nothing(name: str, number: float | None) -> None:
    """Case A16."""
    bench = full_bench()
    bench.start()
    bench.run(12.0)  # past every settling window
    good_s, sound = bench.now_s - 0.01, bench.numbers[name]
    if number is None:
        bench.codes[name] = Code.ABSENT
    else:
        bench.numbers[name] = number
    bench.until(lambda: bench.at(State.TRIPPED), 6.0)
    assert GRACE_S[name] - 1e-6 <= bench.now_s - good_s <= GRACE_S[name] + 0.1 + 1e-6
    assert not bench.flows()
    told = [explain(bench.rig, bench.memory, margins(bench.rig, bench.memory)).text]
    told += [json.dumps(event_as_dict(Kept(e, 0.0, True)), allow_nan=False) for e in bench.events]
    assert not any("nan" in text.lower().split() for text in told)
    # off, and asked to start: the sensor is named
    bench.ask(Verb.RESET)
    answer = bench.ask(Verb.START)
    assert answer.what is Happened.REFUSED
    bench.numbers[name] = sound
    bench.codes.clear()
    bench.run(1.0)
    assert bench.memory.values[[s.name for s in bench.rig.signals].index(name)].number is not None, "it recovers"


def test_one_current_in_a_thousand_that_is_no_number_is_counted_and_no_more() -> None:
    """Case A16: three of them in five minutes."""
    bench = full_bench()
    bench.start()
    at = [s.name for s in bench.rig.signals].index("current")
    bad = 0
    for scan in range(1, 3011):
        bench.numbers["current"] = math.nan if scan % 1000 == 0 else None
        bench.scan()
        bad += bench.memory.values[at].code is Code.NOT_FINITE
    assert bad == 3
    assert bench.at(State.RUNNING)
    assert not bench.causes
    assert bench.memory.values[at].number == pytest.approx(bench.current_a(), abs=0.2), "a filter holds no trace of it"


# --- B19: quiet is not safe


def running_boathouse(physical: Physical) -> World:
    through = frozenset({"cell_temperature"})  # a fault of its line is to be felt
    world = World(physical, Level.SIGNALS, 1, allowed_a(physical.rig), through=through)
    world.run_up()
    return world


def memory_of(world: World) -> Memory:
    assert world.guard is not None
    return world.guard.memory


def pass_time(world: World, seconds: float) -> None:
    for _ in range(round(seconds / world.rig.core.scan_s)):
        world.scan()


def sentence(world: World) -> str:
    rig, memory = world.rig.core, memory_of(world)
    return explain(rig, memory, margins(rig, memory)).text


def test_after_a_stop_gas_counts_as_present_until_the_vent_time_has_passed_with_the_fan_proven(
    boathouse: Physical,
) -> None:
    """Case B19: asked 5 s after the stop, then with the fan off for a while, then at the end of the vent time."""
    vent_s = boathouse.rig.core.timing.ventilate_s
    world = running_boathouse(boathouse)
    world.ask("stop")
    pass_time(world, 15.0)
    assert not world.powered
    assert gas_may_be_present(memory_of(world))
    assert "Gas may still be present." in sentence(world)
    world.behind.disturbances = world.behind.disturbances._replace(ventilation=0.0)
    pass_time(world, 60.0)
    world.behind.disturbances = world.behind.disturbances._replace(ventilation=1.0)
    pass_time(world, vent_s - 60.0)
    assert gas_may_be_present(memory_of(world)), "a minute without air does not count"
    pass_time(world, 75.0)
    assert not gas_may_be_present(memory_of(world))
    assert "Gas may" not in sentence(world)
    world.close()


def test_after_a_boot_the_vent_time_begins_anew(boathouse: Physical) -> None:
    """Case B19, variant: nothing is known of what happened before."""
    vent_s = boathouse.rig.core.timing.ventilate_s
    world = World(boathouse, Level.SIGNALS, 1, allowed_a(boathouse.rig))
    pass_time(world, vent_s - 15.0)
    assert gas_may_be_present(memory_of(world))
    pass_time(world, 30.0)
    assert not gas_may_be_present(memory_of(world))
    world.close()


# --- B21: caustic in the eye at the clean-up


def test_it_is_safe_to_open_only_when_proven_off_cool_without_pressure_and_vented(boathouse: Physical) -> None:
    """Case B21: 64 C and 12 mbar a minute after the stop; cold with 12 mbar; cold and without pressure; sensor dead."""
    world = running_boathouse(boathouse)
    teller = Teller(boathouse.rig.core)

    def told() -> ProvenNow:
        return teller._proven(memory_of(world))

    assert told().safe_to_open is False
    assert told().safe_to_open_why == "Power is not proven off."
    world.ask("stop")
    world.behind.script |= {"cell_temperature_c": 64.0, "pressure_h_mbar": 12.0}
    pass_time(world, 60.0)
    assert told().safe_to_open is False
    assert told().safe_to_open_why == "The cell is at 64 C: wait until it is under 40 C."
    world.behind.script |= {"cell_temperature_c": 38.0}
    pass_time(world, boathouse.rig.core.timing.ventilate_s + 60.0)
    assert told().safe_to_open is False
    assert "12 mbar" in told().safe_to_open_why
    world.behind.script |= {"pressure_h_mbar": 0.0}
    pass_time(world, 30.0)
    assert told().safe_to_open is True
    assert "Goggles and gloves" in told().safe_to_open_why
    world.bench.fault("cell_temperature", "absent")
    pass_time(world, 10.0)
    assert told().safe_to_open is None
    assert told().safe_to_open_why == "Not known: the cell's temperature."
    world.close()
