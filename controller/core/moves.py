"""How the sequence moves: what each state waits for, and what is noted on the way from one to the next."""

from __future__ import annotations

from collections.abc import Callable

from controller.core.accounts import follow, used_up, write_down
from controller.core.checking import check
from controller.core.commands import Source
from controller.core.crosschecks import first_power, first_power_goes_on
from controller.core.derate import exhausted
from controller.core.events import Happened
from controller.core.findings import found
from controller.core.limits import Limit
from controller.core.members import worn_out
from controller.core.rig import Grade
from controller.core.scan import Scan
from controller.core.sequence import GOING_ON, Check, On, State, after
from controller.core.trips import Cause

_RUNNING, _ATTENDED = State.RUNNING, Grade.ATTENDED  # asked for in every scan, see `drive`
# Current and contacts must agree for this long before power counts as off.
ZERO_FOR_S = 0.3


def account(scan: Scan) -> None:
    """Follow the power: when it really came on, when it is really off, and the charge that went through."""
    seq, run, now_s = scan.seq, scan.run, scan.now_s
    asked = scan.before.outputs
    current_a = scan.current_a()
    if seq.powered and seq.closed_s < 0.0 and asked.main_hold and _seen_closed(scan):
        scan.seq = seq = seq._replace(closed_s=now_s)
        scan.run = run = run._replace(began_s=now_s, ramp_from_s=-1.0 if scan.latch.first_power_due else now_s)
    if seq.powered and current_a is not None and 0.0 < scan.dt_s < 1.0:
        charge_c = abs(current_a) * scan.dt_s
        # under the minimum current the gas is not pure: what it mixes with must be flushed out again from the start
        vented_c = run.vented_c + charge_c if current_a >= scan.rig.pure_from_a else 0.0
        if scan.rig.suck_back >= 0 and scan.limits[scan.rig.suck_back].standing:
            vented_c = 0.0  # air or seal water has been drawn in
        forward_s = now_s if current_a >= scan.rig.zero_current_a else run.forward_s
        scan.run = run._replace(charge_c=run.charge_c + charge_c, vented_c=vented_c, forward_s=forward_s)
        follow(scan, charge_c)
    _prove_off(scan)
    _gas_left(scan)


def _seen_closed(scan: Scan) -> bool:
    """By its contact, or by current. Without a contact a supply that waits for its set-point shows no current either:
    then the whole pulse must do, and `no current` finds the contactor that did not take it."""
    power = scan.rig.power
    if power.main_contact:
        return bool(scan.inputs.main_closed) or bool(scan.current_flows())
    pulsed = scan.rig.supply.settable and scan.now_s - scan.seq.since_s >= power.lead_s + power.close_pulse_s
    return pulsed or bool(scan.current_flows())


def _prove_off(scan: Scan) -> None:
    """`powered` ends when both means are open and no current has flowed for a while; a dead current sensor waits for
    the contacts alone, and without those for ever."""
    seq, power, inputs, asked = scan.seq, scan.rig.power, scan.inputs, scan.before.outputs
    if not seq.powered:
        return
    told = not asked.main_hold and not asked.main_close
    contacts_open = inputs.main_closed is not True and (inputs.second_closed is not True or asked.second)
    flows = scan.current_flows()
    known = flows is not None or (power.main_contact and inputs.main_closed is False)
    off = told and contacts_open and known and not flows
    if not off:
        if seq.zero_since_s >= 0.0:
            scan.seq = seq._replace(zero_since_s=-1.0)
        return
    since_s = seq.zero_since_s if seq.zero_since_s >= 0.0 else scan.now_s
    powered = scan.now_s - max(since_s, seq.opened_s) < ZERO_FOR_S
    scan.seq = seq._replace(zero_since_s=since_s, powered=powered)
    if not powered:
        scan.seq = scan.seq._replace(vented_until_s=scan.now_s + scan.rig.timing.ventilate_s)
    if not powered:
        write_down(scan)
    if not powered and scan.latch.powered:
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, powered=False, running_h=scan.running_h())


def _gas_left(scan: Scan) -> None:
    """Once power is off, gas may be present until the vent time has passed with ventilation proven all along."""
    seq, role = scan.seq, scan.rig.roles.ventilation
    if seq.powered or role < 0 or seq.vented_until_s <= scan.before.now_s:
        return
    if (scan.values[role].number or 0.0) < 1.0:
        scan.seq = seq._replace(vented_until_s=seq.vented_until_s + max(0.0, scan.dt_s))


def _off(_scan: Scan) -> On | None:
    return None


def _ramping(scan: Scan) -> On | Cause | None:
    rig, seq = scan.rig, scan.seq
    if seq.closed_s < 0.0:
        # second contactor, then the pulse of the main one, then its contact or the first current
        power = rig.power
        late_s = 2.0 * power.closing_s + power.close_pulse_s + rig.supply.start_lag_s + 1.0
        return found(scan, "did not close", seq.since_s) if scan.now_s - seq.since_s >= late_s else None
    if first_power_goes_on(scan.seq, scan.run):
        return first_power(scan) or _ends(scan)
    over_s = rig.supply.start_lag_s + (rig.timing.ramp_s if rig.supply.settable else 0.0)
    return On.DONE if scan.now_s - scan.run.ramp_from_s >= over_s else _ends(scan)


def _venting(scan: Scan) -> On | None:
    return On.DONE if scan.run.vented_c >= scan.rig.vent_charge_c else _ends(scan)


def _running(scan: Scan) -> On | None:
    return _ends(scan)


def _ends(scan: Scan) -> On | None:
    """The run has reached its end, or nobody stands behind it any more."""
    run, timing, now_s = scan.run, scan.rig.timing, scan.now_s
    on_s = now_s - run.began_s
    ending = ""
    if run.end_charge_c and run.charge_c >= run.end_charge_c:
        ending = "the gas asked for is made"
    elif run.end_s and on_s >= run.end_s:
        ending = "the time asked for is over"
    elif used_up(scan.rig, scan.latch.water_used_g + run.water_g):
        ending = "the water account is used up: top up"
    elif run.lease_until_s and now_s >= run.lease_until_s:
        ending = "who asked for the run has not renewed it"
    elif scan.rig.grade is _ATTENDED:
        if on_s >= timing.attended_at_most_s:
            ending = f"a rig that needs somebody beside it runs {timing.attended_at_most_s / 60:.0f} min at most"
        elif now_s - scan.person.present_s >= timing.presence_s:
            ending = f"nobody has pressed at the bench for {timing.presence_s / 60:.0f} min"
    if not ending:
        return None
    scan.run = run._replace(ending=ending)
    return On.STOP


def _stopping(scan: Scan) -> On | None:
    seq = scan.seq
    power = scan.rig.power
    second_open = scan.inputs.second_closed is not True if power.second_contact else True
    told = not scan.before.outputs.second
    return On.OPENED if not seq.powered and told and second_open else None


def _cooling(scan: Scan) -> On | None:
    timing, for_s = scan.rig.timing, scan.now_s - scan.seq.since_s
    if for_s >= timing.cooling_at_most_s:
        return On.DONE
    role = scan.rig.roles.cell_temperature
    number = scan.values[role].number if role >= 0 else None
    return On.DONE if number is not None and number <= timing.cooled_c else None


_WORK: dict[State, Callable[[Scan], On | Cause | None]] = {
    State.OFF: _off,
    State.CHECKING: check,
    State.RAMPING: _ramping,
    State.VENTING: _venting,
    State.RUNNING: _running,
    State.STOPPING: _stopping,
    State.COOLING: _cooling,
    State.TRIPPED: _off,
    State.LOCKED_OUT: _off,
    State.SERVICE: _off,
    State.OUT_OF_SERVICE: _off,
}


def work(scan: Scan) -> None:
    """Let the present state do its work; a cause is a trip, anything else a wish."""
    answer = _WORK[scan.seq.state](scan)
    if isinstance(answer, Cause):
        scan.causes.append(answer)
    elif answer is not None:
        scan.wish(answer)


def demand_stops(scan: Scan) -> None:
    """Limits whose effect is an orderly stop, derates that have nothing left to take away, and votes that have run for
    too long without a member."""
    if scan.seq.state not in GOING_ON:
        return
    for at in scan.rig.stops:
        limit, state = scan.rig.limits[at], scan.limits[at]
        if state.due:
            _demand_stop(scan, limit, scan.values[state.member].number, limit.threshold)
            return
    for limit in scan.rig.derates:
        number = exhausted(limit, scan.values)
        if number is not None:
            _demand_stop(scan, limit, number, limit.derate_to)
            return
    if scan.rig.votes:
        for limit, why in worn_out(scan.rig, scan.votes):
            _demand_stop(scan, limit, None, limit.threshold, why)
            return


def _demand_stop(scan: Scan, limit: Limit, number: float | None, threshold: float, why: str = "") -> None:
    why = why or limit.title
    scan.run = scan.run._replace(ending=why)
    scan.say(Happened.STOP_DEMANDED, limit.name, why, seen=number, limit=threshold)
    scan.wish(On.STOP)


_BEGINNINGS = frozenset({On.START, On.RELEASE, On.SERVICE})


def move(scan: Scan) -> None:
    """Take the safest of the scan's wishes that the present state answers, and note what that means."""
    if not scan.wishes:
        return
    wishes = set(scan.wishes)
    if On.STOP in wishes or scan.latch.held_by:
        wishes -= _BEGINNINGS  # asked for in one scan, in whichever order: nothing begins
    for on in sorted(wishes):
        state = scan.seq.state
        try:
            following = after(state, on)
        except ValueError:
            continue  # a wish that came too late, such as DONE beside a stop that has been taken
        if following is state:
            return
        _enter(scan, following, on)
        return


def judge_gas(scan: Scan) -> None:
    """Gas is fit for use in `running`, once the headspace has been flushed with pure product gas."""
    run = scan.run
    fit = scan.seq.state is _RUNNING and run.vented_c >= scan.rig.vent_charge_c
    if fit != (run.gas_fit_since_s >= 0.0):
        scan.run = run._replace(gas_fit_since_s=scan.now_s if fit else -1.0)
        scan.say(Happened.GAS, "fit" if fit else "not fit")


def _enter(scan: Scan, state: State, on: On) -> None:
    seq, now_s = scan.seq, scan.now_s
    left = seq.state
    seq = seq._replace(state=state, since_s=now_s, zero_since_s=-1.0, disagree_since_s=-1.0)
    if state is State.CHECKING:
        seq = seq._replace(
            check=Check.PROVE,
            check_since_s=now_s,
            proven_since_s=-1.0,
            proven_last_s=now_s,
            to_release=on is On.RELEASE,
            stop_now=False,
        )
    elif state is State.RAMPING:
        seq = seq._replace(closed_s=-1.0, powered=True)
        scan.person = scan.person._replace(failed_starts=0)
    elif state is State.OFF and scan.latch.held_by:
        seq = seq._replace(state=State.OUT_OF_SERVICE)
    elif state is State.COOLING and scan.latch.tripped and on is not On.RELEASED:
        # the self-test that should have ended a lock-out was given up
        seq = seq._replace(state=State.LOCKED_OUT, to_release=False)
    if on is On.RELEASED:
        scan.latch = scan.latch._replace(
            number=scan.latch.number + 1, causes=(), locked_out=False, trips_in_running=(), starts_without_health=0
        )
        scan.say(Happened.RESET, "lock-out", source=Source(scan.run.asked_by).name)
        seq = seq._replace(to_release=False, coolant_shut=False)
    if left is State.CHECKING and not seq.powered and scan.latch.powered:
        # a start that was given up after `powered` had been written: nothing was closed
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, powered=False)
    if on is On.FAILED:
        scan.person = scan.person._replace(failed_starts=scan.person.failed_starts + 1)
    if left is State.SERVICE:
        scan.person = scan.person._replace(driven="")
    scan.seq = seq
    scan.say(Happened.STATE, seq.state.name, _why(scan, on))


def _why(scan: Scan, on: On) -> str:
    if on in (On.STOP, On.FAILED):
        return scan.run.ending
    if on in (On.TRIP, On.LOCK_OUT) and scan.latch.causes:
        return scan.latch.causes[0].name
    return on.name.lower()
