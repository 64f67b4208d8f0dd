"""One scan: inputs in, decisions out.

The order is the way of a reading: believed or not, limits and votes, the controller's own findings, what people ask,
first-out and latch, the sequence, the outputs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence as SequenceOf

from controller.core.by_hand import ask_for_a_hand
from controller.core.commands import Command
from controller.core.crosschecks import cross_check, rightly_named
from controller.core.derate import cap
from controller.core.drive import drive
from controller.core.events import Event, Happened
from controller.core.findings import OPENED, found, look, time_ran_backwards
from controller.core.limits import RESTING, Effect, Limit, LimitState, TripKind, grace_s, refused_beyond, watch
from controller.core.members import compare
from controller.core.memory import Inputs, Memory, first
from controller.core.moves import account, demand_stops, judge_gas, move, work
from controller.core.orders import obey
from controller.core.outputs import Outputs
from controller.core.rig import Rig
from controller.core.scan import Scan, armed, calm, settled
from controller.core.sequence import On
from controller.core.signals import Code, Signal, Value, validate
from controller.core.trips import LOST, Cause, Rank, Seen, add, gathered

# The third trip within so many hours of running waits for somebody who writes down why.
TRIP_WINDOW_H = 10.0
TRIPS_IN_WINDOW = 3
HEALTHY_AFTER_S = 300.0


def step(
    rig: Rig, memory: Memory, inputs: Inputs, commands: SequenceOf[Command], now_s: float
) -> tuple[Memory, Outputs, tuple[Event, ...]]:
    """What to remember, what to drive until the next scan, and what happened.

    now_s: monotonic, taken after the inputs were read. Raises ValueError when the inputs are not those of this rig, or
    the time is no time.
    """
    if len(inputs.readings) != len(rig.signals):
        raise ValueError(f"{len(inputs.readings)} readings for {len(rig.signals)} signals")
    if not math.isfinite(now_s):
        raise ValueError(f"now_s is {now_s}; it must be a finite time")
    back_s = memory.now_s - now_s
    scan = Scan(rig, _begun_anew(rig, memory, now_s) if back_s > 0.0 else memory, inputs, now_s)
    if back_s > 0.0:
        time_ran_backwards(scan, back_s)
    _believe(scan)
    compare(scan)
    look(scan)
    cross_check(scan)
    account(scan)
    _watch(scan)
    _people(scan)
    obey(scan, commands)
    demand_stops(scan)
    ask_for_a_hand(scan)
    work(scan)
    _latch(scan)
    move(scan)
    judge_gas(scan)
    scan.cap = cap(rig, scan.before.cap, scan.values, scan.dt_s)
    outputs = drive(scan)
    return scan.memory(outputs), outputs, tuple(scan.events)


def _begun_anew(rig: Rig, memory: Memory, now_s: float) -> Memory:
    """After a clock that stepped back every stamp in the memory lies in the future and would disarm what waits for it,
    for as long as the step was: only what has no time in it is kept, and that power may still be on."""
    anew = first(rig, memory.latch, now_s)
    seq = anew.sequence._replace(powered=memory.sequence.powered, coolant_shut=memory.sequence.coolant_shut)
    return anew._replace(sequence=seq, scan=memory.scan, outputs=memory.outputs, events=memory.events, cap=memory.cap)


def _believe(scan: Scan) -> None:
    values: list[Value] = []
    now_s = scan.now_s
    for signal, old, reading in zip(scan.rig.signals, scan.values, scan.inputs.readings, strict=True):
        new = validate(signal, old, reading, now_s)
        if new.number is None or old.number is None:
            _note_loss(scan, signal, old, new)
            if new.number is None:
                scan.blank.append(len(values))
        values.append(new)
    scan.values = tuple(values)


def _note_loss(scan: Scan, signal: Signal, old: Value, new: Value) -> None:
    """A loss is said once it has lasted, so that one bad sample in a hundred does not fill the record."""
    was_lost = scan.before.now_s - old.good_stamp_s >= signal.lost_after_s
    is_lost = scan.now_s - new.good_stamp_s >= signal.lost_after_s
    if is_lost and not was_lost:
        scan.say(Happened.SIGNAL_LOST, signal.name, new.code.name, seen=new.rejected)
    elif was_lost and not is_lost:
        scan.say(Happened.SIGNAL_BACK, signal.name, seen=new.number)


def _watch(scan: Scan) -> None:
    """Every armed limit against the values of this scan; alarms are raised and cleared, trips become causes."""
    rig, values, now_s, last_s, before = scan.rig, scan.values, scan.now_s, scan.before.now_s, scan.limits
    states: list[LimitState] | None = None
    is_armed = armed(scan)
    is_calm: bool | None = None
    asked = -1
    for order, member, above, below in rig.quick:
        number, state = values[member].number, before[order]
        if state is RESTING and number is not None and above < number < below:
            continue  # this member is clear, armed or not
        if order == asked:
            continue  # for another member
        asked, limit = order, rig.limits[order]
        if not is_armed[limit.armed] or (limit.settle_s > 0.0 and not settled(scan, limit)):
            new = RESTING
        else:
            if is_calm is None:
                is_calm = calm(scan)
            if order in rig.hasty and scan.number(rig.roles.cell_temperature) is None:
                limit = rig.hasty[order]  # what could wait for the temperature cannot now
            new = watch(limit, state, values, last_s, now_s, is_calm)
        if new is not state:
            if states is None:
                states = list(before)
            states[order] = new
        if limit.effect is Effect.TRIP:
            if new.due and not _bypassed(scan, order, new):
                scan.causes.append(rightly_named(scan, _cause(rig, order, limit, new, values[new.member], now_s)))
        elif new.standing is not state.standing:
            what = Happened.ALARM if new.standing else Happened.ALARM_CLEARED
            said = _said(rig, limit, new)
            scan.say(what, limit.name, said, seen=values[limit.members[0]].number, limit=limit.threshold)
    if states is not None:
        scan.limits = tuple(states)
    for at in rig.protective:
        if values[at].bad_bits:
            _intermittent(scan, is_armed, calm(scan))
            return


def _said(rig: Rig, limit: Limit, state: LimitState) -> str:
    """An alarm that only stands because nobody can see says so: "lye hot" would be a claim."""
    if not state.standing or state.how is Code.OK:
        return limit.title
    return f"{limit.title}? No good reading of: {rig.signals[state.member].title}"


def _bypassed(scan: Scan, order: int, state: LimitState) -> bool:
    """A bypass covers the value, not the loss of the sensor."""
    return scan.person.bypass == order and state.how.value == 0


def _cause(rig: Rig, order: int, limit: Limit, state: LimitState, value: Value, now_s: float) -> Cause:
    if value.number is not None:
        seen, rank, number = Seen.BEYOND, Rank.PROCESS, value.number
    elif value.rejected is not None and refused_beyond(limit, value):  # on its safe side it says nothing
        seen, rank, number = Seen.REFUSED, Rank.PROCESS, value.rejected
    else:
        seen, rank, number = Seen.BLIND, Rank.SENSOR, None
    if limit.name == "stop chain":
        rank = Rank.STOP_CHAIN
    # a lost sensor says nothing of what its limit is there for: a dead current channel is no short circuit
    kind = TripKind.RESETTABLE if seen in LOST else limit.kind
    signal = rig.signals[state.member].name
    return Cause(
        limit.name,
        kind,
        rank,
        seen,
        now_s,
        state.onset_s,
        order,
        int(value.code),
        number,
        limit.threshold,
        signal,
    )


def _intermittent(scan: Scan, is_armed: tuple[bool, bool, bool, bool], is_calm: bool) -> None:
    """Signals of which more than half of the last three graces was bad, one cause for each signal."""
    rig = scan.rig
    for at in rig.protective:
        value, signal = scan.values[at], rig.signals[at]
        if 2 * value.bad_bits.bit_count() <= signal.window_scans:
            continue
        for order, limit in enumerate(rig.limits):
            if limit.effect is not Effect.TRIP or at not in limit.members or not is_armed[limit.armed]:
                continue
            # while a longer grace holds, the window that belongs to the shorter one says nothing
            if limit.needed == 1 and grace_s(limit, value, is_calm) == limit.grace_s:
                scan.causes.append(
                    Cause(
                        limit.name,
                        TripKind.RESETTABLE,
                        Rank.SENSOR,
                        Seen.INTERMITTENT,
                        scan.now_s,
                        value.good_stamp_s,
                        order,
                        int(value.code),
                        None,
                        limit.threshold,
                        signal.name,
                    )
                )
                break


def _people(scan: Scan) -> None:
    """What people have said runs out by itself."""
    person = scan.person
    if person.bypass >= 0 and scan.now_s >= person.bypass_until_s:
        scan.say(Happened.BYPASS_ENDED, scan.rig.limits[person.bypass].name)
        scan.person = person._replace(bypass=-1)
    if scan.latch.starts_without_health and scan.now_s - scan.before.began_s >= HEALTHY_AFTER_S:
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, starts_without_health=0)


def _lost_with(scan: Scan) -> dict[str, str]:
    """The device of each signal that is lost together with another one of it: unseen for at least half as long, so that
    two channels lost within one sample of each other are one cause although their graces end in different scans."""
    lost = [
        (signal, scan.now_s - value.good_stamp_s)
        for signal, value in zip(scan.rig.signals, scan.values, strict=True)
        if value.number is None and signal.device
    ]
    return {
        signal.name: signal.device
        for signal, unseen_s in lost
        if any(s is not signal and s.device == signal.device and 2.0 * its_s >= unseen_s for s, its_s in lost)
    }


def _latch(scan: Scan) -> None:
    """Latch the causes of this scan, the first-out first, and wish for the state that follows."""
    # a cause that comes in the last scan of its wait explains an opening too
    causes = [c for c in scan.causes if c.name != OPENED] or scan.causes
    if not causes:
        return
    lost_with = _lost_with(scan) if any(c.seen in LOST for c in causes) else {}
    tripped_before = scan.latch.tripped
    scan.latch, new = add(scan.latch, gathered(causes, lost_with))
    for cause in new:
        what = Happened.LATER_CAUSE if tripped_before else Happened.TRIP
        scan.say(what, cause.name, cause.signal, seen=cause.number, limit=cause.limit)
        tripped_before = True
    if new:
        scan.person = scan.person._replace(silenced=False)
        if len(new) == len(scan.latch.causes) and scan.seq.powered:
            _count_trip(scan)
    if scan.seq.to_release:
        scan.seq = scan.seq._replace(to_release=False)  # the self-test that should have ended a lock-out did not pass
    scan.wish(On.LOCK_OUT if scan.latch.locked_out else On.TRIP)


def _count_trip(scan: Scan) -> None:
    latch, hours = scan.latch, scan.running_h()
    recent = (*[h for h in latch.trips_in_running if hours - h < TRIP_WINDOW_H], hours)
    latch = latch._replace(trips_in_running=recent)
    if len(recent) >= TRIPS_IN_WINDOW:
        third = found(scan, "third trip", scan.now_s, float(len(recent)), float(TRIPS_IN_WINDOW))
        latch, _ = add(latch, (third,))
        scan.say(Happened.LATER_CAUSE, third.name)
    scan.latch = latch
