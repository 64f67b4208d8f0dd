"""What the outputs are in this scan: the table's row of the state, what the sequence does with the power path inside
it, and the few causes that change a row. What is wanted and what is permitted meet here, in one expression."""

from __future__ import annotations

from controller.core.commands import AT_THE_RIG
from controller.core.derate import cap_a
from controller.core.outputs import SHUT_COOLANT_AFTER, TABLE, Air, Horn, Outputs, Row, probe_a
from controller.core.scan import Scan
from controller.core.sequence import Check, State
from controller.core.top_up import dose

# Names of the module, because looking a member up in its enumeration takes ten times as long, and every scan does.
_CHECKING, _RAMPING, _STOPPING, _SERVICE = State.CHECKING, State.RAMPING, State.STOPPING, State.SERVICE
_OFF, _ON, _UNTIL_VENTED, _AS_COOLING = Air.OFF, Air.ON, Air.UNTIL_VENTED, Air.AS_COOLING
_WARNING, _UNTIL_SILENCED = Horn.WARNING, Horn.UNTIL_SILENCED
_HOLD_IN = frozenset({Check.MAIN_ALONE, Check.RELAY_DROPS, Check.STAYS_OPEN})
_PROBED_IN = frozenset({Check.SECOND_ALONE, Check.MAIN_ALONE})
_NO_EDGE_IN = frozenset({Check.PROVE, Check.RELAY_DROPS})


def drive(scan: Scan) -> Outputs:
    """The outputs until the next scan; also notes when a contactor was told to open."""
    row = TABLE[scan.seq.state]
    hold, close, second, edge = _power(scan, row)
    before = scan.before.outputs
    seq = scan.seq
    if before.main_hold and not hold:
        seq = seq._replace(opened_s=scan.now_s)
    if before.second and not second:
        seq = seq._replace(second_opened_s=scan.now_s)
    if seq is not scan.seq:
        scan.seq = seq
    setpoint_a = _setpoint_a(scan, hold) if row.power else 0.0
    scan.run = scan.run if scan.run.asked_a == setpoint_a else scan.run._replace(asked_a=setpoint_a)
    outputs = Outputs(  # by position: it costs half, in every scan
        hold,
        close,
        second,
        edge,
        _coolant(scan, row),
        _until_vented(scan, row.ventilation),
        row.may_collect and scan.run.gas_fit_since_s >= 0.0,
        dose(scan, row.may_top_up),
        _horn(scan, row),
        _until_vented(scan, row.lamp),
        setpoint_a,
    )
    if scan.seq.state is _SERVICE and scan.person.driven:
        outputs = outputs._replace(**{scan.person.driven: True})
    if _too_much_hydrogen(scan):
        outputs = outputs._replace(
            coolant=before.coolant, ventilation=before.ventilation, horn=before.horn, lamp=before.lamp
        )
    return before if outputs == before else outputs


def _power(scan: Scan, row: Row) -> tuple[bool, bool, bool, bool]:
    """hold, close pulse, second, edge."""
    seq, rig, now_s = scan.seq, scan.rig, scan.now_s
    power = rig.power
    if not row.power:
        # the second means follows the main one half a second later, without waiting for a diagnosis
        lingering = scan.before.outputs.second and now_s - _told_open_s(scan) < power.second_after_s
        return False, False, lingering, False
    if seq.state is _CHECKING:
        step = seq.check
        hold = power.has_second and step in _HOLD_IN  # with one means only, holding could be power
        for_s = now_s - seq.check_since_s
        pulse = step is Check.MAIN_ALONE and for_s < power.close_pulse_s and not scan.inputs.main_closed
        return hold, pulse, step is Check.SECOND_ALONE, scan.proof and step not in _NO_EDGE_IN
    edge = scan.proof
    if seq.state is _STOPPING:
        hold = scan.before.outputs.main_hold and not seq.stop_now and _still_ramping_down(scan)
        second = power.has_second and (hold or seq.powered)
        return hold, False, second, edge
    if seq.disagree_since_s >= 0.0:
        return False, False, False, False
    second = power.has_second
    second_seen = scan.inputs.second_closed is True if power.second_contact else now_s - seq.since_s >= power.closing_s
    if seq.state is _RAMPING and seq.closed_s < 0.0:
        ready = not second or second_seen
        for_s = now_s - seq.since_s - power.lead_s
        return ready, ready and 0.0 <= for_s < power.close_pulse_s, second, edge
    return True, False, second, edge


def _told_open_s(scan: Scan) -> float:
    return scan.now_s if scan.before.outputs.main_hold else scan.seq.opened_s


def _still_ramping_down(scan: Scan) -> bool:
    """An orderly stop takes the set-point to zero first, for a few seconds at most."""
    if not scan.rig.supply.settable or scan.now_s - scan.seq.since_s >= scan.rig.timing.stop_ramp_s:
        return False
    return scan.current_flows() is not False


def _setpoint_a(scan: Scan, hold: bool) -> float:
    rig, seq, run = scan.rig, scan.seq, scan.run
    if not rig.supply.settable:
        return 0.0
    if seq.state is _CHECKING:
        return probe_a(rig.zero_current_a) if seq.check in _PROBED_IN else 0.0
    if not hold or seq.closed_s < 0.0:
        return 0.0
    if seq.state is _STOPPING:
        left = 1.0 - (scan.now_s - seq.since_s) / max(rig.timing.stop_ramp_s, rig.scan_s)
        return max(0.0, min(run.asked_a, run.wanted_a * left))
    if run.ramp_from_s < 0.0:  # the first power of this rig file
        return min(run.wanted_a, rig.supply.minimum_a)
    ramp_s, for_s = max(rig.timing.ramp_s, rig.scan_s), scan.now_s - run.ramp_from_s
    wanted_a = run.wanted_a if for_s >= ramp_s else run.wanted_a * max(0.0, for_s / ramp_s)
    return min(wanted_a, cap_a(rig, scan.cap))


def _coolant(scan: Scan, row: Row) -> bool:
    rig, seq = scan.rig, scan.seq
    if row.coolant is _OFF:
        return False
    if row.coolant is not _AS_COOLING:
        return True
    names = {c.name for c in scan.latch.causes}
    temperature_c = scan.number(rig.roles.cell_temperature)
    hot = temperature_c is not None and temperature_c >= rig.timing.hot_c
    if not seq.coolant_shut and (names & SHUT_COOLANT_AFTER or ("coolant flow low" in names and hot)):
        scan.seq = seq._replace(coolant_shut=True)
        return False
    if seq.coolant_shut or scan.now_s - seq.since_s >= rig.timing.cooling_at_most_s:
        return False
    return temperature_c is None or temperature_c > rig.timing.cooled_c


def _until_vented(scan: Scan, air: Air) -> bool:
    # the vent time begins only once power is proven off: until then more gas may be made
    return air is _ON or (air is _UNTIL_VENTED and (scan.seq.powered or scan.now_s < scan.seq.vented_until_s))


def _horn(scan: Scan, row: Row) -> bool:
    seq, person, timing = scan.seq, scan.person, scan.rig.timing
    if row.horn is _UNTIL_SILENCED:
        return not person.silenced and scan.now_s - seq.since_s < timing.horn_at_most_s
    if row.horn is _WARNING:
        return seq.check is Check.PROVE and scan.run.asked_by not in AT_THE_RIG and not seq.to_release
    return False


def _too_much_hydrogen(scan: Scan) -> bool:
    """So much in the room that nothing which could spark is switched any more."""
    role = scan.rig.roles.room_hydrogen
    if role < 0:
        return False
    value = scan.values[role]
    number = value.number if value.number is not None else value.rejected  # over the detector's range is no less
    return number is not None and number >= scan.rig.switch_nothing_above
