"""A supply that only a hand can set: the guard says what to turn to, and ends the run when nobody does.

Where the supply follows a set-point, `derate` lowers it. Here the same cap becomes words: an alarm, then an orderly
stop. Over-current trips further up all the same.
"""

from __future__ import annotations

from controller.core.derate import cap_a
from controller.core.events import Happened
from controller.core.memory import Memory
from controller.core.rig import Rig
from controller.core.scan import Scan
from controller.core.sequence import GOING_ON, On, State
from controller.core.timers import fill

TURN_DOWN = "turn down"  # the alarm's name
FIXED = "fixed voltage"  # the one kind without any knob
OVER = 1.05  # times what is allowed: a knob is not set more finely, and the current moves with the lye's temperature
SAID_AFTER_S = 10.0
STOPS_AFTER_S = 60.0


def allowed_a(rig: Rig, wanted_a: float, cap: float) -> float:
    """What a hand may set: what the run asked for, within the grade, folded back as the lye warms."""
    return min(wanted_a or rig.most_a, rig.most_a, cap_a(rig, cap))


def to_do(rig: Rig, at_most_a: float) -> str:
    if rig.supply.kind == FIXED:
        return f"more than {at_most_a:.0f} A, and it has no knob: stop, and let the lye cool"
    return f"turn the knob to {at_most_a:.0f} A or less"


def to_do_by_hand(rig: Rig, memory: Memory) -> str:
    """What the person at the supply should do now, and how long there is for it; empty when nothing."""
    run, seq = memory.run, memory.sequence
    before = seq.state is State.CHECKING and not seq.to_release and rig.supply.kind != FIXED
    if rig.supply.settable or not (run.turn_down or before):
        return ""
    left = f"; in {STOPS_AFTER_S - run.over_s:.0f} s it stops" if run.turn_down else ""
    return f" At the supply: {to_do(rig, allowed_a(rig, run.wanted_a, memory.cap))}{left}."


def ask_for_a_hand(scan: Scan) -> None:
    """The alarm while more flows than is allowed, and the stop after a minute of it. The timer empties as it fills."""
    rig, run = scan.rig, scan.run
    if rig.supply.settable:
        return
    under_way = scan.seq.state in GOING_ON
    current_a = scan.current_a() if under_way else 0.0
    if current_a is None:
        return
    at_most_a = allowed_a(rig, run.wanted_a, scan.cap)
    over = abs(current_a) >= OVER * at_most_a
    over_s = fill(run.over_s, scan.dt_s, 1.0 if over else 0.0, STOPS_AFTER_S) if under_way else 0.0
    said = over_s > 0.0 and (run.turn_down or over_s >= SAID_AFTER_S)
    if said is not run.turn_down:
        what = Happened.ALARM if said else Happened.ALARM_CLEARED
        scan.say(what, TURN_DOWN, to_do(rig, at_most_a), seen=current_a, limit=at_most_a)
    if over_s != run.over_s or said is not run.turn_down:
        scan.run = run._replace(over_s=over_s, turn_down=said)
    if over_s >= STOPS_AFTER_S:
        ending = f"{current_a:.1f} A for a minute where {at_most_a:.1f} A are allowed, and nobody turned it down"
        scan.run = scan.run._replace(ending=ending)
        scan.say(Happened.STOP_DEMANDED, TURN_DOWN, ending, seen=current_a, limit=at_most_a)
        scan.wish(On.STOP)
