"""The set-point study: right about limits that are too slow, too tight, or not there."""

from __future__ import annotations

import pytest

from controller.config.load import load
from controller.config.rigs import shipped
from simulator.rehearsal.harm import BY_NAME
from simulator.rehearsal.replay import settings
from simulator.rehearsal.study import Row, Study, _propose, response_s, study, unprotected, worst_first
from simulator.rehearsal.world import Physical
from tests.rehearsal.conftest import TODAY


@pytest.fixture(scope="module")
def made(boathouse: Physical) -> Study:
    return study(boathouse)


def row(made: Study, harm: str, limit: str) -> Row:
    [found, *_] = [r for r in made.rows if r.harm == harm and r.limit == limit]
    return found


def test_every_limit_of_the_boathouse_leaves_two_responses_or_another_does(made: Study) -> None:
    assert made.rows
    assert not [r for r in made.rows if r.verdict.isupper()]


def test_a_shut_outlet_takes_seconds_by_the_gas_law(made: Study, boathouse: Physical) -> None:
    """By the ideal gas law and Faraday's: 30 A in three cells make 30 x 3 / (2 F) mol/s, which raise the pressure of
    the gas room by R T n / V. Nothing can be faster; the lye that yields to the other side makes it slower."""
    mol_s = 30.0 * 3 / (2 * 96485.33)
    pa_per_mol = 8.314 * (273.15 + 61.0) / 0.926e-3
    found = row(made, "hydrogen side bursts through", "gas pressure hydrogen side")
    sealed_pa = boathouse.rig.file.cell.seal_depth_mm * 1.21 * 9.80665
    least_s = (sealed_pa - 420.0) / (mol_s * pa_per_mol)  # from the 4.2 mbar of the water seal
    assert found.harm_s is not None
    assert least_s <= found.harm_s <= 1.5 * least_s


def test_the_response_is_lag_and_sample_and_delay_and_scan_and_travel(boathouse: Physical) -> None:
    [limit] = [x for x in boathouse.rig.core.limits if x.name == "hydrogen in oxygen"]
    # analyser 8 s, delay 5 s, one scan, contactor 40 ms; a converter's sample takes no time worth adding
    assert response_s(boathouse.rig, boathouse.wiring, limit) == pytest.approx(8.0 + 5.0 + 0.1 + 0.04)


def test_a_delay_that_is_too_long_is_called_so_and_a_shorter_one_proposed(boathouse: Physical) -> None:
    slow = load(
        shipped("boathouse"),
        TODAY,
        settings(
            [
                'limits."gas pressure oxygen side".delay_s=3',
                'limits."gas pressure oxygen side".because=tried out',
            ]
        ),
    )
    found = row(study(boathouse._replace(rig=slow)), "oxygen side bursts through", "gas pressure oxygen side")
    assert found.verdict == "TOO SLOW"
    assert found.proposal.startswith("delay_s = 0.")


def test_no_grace_is_proposed_that_would_trip_at_every_bad_sample(made: Study, boathouse: Physical) -> None:
    """What leaves a second is blind for a third of it after three bad samples of ten a second."""
    period_s = {s.name: s.period_s for s in boathouse.rig.core.signals}
    member = {x.name: boathouse.rig.core.signals[x.members[0]].name for x in boathouse.rig.core.limits}
    for found in made.rows:
        if "grace_s = " in found.proposal:
            assert float(found.proposal.rpartition("= ")[2]) >= 3.0 * period_s[member[found.limit]]
    [short] = [x for x in boathouse.rig.core.limits if x.name == "short"]
    current = boathouse.rig.core.signals[short.members[0]]
    takes_s = response_s(boathouse.rig, boathouse.wiring, short)
    assert _propose(short, current, left_s=0.5, takes_s=takes_s).startswith("blind in that moment it is too late")
    assert _propose(short, current, left_s=1.0, takes_s=takes_s) == "grace_s = 0.5"


def test_a_run_away_leaves_time_until_the_cable_is_hot(made: Study) -> None:
    """150 A are 4.6 times what a cable of 70 A gives off; it warms by 84 K for what a fuse may let through. Copper of
    about 12 mm2 takes more than a minute for that by k2 S2 = I2 t alone (IEC 60364-4-43, k = 115, from memory)."""
    found = row(made, "cable overheats", "over-current")
    assert found.verdict == "good"
    assert found.harm_s is not None
    assert found.harm_s > (115.0 * 11.6 / 150.0) ** 2


def test_what_two_signals_see_in_time_needs_no_shorter_grace(made: Study) -> None:
    """Leads swapped show in the current and in the volts: one of them may be unseen."""
    for name in ("reversed", "reversed volts"):
        [found] = [r for r in made.rows if (r.limit, r.harm, r.fault) == (name, "explosive oxygen", "supply-reversed")]
        assert (found.verdict, found.proposal) == ("good", "")


def test_what_has_to_be_mended_comes_first_and_what_does_no_harm_last(minimal: Physical) -> None:
    verdicts = [r.verdict for r in worst_first(study(minimal).rows)]
    bad = [v.isupper() for v in verdicts]
    assert any(bad)
    assert bad == sorted(bad, reverse=True)
    assert verdicts[-1] == "no harm within three hours"


def test_without_its_limits_a_harm_is_watched_by_nothing(minimal: Physical) -> None:
    made = study(minimal)
    unwatched = {r.harm for r in made.rows if r.verdict in ("NOTHING WATCHES", "DOES NOT SEE IT")}
    assert "hydrogen side bursts through" in unwatched
    assert "lye in the gas line" in unwatched
    assert "flood" not in unwatched  # a hose off behind the meter shows in the flow
    assert "separator bare, hydrogen side" not in unwatched


def test_without_protection_harm_comes_later_when_the_fault_is_smaller(boathouse: Physical) -> None:
    harm = BY_NAME["explosive oxygen"]
    torn, swapped = (unprotected(boathouse, fault, harm, {}).harm_s for fault in ("separator-torn", "supply-reversed"))
    assert torn is not None
    assert swapped is not None
    assert swapped < torn  # gases that change sides are quicker than a tear that grows
