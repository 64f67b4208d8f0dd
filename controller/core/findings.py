"""Causes of a trip that need no limit in the rig file: gaps, pins and contacts that do not obey, a supply that does
not follow, a forced signal under power."""

from __future__ import annotations

from controller.core.events import Happened
from controller.core.outputs import PINS, POWER_PINS, Outputs
from controller.core.scan import Scan
from controller.core.sequence import POWERED_STATES, State
from controller.core.signals import Status
from controller.core.trips import FINDINGS, Cause, Rank, Seen

# An opening that nobody asked for waits so long for the cause that explains it (a stop button is read a scan later).
EXPLAIN_S = 0.3
_PLACE = tuple(Outputs._fields.index(name) for name in PINS)


def found(scan: Scan, name: str, onset_s: float, number: float | None = None, limit: float | None = None) -> Cause:
    return Cause(
        name=name,
        kind=FINDINGS[name].kind,
        rank=Rank.CONTROLLER,
        seen=Seen.OWN,
        due_s=scan.now_s,
        onset_s=onset_s,
        order=-1,
        number=number,
        limit=limit,
    )


def look(scan: Scan) -> list[Cause]:
    """The controller's own findings in this scan."""
    causes: list[Cause] = []
    _time(scan, causes)
    _pins(scan, causes)
    _contacts(scan, causes)
    if scan.seq.powered:
        _forced(scan, causes)
        _supply(scan, causes)
    return causes


def _time(scan: Scan, causes: list[Cause]) -> None:
    if scan.dt_s < 0.0:
        causes.append(found(scan, "time ran backwards", scan.now_s, scan.dt_s, 0.0))
        return
    if scan.before.scan and scan.dt_s > 2.0 * scan.rig.scan_s:
        scan.say(Happened.LATE_SCAN, "late scan", seen=scan.dt_s, limit=scan.rig.scan_s)
    gap_s = 0.5 * scan.rig.power.watchdog_s
    if scan.dt_s >= gap_s and scan.seq.powered:
        causes.append(found(scan, "scan gap", scan.before.now_s, scan.dt_s, gap_s))


def _pins(scan: Scan, causes: list[Cause]) -> None:
    driven = scan.before.outputs
    for name, place, level in zip(PINS, _PLACE, scan.inputs.pins, strict=True):
        if level is not None and level != driven[place]:
            scan.pins_obey = False
            if name in POWER_PINS:
                scan.proof = False
                causes.append(found(scan, "output not obeyed", scan.now_s)._replace(signal=name))
                return


def _contacts(scan: Scan, causes: list[Cause]) -> None:
    """Auxiliary contacts against what was asked, each within its travel time."""
    seq, power, asked = scan.seq, scan.rig.power, scan.before.outputs
    main, second, _ = scan.inputs.main_closed, scan.inputs.second_closed, scan.inputs.relay_closed
    open_by_s = power.opening_s + 0.5
    if main and not asked.main_hold and not asked.main_close and scan.now_s - seq.opened_s >= open_by_s:
        scan.proof = False
        causes.append(found(scan, "contactor not open", seq.opened_s + open_by_s))
    elif second and not asked.second and scan.now_s - seq.second_opened_s >= open_by_s:
        scan.proof = False
        causes.append(found(scan, "contactor not open", seq.second_opened_s + open_by_s))
    if seq.state not in POWERED_STATES or seq.closed_s < 0.0 or scan.now_s - seq.closed_s < power.closing_s:
        return  # not sealed in yet, or still bouncing
    dropped = (asked.main_hold and main is False) or (asked.second and second is False)
    if dropped or seq.disagree_since_s >= 0.0:
        # once seen it stands: a contact that comes back by itself is no better than one that stays away
        since_s = seq.disagree_since_s if seq.disagree_since_s >= 0.0 else scan.now_s
        scan.seq = seq._replace(disagree_since_s=since_s)
        scan.proof = False
        if scan.now_s - since_s >= EXPLAIN_S:
            causes.append(found(scan, "opened by itself", since_s))


def _forced(scan: Scan, causes: list[Cause]) -> None:
    for at in scan.rig.protective:
        if scan.values[at].status is Status.FUNCTION_CHECK:
            causes.append(found(scan, "function check", scan.now_s)._replace(signal=scan.rig.signals[at].name))
            return


def _supply(scan: Scan, causes: list[Cause]) -> None:
    """A supply that can be told its current must not give more than it was told, for a second."""
    supply = scan.rig.supply
    current_a = scan.current_a()
    if not supply.settable or current_a is None or scan.seq.state is State.STOPPING:
        return
    asked_a = max(scan.before.outputs.setpoint_a, scan.before.run.asked_a)
    allowed_a = 1.05 * asked_a + 0.5
    if abs(current_a) <= allowed_a:
        if scan.run.disobeys_since_s >= 0.0:
            scan.run = scan.run._replace(disobeys_since_s=-1.0)
        return
    since_s = scan.run.disobeys_since_s
    if since_s < 0.0:
        scan.run = scan.run._replace(disobeys_since_s=scan.now_s)
    elif scan.now_s - since_s >= 1.0:
        causes.append(found(scan, "supply does not obey", since_s, current_a, allowed_a))
