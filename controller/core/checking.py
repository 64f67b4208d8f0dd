"""The self-test before every start: each means of breaking power is seen to work before it is relied on.

Nothing here lets current flow, unless a pole has welded: the two contactors are closed one at a time, with the other
open by its contact, and a supply that can be told its current is asked for a little, so that a weld which the contact
does not show is seen as current. A step that takes too long, or a contact or a lasting current that contradicts it, is
a failed test and locks the rig out; only what the start itself must bring (flow, air, a written latch) may fail without
harm, and a current that is not known well enough.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.core.commands import AT_THE_RIG, Source
from controller.core.events import Happened
from controller.core.findings import found, paused
from controller.core.permissives import missing
from controller.core.scan import Scan, proving_met
from controller.core.sequence import Check, On
from controller.core.timers import fill
from controller.core.trips import Cause

# A contact must be seen to agree for this long, and so must a current: as `current while off`, which gives the reason.
SEEN_FOR_S = 0.3
# Beyond the declared travel time.
MARGIN_S = 0.5
# The card may stall for seconds, a sample may be lost; a start can wait for them.
READY_S = 15.0
# Flow or air may go unseen for this long once proven, before the start is given up.
PROOF_LOST_S = 2.0
CURRENT_UNKNOWN = "the current was not known while the contactors were tested"

_Answer = Check | On | Cause | None


def check(scan: Scan) -> On | Cause | None:
    """What follows from this scan of `checking`; moves on to the next step by itself."""
    seq, now_s = scan.seq, scan.now_s
    if paused(scan):  # no device has failed, but none has been proven either
        return _give_up(scan, "the guard paused while it tested the contactors")
    if proving_met(scan, scan.person.bypass):
        since_s = seq.proven_since_s if seq.proven_since_s >= 0.0 else now_s
        scan.seq = seq = seq._replace(proven_since_s=since_s, proven_last_s=now_s)
    else:
        scan.seq = seq = seq._replace(proven_since_s=-1.0)
        if seq.check is not Check.PROVE and now_s - seq.proven_last_s >= PROOF_LOST_S:
            return _give_up(scan, "flow or ventilation was lost while starting")
    answer = _STEPS[seq.check](scan, now_s - seq.check_since_s)
    if isinstance(answer, Check):  # the step has passed
        scan.say(Happened.SELF_TEST, seq.check.name.lower().replace("_", " "), "passed", seen=now_s - seq.check_since_s)
        scan.seq = scan.seq._replace(check=answer, check_since_s=now_s, zero_since_s=-1.0, flowed_s=0.0)
        return None
    return answer


def _give_up(scan: Scan, why: str) -> On:
    scan.run = scan.run._replace(ending=why)
    return On.FAILED


def _failed(scan: Scan, what: str) -> Cause:
    scan.say(Happened.SELF_TEST, scan.seq.check.name.lower().replace("_", " "), what)
    return found(scan, "self-test failed", scan.seq.check_since_s)._replace(signal=what)


def _steady(scan: Scan, holds: bool) -> bool:
    """`holds` has been true for SEEN_FOR_S, this scan included."""
    if not holds:
        scan.seq = scan.seq._replace(zero_since_s=-1.0)
        return False
    since_s = scan.seq.zero_since_s
    if since_s < 0.0:
        scan.seq = scan.seq._replace(zero_since_s=scan.now_s)
        return False
    return scan.now_s - since_s >= SEEN_FOR_S


def _prove(scan: Scan, for_s: float) -> _Answer:
    timing, power, seq = scan.rig.timing, scan.rig.power, scan.seq
    warning_s = 0.0 if scan.run.asked_by in AT_THE_RIG else timing.warning_s
    if power.relay_contact and scan.inputs.relay_closed is not False and for_s >= _relay_drop_s(scan):
        return _failed(scan, "the watchdog relay is not open although it is given no edges")
    if for_s >= warning_s and seq.proven_since_s >= 0.0 and scan.now_s - seq.proven_since_s >= timing.proven_for_s:
        return Check.RELAY_PICKS_UP
    if for_s >= max(timing.proving_s, warning_s) + timing.proven_for_s and seq.proven_since_s < 0.0:
        return _give_up(scan, f"flow or ventilation not proven within {timing.proving_s:g} s")
    return None


def _relay_drop_s(scan: Scan) -> float:
    power = scan.rig.power
    return power.watchdog_s * (1.0 + power.watchdog_tolerance) + power.opening_s + 2.0 * scan.rig.scan_s


def _relay_picks_up(scan: Scan, for_s: float) -> _Answer:
    after = Check.SECOND_ALONE if scan.rig.power.has_second else Check.RELAY_DROPS
    if not scan.rig.power.relay_contact:
        return after if for_s >= SEEN_FOR_S else None
    if scan.inputs.relay_closed:
        return after
    return _failed(scan, "the watchdog relay does not close on edges") if for_s >= 1.0 else None


def _flowed_s(scan: Scan) -> float:
    """How long current has flowed in this step although none must: by the stamps of its samples, each held until the
    next, so that one sample of noise is no weld whatever its size and however long it is held."""
    role = scan.rig.roles.current
    if role < 0:
        return 0.0
    held = scan.before.values[role]
    dt_s = scan.values[role].seen_stamp_s - held.seen_stamp_s
    if dt_s > 0.0:
        filled_s = fill(scan.seq.flowed_s, dt_s, 1.0 if scan.rig.flows(held) else 0.0, SEEN_FOR_S)
        scan.seq = scan.seq._replace(flowed_s=filled_s)
    return scan.seq.flowed_s


def _alone(scan: Scan, for_s: float, closed: bool, late_s: float, one: str, other: str, then: Check) -> _Answer:
    """One contactor closed, the other open, and a little current asked for: none may flow.

    Waits for the supply's start lag as well, because a supply that has not woken yet proves nothing. late_s: by when
    the contactor must have closed.
    """
    power, lag_s = scan.rig.power, scan.rig.supply.start_lag_s
    flows, flowed_s = scan.current_flows(), _flowed_s(scan)
    if closed and flows and flowed_s >= SEEN_FOR_S:
        return _failed(scan, f"current flows with the {other} contactor open")
    steady = _steady(scan, closed and flows is not None and not scan.before.outputs.main_close)
    if steady and not flows and flowed_s <= 0.0 and for_s >= power.closing_s + lag_s + SEEN_FOR_S:
        return then
    role = scan.rig.roles.current
    if closed and flows is None and (role < 0 or scan.now_s - scan.values[role].good_stamp_s >= MARGIN_S):
        return _give_up(scan, CURRENT_UNKNOWN)
    late_s += lag_s if closed else 0.0
    if for_s < late_s:
        return None
    if closed and (flows is not False or flowed_s > 0.0):  # neither none nor a weld for long enough: disturbed, or lost
        return None if for_s < late_s + MARGIN_S else _give_up(scan, CURRENT_UNKNOWN)
    return _failed(scan, f"the {one} contactor does not close, or does not stay closed")


def _second_alone(scan: Scan, for_s: float) -> _Answer:
    power, inputs = scan.rig.power, scan.inputs
    closed = inputs.second_closed is True if power.second_contact else for_s >= power.closing_s
    if power.main_contact and inputs.main_closed is not False:
        return _failed(scan, "the main contactor reads closed although it is open")
    late_s = power.closing_s + MARGIN_S + SEEN_FOR_S
    return _alone(scan, for_s, closed, late_s, "second", "main", Check.SECOND_OPENS)


def _second_opens(scan: Scan, for_s: float) -> _Answer:
    power = scan.rig.power
    is_open = scan.inputs.second_closed is False if power.second_contact else for_s >= power.opening_s
    if _steady(scan, is_open):
        return Check.MAIN_ALONE
    late = for_s >= power.opening_s + MARGIN_S + SEEN_FOR_S
    return _failed(scan, "the second contactor does not open") if late else None


def _main_alone(scan: Scan, for_s: float) -> _Answer:
    power, inputs = scan.rig.power, scan.inputs
    closed = inputs.main_closed is True if power.main_contact else for_s >= power.closing_s
    if power.second_contact and inputs.second_closed is not False:
        return _failed(scan, "the second contactor reads closed although it is open")
    late_s = power.closing_s + power.close_pulse_s + MARGIN_S + SEEN_FOR_S
    return _alone(scan, for_s, closed, late_s, "main", "second", Check.RELAY_DROPS)


def _relay_drops(scan: Scan, for_s: float) -> _Answer:
    power, inputs = scan.rig.power, scan.inputs
    relay_open = inputs.relay_closed is False if power.relay_contact else True
    main_open = inputs.main_closed is False if power.main_contact and power.has_second else True
    blind = not power.relay_contact and not (power.main_contact and power.has_second)
    if relay_open and main_open and not (blind and for_s < _relay_drop_s(scan)):
        return Check.STAYS_OPEN if power.seal_in and power.has_second else Check.READY
    late = for_s >= _relay_drop_s(scan)
    return _failed(scan, "the watchdog relay does not drop in time without edges") if late else None


def _stays_open(scan: Scan, for_s: float) -> _Answer:
    power, inputs = scan.rig.power, scan.inputs
    if power.main_contact and inputs.main_closed is not False:
        return _failed(scan, "the main contactor closes again without a close pulse: it is not sealed in")
    relay_back = inputs.relay_closed is True if power.relay_contact else for_s >= SEEN_FOR_S
    if _steady(scan, relay_back):
        return Check.READY
    return _failed(scan, "the watchdog relay does not close on edges") if for_s >= 1.0 + MARGIN_S else None


def _ready(scan: Scan, for_s: float) -> _Answer:
    if scan.seq.to_release:
        return On.RELEASED
    if not scan.latch.powered:
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, powered=True)
        return None
    # whatever allowed the start must still hold when power comes on, the latch on disk among it
    why = missing(scan.rig, scan.memory(scan.before.outputs), Source(scan.run.asked_by), but="rest")
    if not why and proving_met(scan, scan.person.bypass):
        return On.DONE
    return _give_up(scan, why or "flow or ventilation was lost while starting") if for_s >= READY_S else None


_STEPS: dict[Check, Callable[[Scan, float], _Answer]] = {
    Check.PROVE: _prove,
    Check.RELAY_PICKS_UP: _relay_picks_up,
    Check.SECOND_ALONE: _second_alone,
    Check.SECOND_OPENS: _second_opens,
    Check.MAIN_ALONE: _main_alone,
    Check.RELAY_DROPS: _relay_drops,
    Check.STAYS_OPEN: _stays_open,
    Check.READY: _ready,
}
