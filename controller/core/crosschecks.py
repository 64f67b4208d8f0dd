"""Current and volts against each other and against what was asked: whether the numbers can be true at all.

A limit asks whether a number is too large. These ask whether the shunt, the divider or the leads tell of the cell at
all: a channel that reads nothing, a scaling that is wrong by a factor, a supply that has gone.
"""

from __future__ import annotations

from controller.core.events import Happened
from controller.core.findings import found
from controller.core.limits import Effect
from controller.core.memory import Run, Sequence
from controller.core.outputs import probe_a
from controller.core.rig import Rig
from controller.core.scan import Scan
from controller.core.sequence import State
from controller.core.trips import Cause

_STOPPING = State.STOPPING  # asked for in every scan, see `drive`
COMES_WITHIN_S = 1.0  # after the start lag, once it has been asked for
PLAIN_A = 2.0  # so much current cannot flow at under LEAST_V
LEAST_V = 1.2  # a cell: under the 1.23 V at which water splits, with the divider's error
OPEN_SHARE = 0.1  # of the current asked for: less than this is none
LOW_FOR_S = 2.0  # a rested anode's oxide film fills within a second; "cell voltage low", where it is armed, waits less
# Plausible volts a cell on the first power of a rig file: above what splits water, below what a good cell ever needs.
FIRST_LOW_V, FIRST_HIGH_V = 1.4, 2.6
OBEYS_FROM = 0.8  # of what was asked for, else the shunt is scaled wrong or the supply holds its volts
GONE_S = 2.0  # so long after it flowed the right way, current the wrong way is the cell's own
BACK_SHARE = 0.2  # of the rated current: more than a cell drives through a supply that is off
OPEN_CELL_V = 1.6  # what a charged nickel electrode shows with nothing connected, and a little


def cross_check(scan: Scan) -> None:
    """While power is on and nobody is taking it off."""
    current_a = scan.current_a()
    if scan.seq.powered and scan.seq.state is not _STOPPING and current_a is not None:
        _never_came(scan, current_a)
        _contradicted(scan, current_a)
        _open_lead(scan, current_a)


def _never_came(scan: Scan, current_a: float) -> None:
    seq, run, rig = scan.seq, scan.run, scan.rig
    if run.forward_s >= 0.0 or seq.closed_s < 0.0 or abs(current_a) >= rig.zero_current_a:
        return
    asked_s = 0.0  # a ramp begins with nothing
    if rig.supply.settable and run.ramp_from_s >= 0.0:
        asked_s = rig.timing.ramp_s * min(1.0, probe_a(rig.zero_current_a) / max(run.wanted_a, rig.zero_current_a))
    by_s = seq.closed_s + asked_s + rig.supply.start_lag_s + COMES_WITHIN_S
    if scan.now_s >= by_s:
        scan.causes.append(found(scan, "no current came", seq.closed_s, current_a, rig.zero_current_a))


def _contradicted(scan: Scan, current_a: float) -> None:
    run, volts = scan.run, scan.number(scan.rig.roles.voltage)
    least_v = LEAST_V * scan.rig.cells
    low = volts is not None and current_a > PLAIN_A and volts < least_v
    if not low:
        if run.volts_low_since_s >= 0.0:
            scan.run = run._replace(volts_low_since_s=-1.0)
    elif run.volts_low_since_s < 0.0:
        scan.run = run._replace(volts_low_since_s=scan.now_s)
    elif scan.now_s - run.volts_low_since_s >= LOW_FOR_S:
        scan.causes.append(found(scan, "volts do not fit", run.volts_low_since_s, volts, least_v))


def _open_lead(scan: Scan, current_a: float) -> None:
    """Current gone and volts beyond what a cell can need: a lead, fuse or joint has opened, and it arcs.

    Two scans must agree, and no contact say that the path was opened: then the stop chain explains it. A run must have
    had its current before.
    """
    rig, run, before = scan.rig, scan.run, scan.before
    least_a = OPEN_SHARE * (before.outputs.setpoint_a if rig.supply.settable else run.wanted_a)
    if abs(current_a) >= least_a or run.forward_s < 0.0 or scan.inputs.main_closed is False:
        return
    at = rig.roles.voltage
    over_volts = (x for x in rig.limits if x.members == (at,) and x.rises and x.effect is Effect.TRIP)
    trips_v = [x.threshold for x in over_volts if not x.magnitude]
    volts, last_v, last_a = scan.number(at), before.values[at].number, before.values[rig.roles.current].number
    if not trips_v or volts is None or last_v is None or last_a is None:
        return
    if min(volts, last_v) >= min(trips_v) and abs(last_a) < least_a:
        scan.causes.append(found(scan, "open lead", before.now_s, volts, min(trips_v)))


def rightly_named(scan: Scan, cause: Cause) -> Cause:
    """Current the wrong way just after it flowed the right way is no swapped lead: the supply has gone, and the cell
    discharges into it. Only a small current, at what a cell holds by itself; in doubt it stays what it was."""
    rig, run = scan.rig, scan.run
    if cause.name != "reversed" or cause.number is None or run.forward_s < 0.0:
        return cause
    volts = scan.number(rig.roles.voltage)
    own_v = rig.roles.voltage < 0 or (volts is not None and 0.0 <= volts <= OPEN_CELL_V * rig.cells)
    if own_v and scan.now_s - run.forward_s <= GONE_S and -cause.number <= BACK_SHARE * rig.supply.rated_a:
        return found(scan, "supply gone", cause.onset_s, cause.number, cause.limit)
    return cause


# --- the first power of a rig file


def first_power_goes_on(seq: Sequence, run: Run) -> bool:
    return seq.state is State.RAMPING and seq.closed_s >= 0.0 and run.ramp_from_s < 0.0


def first_power(scan: Scan) -> Cause | None:
    """The first run of a rig file is held at the minimum current until volts and current have been seen to fit."""
    rig, seq = scan.rig, scan.seq
    if scan.now_s - seq.closed_s < rig.supply.start_lag_s + rig.timing.first_power_s:
        return None
    wrong, seen, right = _implausible(rig, scan)
    if wrong:
        return found(scan, "first power failed", seq.closed_s, seen, right)._replace(signal=wrong)
    scan.run = scan.run._replace(ramp_from_s=scan.now_s)
    scan.latch = scan.latch._replace(number=scan.latch.number + 1, first_power_due=False)
    scan.say(Happened.NOTE, "first power", "volts and current fit this rig file")
    return None


def _implausible(rig: Rig, scan: Scan) -> tuple[str, float | None, float | None]:
    """What does not fit in words, what was seen, what would have been right. Empty when all fits."""
    current_a = scan.current_a()
    if current_a is None:
        return "the current is not known", None, None
    least_a = OBEYS_FROM * scan.before.outputs.setpoint_a if rig.supply.settable else rig.zero_current_a
    if current_a < least_a:
        why = "is the shunt scaled right, does the supply hold its volts?"
        return f"{current_a:.1f} A of {scan.before.outputs.setpoint_a:.1f} A: {why}", current_a, least_a
    if rig.roles.voltage < 0:
        return "", None, None
    volts = scan.number(rig.roles.voltage)
    if volts is None:
        return "the volts are not known", None, None
    low_v, high_v = FIRST_LOW_V * rig.cells, FIRST_HIGH_V * rig.cells
    if low_v <= volts <= high_v:
        return "", None, None
    fits = f"{low_v:.1f} to {high_v:.1f} V would fit {rig.cells} cells"
    return f"{volts:.2f} V at {current_a:.1f} A: {fits}", volts, low_v if volts < low_v else high_v
