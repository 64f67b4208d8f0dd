"""The state of everything as JSON, for those who ask once: the answer to `status`."""

from __future__ import annotations

from typing import NamedTuple

from controller.core.accounts import mass_percent, water_used_g
from controller.core.commands import Source
from controller.core.limits import TripKind
from controller.core.memory import Memory
from controller.core.outputs import Outputs
from controller.core.rig import Grade, Rig
from controller.core.signals import Code, Status
from controller.core.trips import FINDINGS, Cause


class About(NamedTuple):
    """What only the shell knows."""

    boot: str
    rig_file: str
    time_s: float  # Unix time
    clock_synchronised: bool
    challenge: str
    faults: tuple[str, ...]  # of the controller itself, in words
    late_scans: int
    dropped_frames: int
    dropped_messages: dict[str, int]
    lost_events: int
    keys: tuple[str, ...]
    simulated: bool


def words(name: str) -> str:
    """A name of a list as people write it."""
    return name.lower().replace("_", " ")


def status(rig: Rig, memory: Memory, about: About) -> dict[str, object]:
    seq, run, person, latch = memory.sequence, memory.run, memory.person, memory.latch
    now_s = memory.now_s
    main, second, relay = memory.contacts
    return {
        "rig": rig.name,
        "rig_hash": rig.rig_hash,
        **about._asdict(),
        "now_s": now_s,
        "scan": memory.scan,
        "state": words(seq.state.name),
        "check": words(seq.check.name),
        "since_s": seq.since_s,
        "powered": seq.powered,
        "grade": "unattended" if rig.grade is Grade.UNATTENDED else "attended",
        "missing": rig.missing,
        "cells": rig.cells,
        "signals": [
            {
                "name": signal.name,
                "unit": signal.unit,
                "number": value.number,
                "status": words(Status(value.status).name),
                "code": words(Code(value.code).name),
                "age_s": now_s - value.good_stamp_s,
            }
            for signal, value in zip(rig.signals, memory.values, strict=True)
        ],
        "standing": [
            limit.name for limit, state in zip(rig.limits, memory.limits, strict=True) if state.standing or state.due
        ],
        "causes": [_cause(rig, cause) for cause in latch.causes],
        "locked_out": latch.locked_out,
        "held_by": latch.held_by,
        "hold_reason": latch.hold_reason,
        "settings_accepted": latch.settings_accepted,
        "running_h": latch.running_h,
        "water_used_g": water_used_g(memory),
        "lye_percent": mass_percent(rig, memory),
        "latch": latch.number,
        "latch_on_disk": memory.latch_on_disk,
        "contacts": {"main_closed": main, "second_closed": second, "relay_closed": relay},
        "outputs": dict(zip(Outputs._fields, memory.outputs, strict=True)),
        "run": {
            "asked_by": Source(run.asked_by).name.lower() if run.asked_by >= 0 else "",
            "wanted_a": run.wanted_a,
            "charge_c": run.charge_c,
            "end_charge_c": run.end_charge_c,
            "end_s": run.end_s,
            "closed_s": seq.closed_s,
            "gas_fit": run.gas_fit_since_s >= 0.0,
            "ending": run.ending,
        },
        "present_s_ago": now_s - person.present_s if person.present_s > 0.0 else None,
        "enabled_for_s": max(0.0, person.enabled_until_s - now_s),
        "stopped_by_person": person.stopped,
        "bypassed": rig.limits[person.bypass].name if person.bypass >= 0 else "",
        "events": memory.events,
    }


def _cause(rig: Rig, cause: Cause) -> dict[str, object]:
    finding = FINDINGS.get(cause.name)
    title = finding.title if finding else next((x.title for x in rig.limits if x.name == cause.name), cause.name)
    return {
        "name": cause.name,
        "title": title,
        "kind": words(TripKind(cause.kind).name),
        "seen": words(cause.seen.name),
        "signal": cause.signal,
        "number": cause.number,
        "limit": cause.limit,
        "due_s": cause.due_s,
        "onset_s": cause.onset_s,
    }
