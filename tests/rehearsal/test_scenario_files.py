"""A bad scenario file is answered with the line, the key, what is wrong and what would be right."""

from __future__ import annotations

import pytest

from simulator.rehearsal.scenario import ScenarioError, parse_scenario

GOOD = """title = "coolant lost"
duration_s = 60
[[at]]
t_s = 10
fault = "coolant-throttled"
with = { share = 0.5 }
[expect]
trips = true
"""


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("coolant-throttled", "coolant-throtled", "line 5, at.0.fault: no fault 'coolant-throtled'. Did you mean c"),
        ("share = 0.5", "share = 1.5", "line 5, at.0.fault: share is 1.5. Coolant-throttled takes 0 to 1"),
        ("share = 0.5", "part = 0.5", "line 5, at.0.fault: coolant-throttled has no 'part'. It has: share"),
        ("t_s = 10", "t_s = 70", "line 4, at.0.t_s: 70 s is after the end. Give at most 60"),
        ("t_s = 10\n", "", "line 3, at.0.t_s: is missing"),
        ("trips = true", "trip = true", "line 8, expect.trip: is not known here"),
        ("trips = true", 'never = { lye_c = { above = 1 } }', "expect.never.lye_c: 'lye_c' is not known"),
        ("trips = true", 'end_state = "asleep"', "line 8, expect.end_state: 'asleep' is not known. Give one of off"),
        ("trips = true", 'trips = false\nfirst_out = "x"', "there is no first-out without a trip"),
        ("duration_s = 60", "duration_s = -1", "line 2, duration_s: -1 does not fit"),
        ('fault = "coolant-throttled"\nwith', 'with', "line 3, at.0: says nothing that happens. Give one of fault"),
        ('fault = "coolant-throttled"\nwith = { share = 0.5 }', 'command = "strat"',
        "at.0.command: 'strat' is not known"),
        ('"coolant-throttled"\nwith = { share = 0.5 }', '"wire-open"', "at.0.fault: wire-open needs a part"),
        ("[[at]]", "[[at]", "line 3"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_line(old: str, new: str, says: str) -> None:
    assert old in GOOD
    with pytest.raises(ScenarioError) as raised:
        parse_scenario(GOOD.replace(old, new), "x.toml")
    assert says in str(raised.value)
    assert "x.toml" in str(raised.value)


def test_a_script_needs_to_be_owned_up_to_and_judges_no_plant() -> None:
    text = 'title = "abc"\nduration_s = 9\n[[at]]\nt_s = 1\nscript = { current_a = 3 }\n'
    with pytest.raises(ScenarioError, match="instruments are scripted"):
        parse_scenario(text, "x.toml")
    with pytest.raises(ScenarioError, match="say nothing about the plant"):
        parse_scenario(
            text.replace("\n[[at", '\nreadings = "scripted"\n[[at')
            + "[expect]\nnever = { current_a = { above = 1 } }\n",
            "x.toml",
        )


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file() -> None:
    with pytest.raises(ScenarioError) as raised:
        parse_scenario(GOOD.replace("share", "part").replace("60", "60\nduraton = 1"), "x.toml")
    assert [p.line for p in raised.value.problems] == [3, 6]


def test_entries_are_played_in_the_order_of_time() -> None:
    scenario = parse_scenario(GOOD + '[[at]]\nt_s = 2\nclear = "all"\n', "x.toml")
    assert [entry.t_s for entry in scenario.at] == [2, 10]
