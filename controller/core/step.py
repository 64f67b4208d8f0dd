"""One scan: inputs in, decisions out.

The order is the way of a reading: believed or not, limits and votes, the controller's own findings, what people ask,
first-out and latch, the sequence, the outputs.
"""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf

from controller.core.commands import Command
from controller.core.derate import cap
from controller.core.drive import drive
from controller.core.events import Event, Happened
from controller.core.findings import found, look
from controller.core.limits import RESTING, Effect, Limit, LimitState, watch
from controller.core.memory import Inputs, Memory
from controller.core.moves import account, demand_stops, move, work
from controller.core.orders import obey
from controller.core.outputs import Outputs
from controller.core.rig import Rig
from controller.core.scan import Scan, armed, calm, settled
from controller.core.sequence import On
from controller.core.signals import Signal, Value, validate
from controller.core.trips import Cause, Rank, Seen, add, gathered, in_order

# The third trip within so many hours of running waits for somebody who writes down why.
TRIP_WINDOW_H = 10.0
TRIPS_IN_WINDOW = 3
HEALTHY_AFTER_S = 300.0


def step(
    rig: Rig, memory: Memory, inputs: Inputs, commands: SequenceOf[Command], now_s: float
) -> tuple[Memory, Outputs, tuple[Event, ...]]:
    """What to remember, what to drive until the next scan, and what happened.

    now_s: monotonic, taken after the inputs were read. Raises ValueError when the inputs are not those of this rig.
    """
    if len(inputs.readings) != len(rig.signals):
        raise ValueError(f"{len(inputs.readings)} readings for {len(rig.signals)} signals")
    scan = Scan(rig, memory, inputs, now_s)
    _believe(scan)
    causes = look(scan)
    account(scan)
    causes += _watch(scan)
    _people(scan)
    if commands:
        obey(scan, _memory(scan, memory.outputs), commands)
    demand_stops(scan)
    own = work(scan)
    if own is not None:
        causes.append(own)
    _latch(scan, causes)
    move(scan)
    scan.cap = cap(rig, memory.cap, scan.values, scan.dt_s)
    outputs = drive(scan)
    return _memory(scan, outputs), outputs, tuple(scan.events)


def _believe(scan: Scan) -> None:
    values: list[Value] = []
    for signal, old, reading in zip(scan.rig.signals, scan.values, scan.inputs.readings, strict=True):
        new = validate(signal, old, reading, scan.now_s)
        values.append(new)
        if new.number is None or old.number is None:
            _note_loss(scan, signal, old, new)
    scan.values = tuple(values)


def _note_loss(scan: Scan, signal: Signal, old: Value, new: Value) -> None:
    """A loss is said once it has lasted, so that one bad sample in a hundred does not fill the record."""
    lasts_s = max(1.0, 3.0 * signal.period_s)
    was_lost = scan.before.now_s - old.good_stamp_s >= lasts_s
    is_lost = scan.now_s - new.good_stamp_s >= lasts_s
    if is_lost and not was_lost:
        scan.say(Happened.SIGNAL_LOST, signal.name, new.code.name, seen=new.rejected)
    elif was_lost and not is_lost:
        scan.say(Happened.SIGNAL_BACK, signal.name, seen=new.number)


def _watch(scan: Scan) -> list[Cause]:
    """Every armed limit against the values of this scan; alarms are raised and cleared, trips returned as causes."""
    rig, values, now_s, last_s = scan.rig, scan.values, scan.now_s, scan.before.now_s
    causes: list[Cause] = []
    states: list[LimitState] | None = None
    is_armed = armed(scan)
    is_calm: bool | None = None
    for order, (state, (member, above, below)) in enumerate(zip(scan.limits, rig.quick, strict=True)):
        number = values[member].number
        if state is RESTING and number is not None and above < number < below:
            continue  # clear, armed or not
        limit = rig.limits[order]
        if not is_armed[limit.armed] or (limit.settle_s > 0.0 and not settled(scan, limit.settle_s)):
            new = RESTING
        else:
            if is_calm is None:
                is_calm = calm(scan)
            new = watch(limit, state, values, last_s, now_s, is_calm)
        if new is not state:
            if states is None:
                states = list(scan.limits)
            states[order] = new
        if limit.effect is Effect.TRIP:
            if new.due and not _bypassed(scan, order, new):
                causes.append(_cause(rig, order, limit, new, values[new.member], now_s))
        elif new.standing is not state.standing:
            what = Happened.ALARM if new.standing else Happened.ALARM_CLEARED
            scan.say(what, limit.name, limit.title, seen=values[limit.members[0]].number, limit=limit.threshold)
    if states is not None:
        scan.limits = tuple(states)
    for at in rig.protective:
        if values[at].bad_bits:
            return causes + _intermittent(scan, is_armed)
    return causes


def _bypassed(scan: Scan, order: int, state: LimitState) -> bool:
    """A bypass covers the value, not the loss of the sensor."""
    return scan.person.bypass == order and state.how.value == 0


def _cause(rig: Rig, order: int, limit: Limit, state: LimitState, value: Value, now_s: float) -> Cause:
    if value.number is not None:
        seen, rank, number = Seen.BEYOND, Rank.PROCESS, value.number
    elif value.rejected is not None:
        seen, rank, number = Seen.REFUSED, Rank.PROCESS, value.rejected
    else:
        seen, rank, number = Seen.BLIND, Rank.SENSOR, None
    if limit.name == "stop chain":
        rank = Rank.STOP_CHAIN
    signal = rig.signals[state.member].name
    return Cause(
        limit.name,
        limit.kind,
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


def _intermittent(scan: Scan, is_armed: tuple[bool, bool, bool, bool]) -> list[Cause]:
    """Signals of which more than half of the last three graces was bad, one cause for each signal."""
    rig, causes = scan.rig, []
    for at in rig.protective:
        value, signal = scan.values[at], rig.signals[at]
        if 2 * value.bad_bits.bit_count() <= signal.window_scans:
            continue
        for order, limit in enumerate(rig.limits):
            if limit.effect is Effect.TRIP and at in limit.members and is_armed[limit.armed] and limit.needed == 1:
                causes.append(
                    Cause(
                        limit.name,
                        limit.kind,
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
    return causes


def _people(scan: Scan) -> None:
    """What people have said runs out by itself."""
    person = scan.person
    if person.bypass >= 0 and scan.now_s >= person.bypass_until_s:
        scan.say(Happened.BYPASS_ENDED, scan.rig.limits[person.bypass].name)
        scan.person = person._replace(bypass=-1)
    if scan.latch.starts_without_health and scan.now_s - scan.before.began_s >= HEALTHY_AFTER_S:
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, starts_without_health=0)


def _latch(scan: Scan, causes: list[Cause]) -> None:
    """Latch the causes of this scan, the first-out first, and wish for the state that follows."""
    if not causes:
        return
    ordered = in_order(gathered(causes, scan.rig.device_of))
    tripped_before = scan.latch.tripped
    scan.latch, new = add(scan.latch, ordered)
    for cause in new:
        what = Happened.LATER_CAUSE if tripped_before else Happened.TRIP
        scan.say(what, cause.name, cause.signal, seen=cause.number, limit=cause.limit)
        tripped_before = True
    if new and len(new) == len(scan.latch.causes) and scan.seq.powered:
        _count_trip(scan)
    if scan.seq.to_release:
        scan.seq = scan.seq._replace(to_release=False)  # the self-test that should have ended a lock-out did not pass
        scan.latch = scan.latch._replace(locked_out=True)
    scan.wish(On.LOCK_OUT if scan.latch.locked_out else On.TRIP)


def _count_trip(scan: Scan) -> None:
    latch, seq = scan.latch, scan.seq
    hours = latch.running_h + (max(0.0, scan.now_s - seq.closed_s) / 3600.0 if seq.closed_s >= 0.0 else 0.0)
    recent = (*[h for h in latch.trips_in_running if hours - h < TRIP_WINDOW_H], hours)
    latch = latch._replace(trips_in_running=recent)
    if len(recent) >= TRIPS_IN_WINDOW:
        third = found(scan, "third trip", scan.now_s, float(len(recent)), float(TRIPS_IN_WINDOW))
        latch, _ = add(latch, (third,))
        scan.say(Happened.LATER_CAUSE, third.name)
    scan.latch = latch


def _memory(scan: Scan, outputs: Outputs) -> Memory:
    inputs = scan.inputs
    return Memory(
        scan.now_s,
        scan.before.scan + 1,
        scan.values,
        scan.limits,
        scan.seq,
        scan.latch,
        scan.run,
        scan.person,
        outputs,
        scan.event_number,
        scan.starts_s,
        scan.cap,
        scan.before.began_s,
        (inputs.main_closed, inputs.second_closed, inputs.relay_closed),
        inputs.latch_on_disk,
        inputs.controller_well,
        scan.pins_obey,
    )
