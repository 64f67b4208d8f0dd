"""What a person is told: file, line, key, what is wrong, what would be right; all of it at once, never a traceback."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from controller.config import rigs
from controller.config.load import LARGEST_BYTES, compile_text, load
from controller.config.problems import RigFileError
from controller.hardware.description import CountedMeter
from tests.config.changed import TODAY, line_of, loaded, refused, table, text


def refusal(written: bytes) -> RigFileError:
    with pytest.raises(RigFileError) as caught:
        compile_text(written, "my.toml", TODAY)
    return caught.value


def test_a_message_has_file_line_key_what_is_wrong_and_what_would_be_right() -> None:
    change = ("rated_A = 30\n", "rated_A = -30\n")
    (problem,) = refused(change)
    line = line_of("rated_A = -30", text(change))
    assert (problem.file, problem.line, problem.key) == ("my.toml", line, "supply.rated_A")
    assert str(problem).startswith(f"my.toml line {line}, supply.rated_A: -30 is not right. ")
    assert "greater than 0" in problem.right


def test_all_problems_are_told_at_once_in_the_order_of_the_file() -> None:
    found = refused(("rated_A = 30\n", "rated_A = true\n"), ("pulses_per_L = 450\n", ""), ('name = "boathouse"\n', ""))
    assert [p.key for p in found] == ["name", "supply.rated_A", "signals.coolant_flow.pulses_per_L"]
    assert [p.line for p in found] == sorted(p.line for p in found)


def test_a_misspelt_key_is_answered_with_the_right_one() -> None:
    (problem,) = refused(("start_lag_s = 0.5", "start_lagg_s = 0.5"))
    assert problem.key == "supply.start_lagg_s"
    assert problem.right == "Did you mean start_lag_s?"


def test_an_unknown_key_is_answered_with_the_known_ones_as_they_are_written() -> None:
    (problem,) = refused(("normal_A = 30\n", "normal_A = 30\ncolour = 3\n"))
    assert problem.key == "signals.current.colour"
    assert "range_low_A" in problem.right
    assert "range_low," not in problem.right


def test_a_missing_number_is_named_with_its_unit() -> None:
    (problem,) = refused(("error_L_min = 0.1\n", ""))
    assert problem.key == "signals.coolant_flow.error_L_min"
    assert problem.line == line_of("[signals.coolant_flow]", text())


@pytest.mark.parametrize(
    ("old", "new", "key", "right"),
    [
        ("error_percent = 0.15", "error_ppm = 1500", "signals.hydrogen_in_oxygen.error_ppm", "Write error_percent."),
        ("normal_V = 6.6", "normal_mV = 6600", "signals.voltage.normal_mV", "Write normal_V."),
        ("normal_V = 6.6", "normal = 6.6", "signals.voltage.normal", "Write normal_V."),
        ("below_L_min = 0.8", "below_L_h = 48", 'limits."coolant flow low".below_L_h', "Write below_L_min."),
        ("derate_to_C = 69", "derate_to_K = 342", "derate_to_K", "Write derate_to_C."),
        ("means_percent = [0, 4]", "means_mbar = [0, 4]", "loop.means_mbar", "Write means_percent."),
    ],
)
def test_a_wrong_unit_or_none_is_refused_and_the_right_one_is_named(old: str, new: str, key: str, right: str) -> None:
    found = refused((old, new))
    (problem,) = [p for p in found if p.key.endswith(key)]
    assert problem.right == right
    assert problem.line == line_of(new, text((old, new)))


def test_volts_may_be_given_per_cell_but_not_twice() -> None:
    limit = {x.name: x for x in loaded().core.limits}["cell voltage low"]
    assert limit.threshold == pytest.approx(3 * 1.4)
    found = refused(("below_V_per_cell = 1.4\n", "below_V_per_cell = 1.4\nbelow_V = 4.2\n"))
    assert [p.key for p in found] == ['limits."cell voltage low".below_V_per_cell']


def test_a_signal_of_ones_own_must_say_its_quantity() -> None:
    own = '[signals.joint]\nsensor = "DS18B20"\nid = "28-0b0a7e110009"\n\n'
    (problem,) = refused(("[signals.coolant_flow]", own + "[signals.coolant_flow]"))
    assert problem.key == "signals.joint.quantity"
    assert "temperature" in problem.right
    rig = loaded(
        ("[signals.coolant_flow]", own.replace("id =", 'quantity = "temperature"\nid =') + "[signals.coolant_flow]")
    )
    assert "joint" in [s.name for s in rig.core.signals]


def test_what_stands_for_another_quantity_is_refused() -> None:
    (problem,) = [
        p for p in refused(("normal_A = 30\n", 'normal_A = 30\nquantity = "voltage"\n')) if "quantity" in p.key
    ]
    assert (problem.wrong, problem.right) == ("'voltage' is not right", "Leave it out: current is a current.")


def test_an_unknown_sensor_is_answered_with_the_known_ones() -> None:
    changed = table("signals.dry_floor").replace('sensor = "switch"', 'sensor = "float"')
    (problem,) = refused((table("signals.dry_floor"), changed))
    assert problem.key == "signals.dry_floor.sensor"
    assert "'pulse meter'" in problem.right


def test_an_unknown_converter_is_answered_with_the_known_ones() -> None:
    changed = table("signals.room_hydrogen").replace('converter = "gas"', 'converter = "air"')
    found = refused((table("signals.room_hydrogen"), changed))
    (problem,) = [p for p in found if p.key == "signals.room_hydrogen.converter"]
    assert "power, gas" in problem.right


@pytest.mark.parametrize(
    ("written", "line", "wrong"),
    [
        (b"a = 1\nb = \n", 2, "not TOML: Invalid value"),
        (b"a = 1\nb = [1,\n", 2, "not TOML"),
        (b"a = 1\na = 2\n", 2, "not TOML: Cannot overwrite a value"),
        (b"[a]\nx = 1\n[a]\n", 3, "not TOML: Cannot declare"),
        (b"a = 1\nb = '\xff'\n", 2, "not UTF-8"),
        (b"a = " + b"[" * 5000, 0, "not TOML"),
        (b"a = " + b"9" * 5000, 0, "not TOML"),
        (b"a = 1979-13-01\n", 1, "not TOML"),
        (b"a = '''\n\n", 3, "not TOML"),
    ],
)
def test_what_is_no_toml_is_refused_with_its_line(written: bytes, line: int, wrong: str) -> None:
    (problem,) = refusal(written).problems
    assert problem.line in (line, line + 1) if b"[1," in written or b"'''" in written else problem.line == line
    assert problem.wrong.startswith(wrong) or wrong in problem.wrong


@pytest.mark.parametrize(
    ("right", "slip", "told"),
    [
        ("= 0.1,", "= 0,1,", "decimal dot, not a comma"),
        ('"KOH"', '"KOH', "quotation mark is missing"),
        ('"KOH"', 'KOH"', "quotation mark is missing"),
        ('"KOH"', "\u201eKOH\u201c", "plain quotation mark"),
        ('"KOH"', "KOH", "between quotation marks"),
        ("= 30,", "= 30 A,", "number alone"),
        ("= 30,", "= 30A,", "number alone"),
        ("= 30,", "= 30 %,", "number alone"),
        ("= 0.1,", "= .1,", "both sides of the dot"),
        ("= 0.1,", "= 5.,", "both sides of the dot"),
        ("= 30,", "= ,", "a value behind"),
        ("= 30,", "= 30", "a comma between"),
        ("live_zero = true", "live_zero = True", "true or false, in small"),
        ("live_zero = true", "live_zero = yes", "true or false, in small"),
        ("[signals]", "[signals", "between [ and ]"),
        ("[signals]", "[outputs]", "further up already"),
        ('name = "', 'name: "', "Write = between"),
        (' "KOH" }', ' "KOH"', "ends with }"),
    ],
)
def test_a_slip_of_the_hand_is_told_what_would_be_right(right: str, slip: str, told: str) -> None:
    sound = """name = "shed"
cell = { rated_A = 30, error_A = 0.1, live_zero = true, lye = "KOH" }
[signals]
pressure = 1
[outputs]
horn = { pin = 3 }
"""
    assert right in sound
    (problem,) = refusal(sound.replace(right, slip, 1).encode()).problems
    assert "not TOML" in problem.wrong
    assert told in problem.right


def test_a_misspelt_standard_limit_is_answered_with_the_right_one() -> None:
    found = refused(('[limits."level high"]', "[limits.level-high]"))
    assert any("Did you mean the limit 'level high'?" in p.right for p in found), found


def test_an_empty_file_is_told_what_it_lacks() -> None:
    keys = {p.key for p in refusal(b"").problems}
    assert {"name", "title", "drivers", "cell", "supply", "power", "cooling", "gas", "signals"} == keys


def test_a_file_that_is_not_there_or_not_a_file_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path, Path("a\0b")):
        with pytest.raises(RigFileError) as caught:
            load(path)
        assert "boathouse" in caught.value.problems[0].right
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * (LARGEST_BYTES + 1))
    with pytest.raises(RigFileError, match="larger than"):
        load(huge)


def test_a_quoted_value_is_never_longer_than_a_line() -> None:
    (problem,) = refused(('title = "Boathouse workshop (invented)"', f'title = "{"x" * 5000}"'))
    assert len(str(problem)) < 300


def test_proof_tests_of_a_real_rig_fall_due() -> None:
    real = ('drivers = "bench"  ', 'drivers = "pi"  ')
    assert loaded(real, today=date(2027, 5, 1)).core.missing == ()
    for day, words in ((date(2027, 5, 2), "1 days overdue"), (date(2026, 4, 30), "is ahead of this machine's clock")):
        (what,) = loaded(real, today=day).core.missing
        assert words in what
    (what,) = loaded(real, (table("proof_tests"), "")).core.missing
    assert "passed proof tests" in what
    assert not loaded(real).core.simulated
    assert loaded((table("proof_tests"), "")).core.missing == ()  # on a bench they are rehearsed


def test_each_shipped_rig_reads_the_same_with_windows_line_ends() -> None:
    for name in rigs.names():
        unix = rigs.shipped(name).read_bytes()
        windows = compile_text(unix.replace(b"\n", b"\r\n"), "w.toml", TODAY)
        assert windows.core.limits == compile_text(unix, "u.toml", TODAY).core.limits
        assert windows.core.rig_hash != compile_text(unix, "u.toml", TODAY).core.rig_hash


def test_a_flow_meter_may_hang_on_a_counter_of_the_kernel() -> None:
    meter = table("signals.coolant_flow")
    counted = meter.replace('"pulse meter"', '"kernel counter"').replace("shortest_pulse_s = 0.001\n", "")
    counted = counted.replace("pin = 5\n", 'path = "bus/counter/devices/counter0/count0/count"\n')
    source = dict(loaded((meter, counted)).hardware.signals)["coolant_flow"]
    assert isinstance(source, CountedMeter)
    assert (source.pulses_per_litre, source.width_bits, source.most_l_min) == (450.0, 32, 10.0)


def test_over_volts_are_left_out_where_the_supply_cannot_give_them() -> None:
    bare = [(table(f'limits."cell voltage {name}"'), "") for name in ("high", "warn")]
    for open_v, names in (
        (7.0, set()),
        (8.0, {"cell voltage warn"}),
        (15.0, {"cell voltage warn", "cell voltage high"}),
    ):
        rig = loaded(*bare, ("open_circuit_V = 15 ", f"open_circuit_V = {open_v} "))
        assert {x.name for x in rig.core.limits} & {"cell voltage warn", "cell voltage high"} == names
