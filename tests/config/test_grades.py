"""May it be left? Each thing that the unattended grade needs, taken away alone, makes the rig attended and says so."""

from __future__ import annotations

import pytest

from controller.config.defaults import DEFAULTS
from controller.core.limits import Effect
from controller.core.rig import Grade
from tests.config.changed import loaded, table, text

Changes = tuple[tuple[str, str], ...]


def not_fitted(signal: str, *limits: str) -> Changes:
    """A signal declared missing, and the limits on it taken out."""
    stub = f'[signals.{signal}]\nfitted = false\nbecause = "not bought yet: watched by eye"\n\n'
    return ((table(f"signals.{signal}"), stub), *((table(f'limits."{name}"'), "") for name in limits))


def without(*headers: str) -> Changes:
    return tuple((table(header), "") for header in headers)


def changed(header: str, old: str, new: str) -> Changes:
    return ((table(header), table(header).replace(old, new)),)


TAKEN: dict[str, tuple[Changes, str]] = {
    "lye temperature": (
        not_fitted("cell_temperature", "over-temperature", "over-temperature warn", "over-temperature derate"),
        "a lye temperature",
    ),
    "level, hydrogen side": (not_fitted("level_hydrogen", "level low hydrogen side"), "float on the hydrogen side"),
    "level, oxygen side": (not_fitted("level_oxygen", "level low oxygen side"), "float on the oxygen side"),
    "coolant flow": (
        not_fitted("coolant_flow", "coolant flow low", "coolant flow warn", "coolant flow high"),
        "a proof of coolant flow",
    ),
    "current": (
        not_fitted(
            "current", "over-current", "short", "reversed", "current while off", "no current", "minimum current"
        ),
        "a measured current",
    ),
    "second means": (without("power.second"), "second, independent means"),
    "second means behind the watchdog": (
        changed("power.second", "pin = 23\n", "pin = 23\nbehind_watchdog = false\n"),
        "fed through the watchdog relay",
    ),
    "seal-in": (changed("power.main", "close_pin = 22\n", ""), "seals in"),
    "auxiliary contact": (changed("power.main", "contact = { pin = 7 }\n", ""), "auxiliary contact"),
    "stop button": (changed("power", 'stop_button = "in the coil circuit"\n', ""), "stop button in the coil circuit"),
    "thermostat": (changed("power", "thermostat_C = 85 ", "# "), "thermostat in the coil circuit"),
    "stop chain": (not_fitted("stop_chain", "stop chain"), "stop button in the coil circuit"),
    "ventilation": (not_fitted("air_flow", "ventilation lost"), "proof of ventilation"),
    "water account": (without("water", "top_up"), "water account"),
    "leak": (not_fitted("dry_floor", "leak"), "leak sensor"),
    "dead-man notice": (without("notice"), "falls silent"),
}


@pytest.mark.parametrize("what", TAKEN)
def test_taken_away_alone_it_makes_the_rig_attended(what: str) -> None:
    changes, words = TAKEN[what]
    rig = loaded(*changes).core
    assert rig.grade is Grade.ATTENDED
    (missing,) = rig.missing
    assert words in missing


def test_natural_air_stands_in_for_a_proof_of_ventilation_when_it_is_enough() -> None:
    """0.05 m3/h for each of 30 A x 3 cells: 4.5 m3/h."""
    gone = not_fitted("air_flow", "ventilation lost")
    for natural, grade in ((4.5, Grade.UNATTENDED), (4.4, Grade.ATTENDED)):
        air = f'\n[ventilation]\nnatural_m3_h = {natural}\nhow_known = "smoke and a stopwatch"\n'
        assert loaded(*gone, ("\n[timing]\n", f"{air}\n[timing]\n")).core.grade is grade


@pytest.mark.parametrize(
    ("sides", "seal", "left"),
    [("both", True, True), ("both", False, True), ("none", True, True), ("none", False, False), ("one", False, False)],
)
def test_pressure_on_both_sides_or_a_water_seal(sides: str, seal: bool, left: bool) -> None:
    gone = {"both": (), "one": ("oxygen",), "none": ("hydrogen", "oxygen")}[sides]
    changes: list[tuple[str, str]] = [] if seal else [("water_seal_mm = 25\n", "")]
    for side in gone:
        changes += not_fitted(f"pressure_{side}", f"gas pressure {side} side", f"gas pressure {side} side warn")
    if gone:
        changes += without('limits."under-pressure"')
    assert (loaded(*changes).core.grade is Grade.UNATTENDED) is left


def test_two_solid_state_switches_are_not_enough() -> None:
    solid = [
        *changed("power.main", '"contactor"', '"solid state"'),
        *changed("power.second", '"contactor"', '"enable input"'),
    ]
    (missing,) = loaded(*solid).core.missing
    assert "fail closed" in missing
    assert loaded(*solid[:1]).core.missing == ()


def test_cooling_other_than_water_asks_for_its_own_proof() -> None:
    flow = not_fitted("coolant_flow", "coolant flow low", "coolant flow warn", "coolant flow high")
    fan = ('kind = "water" ', 'kind = "fan" ')
    air = '[signals.cooling_air]\nsensor = "switch"\npin = 18\n\n'
    rig = loaded(*flow, *_knob(), fan, ("[signals.level_hydrogen]", f"{air}[signals.level_hydrogen]"))
    assert rig.core.grade is Grade.UNATTENDED
    assert {x.name for x in rig.core.limits if x.proving} == {"cooling fan lost", "ventilation lost"}
    none = loaded(*flow, ('kind = "water" ', 'kind = "none" '))
    (missing,) = none.core.missing
    assert "second lye temperature" in missing


def _knob() -> Changes:
    """A knob instead of the set-point, which frees pin 18."""
    return (
        ('kind = "settable"', 'kind = "current knob"'),
        (table("set_point"), ""),
        (table('limits."over-temperature derate"'), ""),
    )


def test_attended_limits_are_for_a_third_of_the_rated_current() -> None:
    taken = loaded(*without("notice"), (table('limits."short"'), ""))
    limits = {limit.name: limit for limit in taken.core.limits}
    assert limits["over-current"].threshold == pytest.approx(1.15 * 10.0)  # although the file says 35 A
    assert limits["short"].threshold == pytest.approx(1.3 * 1.15 * 10.0)
    assert limits["minimum current"].effect is Effect.ALARM  # no gas is collected, somebody stands there
    assert any("third of the rated current" in warning for warning in taken.warnings)


def test_an_attended_rig_has_its_times() -> None:
    timing = loaded(rig="minimal").core.timing
    assert (timing.attended_at_most_s, timing.presence_s) == (1800.0, 600.0)


def test_nobody_needs_to_fake_an_input() -> None:
    """With current, one temperature and a stop chain alone the minimal rig runs, attended, with nothing pretended."""
    changes: list[tuple[str, str]] = []
    for signal in ("coolant_flow", "level_hydrogen", "level_oxygen"):
        stub = f'[signals.{signal}]\nfitted = false\nbecause = "first power: by eye"\n\n'
        changes.append((table(f"signals.{signal}", "minimal"), stub))
    rig = loaded(*changes, rig="minimal")
    assert [s.name for s in rig.core.signals] == ["current", "cell_temperature", "stop_chain"]
    assert rig.core.grade is Grade.ATTENDED


def test_every_default_limit_has_a_reason_and_where_it_comes_from() -> None:
    for name, default in DEFAULTS.items():
        assert default.because.endswith(("(cp)", "(p)")), name


def test_every_limit_of_a_rig_has_a_reason() -> None:
    for name in ("boathouse", "minimal"):
        rig = loaded(rig=name)
        assert set(rig.reasons) == {limit.name for limit in rig.core.limits}
        assert all(rig.reasons.values())


def test_each_limit_of_the_boathouse_file_states_its_reason() -> None:
    whole = text()
    headers = [line for line in whole.splitlines() if line.startswith('[limits."')]
    assert len(headers) == len(loaded().core.limits)
    assert all("\nbecause = " in table(header.strip("[]")) for header in headers)
