"""Campaigns: reproducible, resumable, the same on one process, several, and a Dask cluster; the worst reproduces."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulator.rehearsal.campaign import (
    RESULTS,
    Outcome,
    Plan,
    as_toml,
    faults_for,
    play_campaign,
    points,
    read_results,
    run_one,
    scenario_of,
    summary,
    worst,
    write_table,
)
from simulator.rehearsal.report import of_campaign
from simulator.rehearsal.scenario import parse_scenario
from simulator.rehearsal.world import Physical

QUICK = ("coolant-lost", "outlet-h-blocked", "wire-open", "supply-runs-away")
PLAN = Plan("boathouse", 6, 5, "latin", QUICK, drivers=False)


@pytest.fixture(scope="module")
def played() -> list[Outcome]:
    return [run_one(PLAN, number) for number in range(PLAN.runs)]


def test_a_hypercube_has_one_point_in_each_slice_of_each_axis() -> None:
    drawn = points(20, 3, "latin")
    for axis in zip(*drawn, strict=True):
        assert sorted(int(u * 20) for u in axis) == list(range(20))


@pytest.mark.parametrize("kind", ["latin", "sobol"])
def test_the_same_seed_draws_the_same_and_another_does_not(kind: str) -> None:
    assert points(16, 1, kind) == points(16, 1, kind)
    assert points(16, 1, kind) != points(16, 2, kind)


def test_processes_give_what_one_gives(tmp_path: Path, played: list[Outcome]) -> None:
    assert play_campaign(PLAN, tmp_path, workers=2) == played
    assert {o.fate for o in played} <= {"saved", "hard-wired", "no harm"}
    assert all(o.off_s is None or o.off_s > 0.0 for o in played)


def test_a_campaign_goes_on_where_it_was_cut_short(tmp_path: Path, played: list[Outcome]) -> None:
    play_campaign(PLAN, tmp_path, workers=1)
    file = tmp_path / RESULTS
    lines = file.read_text().splitlines(keepends=True)
    file.write_text("".join(lines[:3]) + lines[3][:20] + "\n")
    moved: list[float] = []
    assert play_campaign(PLAN, tmp_path, workers=1, progress=moved.append) == played
    assert moved == [3.0, 1.0, 1.0, 1.0]
    assert len(read_results(tmp_path)) == PLAN.runs


def test_another_campaign_is_not_mixed_into_a_folder(tmp_path: Path) -> None:
    play_campaign(PLAN._replace(runs=2), tmp_path, workers=1)
    with pytest.raises(ValueError, match="holds another campaign"):
        play_campaign(PLAN._replace(runs=2, seed=6), tmp_path, workers=1)


def test_each_run_can_be_written_out_and_gives_the_same_scenario(boathouse: Physical) -> None:
    plan = Plan("boathouse", 40, 9, "sobol", faults_for(boathouse), drivers=False)
    for number in range(plan.runs):
        scenario = scenario_of(plan, number, boathouse)
        assert parse_scenario(as_toml(scenario), "x.toml") == scenario


def _outcome(number: int, fate: str, fault: str, margin: float) -> Outcome:
    return Outcome(
        number, fault, "", "step", 0.0, 30.0, 20.0, "", 0.0, 1.0, 1, fate, "", "", None, "", None,
        {"too hot": margin}, [], 1.0,
    )  # fmt: skip


def test_the_summary_counts_and_picks_the_worst_of_each_kind() -> None:
    outcomes = [
        _outcome(0, "saved", "a", 0.9), _outcome(1, "missed", "b", 0.5), _outcome(2, "missed", "b", 0.4),
        _outcome(3, "late", "b", 0.2), _outcome(4, "needless", "c", 0.3), _outcome(5, "saved", "d", 0.1),
    ]  # fmt: skip
    made = summary(outcomes)
    assert made.counts == {"saved": 2, "missed": 2, "late": 1, "needless": 1}
    assert made.smallest_margin == {"too hot": (0.1, 5)}
    assert worst(made) == [1, 3, 4, 5]


def test_results_become_a_table_and_a_page(tmp_path: Path, played: list[Outcome], boathouse: Physical) -> None:
    import pyarrow.parquet

    table = pyarrow.parquet.read_table(write_table(played, tmp_path))
    assert table.num_rows == PLAN.runs
    assert table.column("first_out").to_pylist() == [o.first_out for o in played]
    page = of_campaign(PLAN, played, boathouse)
    assert "<script" not in page
    assert "http" not in page
    assert "6 rehearsals drawn" in page


def test_a_dask_cluster_of_two_workers_gives_the_same(tmp_path: Path, played: list[Outcome]) -> None:
    import distributed

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        found = play_campaign(PLAN, tmp_path, workers=1, dask=cluster.scheduler_address)
    assert found == played
