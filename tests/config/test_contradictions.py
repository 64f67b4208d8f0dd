"""Each contradiction a rig file can hold is refused at its key, with what is wrong and a way out."""

from __future__ import annotations

import pytest

from controller.chemistry.gas_safety import crossover_mol_s_m2, current_density_a_m2
from controller.chemistry.lye import Lye, density_kg_m3
from controller.config.load import CompiledRig
from controller.core.limits import Effect
from tests.config.changed import line_of, loaded, refused, table, text
from tests.config.contradictory import CASES, Case


@pytest.mark.parametrize("case", CASES, ids=[case.what for case in CASES])
def test_refused(case: Case) -> None:
    found = refused(*case.changes)
    matching = [p for p in found if p.key == case.key and case.wrong in p.wrong and case.right in p.right]
    assert matching, "\n".join(map(str, found))
    assert matching[0].line > 0 or case.key.startswith("signals.level_hydrogen")


def test_each_case_is_about_its_own_contradiction_only() -> None:
    """Nothing else is wrong with a changed file, but for what follows from the same change."""
    for case in CASES:
        assert len(refused(*case.changes)) <= 6, case.what


NEVER_BYPASSED = (
    "stop chain", "over-temperature", "over-current", "short", "reversed", "reversed volts", "current while off",
    "room hydrogen",
)  # fmt: skip


@pytest.mark.parametrize("name", NEVER_BYPASSED)
def test_what_must_never_be_bypassed_cannot_be(name: str) -> None:
    header = f'limits."{name}"'
    before = table(header)
    found = refused((before, before.rstrip("\n") + "\nbypass = true\n"))
    assert [p.key.replace('"', "") for p in found] == [f"limits.{name}.bypass"]
    assert "never bypassed" in found[0].wrong


def test_bypass_is_off_unless_the_file_says_so() -> None:
    assert {limit.name for limit in loaded().core.limits if limit.bypassable} == {"coolant flow low"}


def test_the_common_relay_board_has_three_ways_out() -> None:
    before = table("power.main")
    changed_to = before.replace("pin = 27", 'pin = 27\nactive = "low"')
    (problem,) = refused((before, changed_to))
    assert problem.key == "power.main.active"
    assert problem.line == line_of('active = "low"\nclose_pin', text((before, changed_to)))
    assert "three ways out" in problem.right
    for way in ("one transistor", "second transistor stage", "behind the watchdog relay"):
        assert way in problem.right


def test_a_coil_that_is_safe_is_accepted() -> None:
    for pin in (24, 26, 9):
        wanted = {24: "power.watchdog", 26: "signals.stop_chain", 9: "outputs.ventilation"}[pin]
        holder = table(wanted)
        swapped = holder.replace(f"pin = {pin}", "pin = 23")
        second = table("power.second").replace("pin = 23", f"pin = {pin}")
        rig = loaded((holder, swapped), (table("power.second"), second))
        assert dict(rig.hardware.outputs)["second"].pin == pin


def test_grace_under_three_sample_periods_is_a_warning() -> None:
    header = 'limits."coolant outlet hot"'
    rig = loaded((table(header), table(header).replace("above_C = 55", "above_C = 55\nfar_grace_s = 7")))
    (warning,) = rig.warnings
    assert "coolant outlet hot" in warning
    assert "under three sample periods (8.55 s)" in warning


def test_a_file_without_limits_has_the_standard_ones() -> None:
    """Cut at the limits, the boathouse keeps all of them; only its alarm would stand below what is normal there."""
    whole = text()
    start, end = whole.index("# ---- limits."), whole.index("# ---- times, and who")
    bare = loaded((whole[start:end], ""), ("normal_C = 62\n", "normal_C = 55\n"))
    assert {x.name for x in bare.core.limits} == {x.name for x in loaded().core.limits}
    numbers = {limit.name: limit.threshold for limit in bare.core.limits}
    assert numbers["over-temperature"] == 70.0
    assert numbers["over-temperature warn"] == 60.0
    assert numbers["over-current"] == pytest.approx(1.15 * 30.0)
    assert numbers["short"] == pytest.approx(1.3 * 1.15 * 30.0)
    assert numbers["coolant flow low"] == pytest.approx(1.5 * 0.5)
    assert numbers["cell voltage high"] == pytest.approx(3 * 3.0)
    assert numbers["gas pressure oxygen side"] == 18.0  # half of 36.8 mbar, down to half a millibar


@pytest.mark.parametrize(
    ("change", "trip_c", "alarm_c"),
    [
        (("", ""), 70.0, 60.0),
        (('mounted = "dry well"', 'mounted = "outside plastic"'), 60.0, 50.0),
        (('wetted = "polypropylene"', 'wetted = "glued PVC or acrylic"'), 55.0, 45.0),
    ],
)
def test_lye_may_be_less_hot_where_plastics_are_weaker_or_the_probe_is_outside(
    change: tuple[str, str], trip_c: float, alarm_c: float
) -> None:
    headers = ('limits."over-temperature"', 'limits."over-temperature warn"', 'limits."over-temperature derate"')
    drops = [(table(header), "") for header in headers]
    changes = [change] if change[0] else []
    rig = loaded(*drops, ("normal_C = 62\n", ""), *changes)
    limits = {limit.name: limit for limit in rig.core.limits}
    assert limits["over-temperature"].threshold == trip_c
    assert limits["over-temperature warn"].threshold == alarm_c
    assert rig.core.highest_start_c == trip_c - 10.0


def test_a_millimetre_of_lye_is_its_density_times_gravity() -> None:
    """1.25 g/mL: 0.1226 mbar (rho g h, standard gravity 9.80665 m/s2)."""
    found = refused(("seal_depth_mm = 310", "seal_depth_mm = 100"), ("lye_g_mL = 1.21", "lye_g_mL = 1.25"))
    arithmetic = [p for p in found if "x 0.1226 = 12.3 mbar" in p.wrong and "half of the smaller is 6.1" in p.wrong]
    assert len(arithmetic) == 2


def test_density_in_the_file_is_that_of_the_lye_it_names() -> None:
    """KOH at 25 % and 60 C, by the property functions."""
    file = loaded().file
    assert file.cell.lye_g_mL == pytest.approx(density_kg_m3(Lye.KOH, 0.25, 60.0) / 1000.0, abs=0.01)


def test_the_purity_current_agrees_with_the_crossover_model() -> None:
    """Mole balance of chemistry: 0.3 % at 30 A on 90 cm2 is one crossover; 1 % belongs to another current."""
    crossover = crossover_mol_s_m2(0.003, 30.0 / 0.009)
    assert loaded().file.purity_a == pytest.approx(current_density_a_m2(0.01, crossover) * 0.009, rel=1e-6)


def test_with_isolation_on_the_mains_side_only_reverse_current_is_no_weld() -> None:
    before = table("power.main")
    mains = loaded((before, before.replace('switched_at = "dc"', 'switched_at = "mains"')))
    for rig, both_ways in ((loaded(), True), (mains, False)):
        limit = {x.name: x for x in rig.core.limits}["current while off"]
        assert limit.magnitude is both_ways


def test_zero_current_is_twice_the_error_when_that_is_more_than_half_an_ampere() -> None:
    drop = (table('limits."current while off"'), "")
    rig = loaded(drop, ("error_A = 0.2", "error_A = 0.4"))
    assert rig.core.zero_current_a == pytest.approx(0.8)
    assert {x.name: x for x in rig.core.limits}["current while off"].threshold == pytest.approx(0.8)


@pytest.mark.parametrize(("delay_s", "warned"), [(0.0, True), (0.3, False)])
def test_a_lock_out_upon_one_sample_of_current_is_warned_of(delay_s: float, warned: bool) -> None:
    limit = table('limits."current while off"')
    rig = loaded((limit, limit.rstrip("\n") + f"\ndelay_s = {delay_s}\n"))
    assert any("one disturbed sample locks the rig out" in warning for warning in rig.warnings) is warned


def with_three_probes(more_words: str = "") -> CompiledRig:
    twice = table("signals.cell_temperature").replace("signals.cell_temperature", "signals.cell_temperature_{}")
    more = "".join(
        twice.format(n).replace("110001", f"11000{n + 3}").replace("sensor =", 'quantity = "temperature"\nsensor =')
        for n in (2, 3)
    )
    hot = table('limits."over-temperature"')
    members = '["cell_temperature", "cell_temperature_2", "cell_temperature_3"]'
    return loaded(("[signals.coolant_outlet]", more + "[signals.coolant_outlet]"),
                  (hot, hot.rstrip("\n") + f"\nsignals = {members}\nneeded = 2\n{more_words}"))  # fmt: skip


@pytest.mark.parametrize(("more_words", "differ_k"), [("", 0.0), ("differ_C = 3\n", 3.0)])
def test_two_of_three_may_vote_and_may_differ_by_where_they_stand(more_words: str, differ_k: float) -> None:
    rig = with_three_probes(more_words).core
    limit = {x.name: x for x in rig.limits}["over-temperature"]
    assert (len(limit.members), limit.needed, limit.differ) == (3, 2, differ_k)
    assert [rig.limits[at].name for at in rig.votes] == ["over-temperature"]


def test_a_vote_of_which_all_hang_on_one_bus_is_warned_of() -> None:
    assert any("lost together they are one sensor" in warning for warning in with_three_probes().warnings)
    assert not any("lost together" in warning for warning in loaded().warnings)


def test_a_limit_of_ones_own_is_compiled_as_written() -> None:
    own = (
        '\n[limits."joint hot"]\nsignals = ["coolant_inlet"]\nabove_C = 60\neffect = "trip"\narmed = "always"\n'
        'reset = "lock-out"\ndelay_s = 4\nbecause = "invented"\n'
    )
    rig = loaded(("\n[timing]\n", own + "\n[timing]\n"))
    limit = {x.name: x for x in rig.core.limits}["joint hot"]
    assert (limit.threshold, limit.rises, limit.effect, limit.delay_s) == (60.0, True, Effect.TRIP, 4.0)
    assert (limit.armed.name, limit.kind.name) == ("ALWAYS", "LOCK_OUT")
