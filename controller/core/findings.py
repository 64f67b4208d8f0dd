"""Causes of a trip that need no limit in the rig file: gaps, pins and contacts that do not obey, a supply that does
not follow, a forced signal under power."""

from __future__ import annotations

from operator import itemgetter

from controller.core.events import Happened
from controller.core.memory import Late
from controller.core.outputs import PINS, POWER_PINS, Outputs
from controller.core.scan import Scan
from controller.core.sequence import POWERED_STATES, State
from controller.core.signals import Status
from controller.core.timers import ROUNDING_S
from controller.core.trips import FINDINGS, Cause, Rank, Seen

# An opening that nobody asked for waits so long for the cause that explains it (a stop button is read a scan later).
EXPLAIN_S = 0.3
OPENED = "opened by itself"
# Current that was gone for so long has been cut out, not just missed.
CUT_OUT_S = 0.5
# So many scans in a row, or more than this share of those of a minute: the controller has too much to do.
LATE_IN_A_ROW = 3
LATE_SHARE = 0.01
LATE_WITHIN_S = 60.0
_STOPPING = State.STOPPING  # asked for in every scan, see `drive`
_UNDER_WAY = frozenset({State.VENTING, State.RUNNING})  # the supply has had its time to start
_PLACE = tuple(Outputs._fields.index(name) for name in PINS)
_LEVELS = itemgetter(*_PLACE)


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


def look(scan: Scan) -> None:
    """The controller's own findings in this scan."""
    _time(scan)
    _pins(scan)
    _contacts(scan)
    if scan.seq.powered:
        _forced(scan)
        _supply(scan)


def time_ran_backwards(scan: Scan, back_s: float) -> None:
    scan.causes.append(found(scan, "time ran backwards", scan.now_s, -back_s, 0.0))


def paused(scan: Scan) -> bool:
    """So long since the last scan that nothing can be said of the time between."""
    return scan.dt_s >= 0.5 * scan.rig.power.watchdog_s


def _time(scan: Scan) -> None:
    late = bool(scan.before.scan) and scan.dt_s > 2.0 * scan.rig.scan_s
    if late:
        scan.proof = False  # late by more than a period: this scan proves nothing
        scan.say(Happened.LATE_SCAN, "late scan", seen=scan.dt_s, limit=scan.rig.scan_s)
    if late or scan.late.at_s:
        _often_late(scan, late)
    if scan.seq.powered and paused(scan):
        gap_s = 0.5 * scan.rig.power.watchdog_s
        scan.causes.append(found(scan, "scan gap", scan.before.now_s, scan.dt_s, gap_s))


def _often_late(scan: Scan, late: bool) -> None:
    """An alarm on late scans in a row, or on too many in a minute; over once a minute has had none."""
    before, most = scan.late, int(LATE_SHARE * LATE_WITHIN_S / scan.rig.scan_s + ROUNDING_S)
    at_s = tuple(s for s in before.at_s if scan.now_s - s < LATE_WITHIN_S)
    in_a_row = 0
    if late:
        at_s = (*at_s, scan.now_s)[-most - 1 :]
        in_a_row = min(before.in_a_row + 1, LATE_IN_A_ROW)
    row, many = in_a_row >= LATE_IN_A_ROW, len(at_s) > most
    scan.late = Late(in_a_row, at_s, bool(at_s) and (before.standing or row or many))
    if scan.late.standing and not before.standing:
        what = f"{LATE_IN_A_ROW} scans in a row came late" if row else "more than 1 % of a minute's scans came late"
        scan.say(Happened.ALARM, "scans late", what, seen=float(len(at_s)), limit=float(most))
    elif before.standing and not scan.late.standing:
        scan.say(Happened.ALARM_CLEARED, "scans late", "none has come late for a minute", seen=0.0, limit=float(most))


def _pins(scan: Scan) -> None:
    driven = scan.before.outputs
    if scan.before.pins_obey and scan.inputs.pins == _LEVELS(driven):
        return  # all wired, all as driven
    for name, place, level in zip(PINS, _PLACE, scan.inputs.pins, strict=True):
        if level is not None and level != driven[place]:
            if scan.pins_obey and scan.before.pins_obey:
                scan.say(Happened.ALARM, "output not obeyed", name)
            scan.pins_obey = False
            if name in POWER_PINS:
                scan.proof = False
                scan.causes.append(found(scan, "output not obeyed", scan.now_s)._replace(signal=name))
                return
    if scan.pins_obey and not scan.before.pins_obey:
        scan.say(Happened.ALARM_CLEARED, "output not obeyed")


def _contacts(scan: Scan) -> None:
    """Auxiliary contacts against what was asked, each within its travel time."""
    seq, power, asked = scan.seq, scan.rig.power, scan.before.outputs
    main, second, _ = scan.inputs.main_closed, scan.inputs.second_closed, scan.inputs.relay_closed
    open_by_s = power.opening_s + 0.5
    if main and not asked.main_hold and not asked.main_close and scan.now_s - seq.opened_s >= open_by_s:
        scan.proof = False
        scan.causes.append(found(scan, "contactor not open", seq.opened_s + open_by_s))
    elif second and not asked.second and scan.now_s - seq.second_opened_s >= open_by_s:
        scan.proof = False
        scan.causes.append(found(scan, "contactor not open", seq.second_opened_s + open_by_s))
    if seq.state not in POWERED_STATES or seq.closed_s < 0.0 or scan.now_s - seq.closed_s < power.closing_s:
        return  # not sealed in yet, or still bouncing
    dropped = (asked.main_hold and main is False) or (asked.second and second is False)
    if dropped or seq.disagree_since_s >= 0.0:
        # once seen it stands: a contact that comes back by itself is no better than one that stays away
        since_s = seq.disagree_since_s if seq.disagree_since_s >= 0.0 else scan.now_s
        scan.seq = seq._replace(disagree_since_s=since_s)
        scan.proof = False
        if scan.now_s - since_s >= EXPLAIN_S - ROUNDING_S:
            scan.causes.append(found(scan, OPENED, since_s))


def _forced(scan: Scan) -> None:
    for at in scan.blank:
        if scan.values[at].status is Status.FUNCTION_CHECK and at in scan.rig.protective:
            scan.causes.append(found(scan, "function check", scan.now_s)._replace(signal=scan.rig.signals[at].name))
            return


def _supply(scan: Scan) -> None:
    """What the supply does without being told to."""
    current_a = scan.current_a()
    if current_a is None or scan.seq.state is _STOPPING:
        return
    if scan.rig.supply.settable:
        _disobeys(scan, current_a)
    _came_back(scan, current_a)


def _disobeys(scan: Scan, current_a: float) -> None:
    """More current than was asked for, for a second."""
    allowed_a = 1.05 * scan.before.outputs.setpoint_a + 0.5
    since_s = scan.run.disobeys_since_s
    if abs(current_a) <= allowed_a:
        if since_s >= 0.0:
            scan.run = scan.run._replace(disobeys_since_s=-1.0)
    elif since_s < 0.0:
        scan.run = scan.run._replace(disobeys_since_s=scan.now_s)
    elif scan.now_s - since_s >= 1.0:
        scan.causes.append(found(scan, "supply does not obey", since_s, current_a, allowed_a))


def _came_back(scan: Scan, current_a: float) -> None:
    """Current that had gone in the middle of a run, and returns."""
    since_s = scan.run.cut_since_s
    if abs(current_a) >= scan.rig.zero_current_a:
        if since_s >= 0.0:
            scan.run = scan.run._replace(cut_since_s=-1.0)
            if scan.now_s - since_s >= CUT_OUT_S:
                scan.causes.append(found(scan, "supply came back by itself", since_s, current_a))
    elif since_s < 0.0 and scan.seq.state in _UNDER_WAY:
        last_a = scan.before.values[scan.rig.roles.current].good_number
        if last_a is not None and abs(last_a) >= scan.rig.zero_current_a:
            scan.run = scan.run._replace(cut_since_s=scan.now_s)
