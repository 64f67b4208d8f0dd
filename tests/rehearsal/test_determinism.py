"""Same seed, same bytes: of every frame that the guard packs and of every contact that moves."""

from __future__ import annotations

import hashlib

from simulator.rehearsal.runner import Record, play
from simulator.rehearsal.scenario import FaultEntry, Scenario
from simulator.rehearsal.world import Level, Physical, World


def _bytes(physical: Physical, level: Level, seed: int) -> tuple[str, Record]:
    frames = hashlib.sha256()

    def keep(world: World) -> None:
        assert world.guard is not None
        for frame in world.guard._frames.all():
            frames.update(frame)

    scenario = Scenario(
        title="a bad bus",
        seed=seed,
        duration_s=30.0,
        at=(
            FaultEntry(t_s=5.0, fault="bus-errors", on="bus 1", **{"with": {"share": 0.4}}),
            FaultEntry(t_s=15.0, fault="contact-open", on="level_oxygen", onset="intermittent", on_s=0.5, off_s=0.4),
        ),
    )
    record = play(scenario, physical, level, every_s=None, frames=True, keep=keep)
    return frames.hexdigest(), record


def test_the_same_seed_gives_the_same_bytes_at_both_levels(boathouse: Physical) -> None:
    digests = {_bytes(boathouse, level, 7)[0] for level in (Level.DRIVERS, Level.DRIVERS, Level.SIGNALS)}
    assert len(digests) == 1


def test_another_seed_gives_others(boathouse: Physical) -> None:
    one, record = _bytes(boathouse, Level.SIGNALS, 7)
    other, _ = _bytes(boathouse, Level.SIGNALS, 8)
    assert one != other
    assert record.events
