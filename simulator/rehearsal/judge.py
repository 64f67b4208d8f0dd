"""Whether a rehearsal went as its file says, in words, and the one JSON object a program reads."""

from __future__ import annotations

from typing import Any

from controller.core.events import Happened
from controller.core.sequence import State
from simulator.rehearsal.runner import WATCHED, Record, trips, words

LONGEST_TRAVEL_S = 3.0  # of a contactor, even a slow one


def tripped(record: Record) -> bool:
    return bool(record.causes) or bool(trips(record))


def first_out(record: Record) -> str | None:
    """The cause that came first, by the guard's own word."""
    found = trips(record)
    return found[0][1].subject if found else record.causes[0] if record.causes else None


def all_causes(record: Record) -> list[str]:
    named = [e.subject for _, _, e in record.events if e.what in (Happened.TRIP, Happened.LATER_CAUSE)]
    return list(dict.fromkeys([*named, *record.causes]))


def alarms(record: Record) -> list[str]:
    return list(dict.fromkeys(e.subject for _, _, e in record.events if e.what is Happened.ALARM))


def fault_to_off_s(record: Record) -> float | None:
    """From the first fault to the moment no current can flow, by the bench's contacts."""
    return None if record.off_s is None or record.fault_s is None else record.off_s - record.fault_s


def cut_by(record: Record) -> str:
    """What took the power away first, by what fell when: guard, watchdog relay, stop chain, mains, contactor."""
    off_s = record.off_s
    if off_s is None:
        return ""
    fell = [c for c in record.changes if not c.closed and off_s - LONGEST_TRAVEL_S <= c.at_s <= off_s + 1e-6]
    coil_s = next((c.at_s for c in fell if c.name in ("main_coil", "second_coil")), None)
    if coil_s is None:
        return "the contactor itself"
    with_it = {c.name for c in fell if abs(c.at_s - coil_s) < 1e-6}
    if "relay" in with_it:
        return "watchdog relay" if "watchdog" in with_it else "stop chain or mains"
    if any(abs(coil_s - dead_s) < 1e-3 for dead_s in record.dead_s):
        return "kernel, which lets go the pins of a dead process"
    return "guard"


def extremes(record: Record) -> dict[str, dict[str, float]]:
    return {
        name: {"min": low, "max": high}
        for name, low, high in zip(WATCHED, record.low, record.high, strict=True)
        if low <= high
    }


def reached(record: Record) -> set[str]:
    """States the guard was in, those it began in included."""
    names = {words(State[e.subject]) for _, _, e in record.events if e.what is Happened.STATE}
    return names | {record.scenario.start, record.end_state}


def failures(record: Record) -> list[str]:
    """What did not go as the file says; empty when all did."""
    expect, out = record.scenario.expect, []
    has_tripped, first, off_s = tripped(record), first_out(record), fault_to_off_s(record)
    if expect.trips is True and not has_tripped:
        out.append(f"it did not trip; it ended {record.end_state}")
    if expect.trips is False and has_tripped:
        out.append(f"it tripped by {first!r}")
    wanted = expect.any_first_out
    if wanted and has_tripped and first not in wanted:
        out.append(f"the first cause is {first!r}, not {' or '.join(map(repr, wanted))}")
    elif wanted and not has_tripped and expect.trips is not True:
        out.append(f"it did not trip, so there is no {' or '.join(map(repr, wanted))}")
    causes = all_causes(record)
    out += [f"{name!r} is not among the causes {causes}" for name in expect.causes if name not in causes]
    if expect.fault_to_off_s is not None:
        least_s, most_s = expect.fault_to_off_s
        if off_s is None:
            out.append("power did not go off after the fault")
        elif not least_s - 1e-6 <= off_s <= most_s + 1e-6:
            out.append(f"from the fault to power off took {off_s:.2f} s, not {least_s:g} to {most_s:g} s")
    for quantity, bounds in expect.never.items():
        seen = extremes(record).get(quantity)
        if seen is None:
            out.append(f"{quantity} is not watched; watched are {', '.join(WATCHED)}")
            continue
        if bounds.above is not None and seen["max"] > bounds.above:
            out.append(f"the true {quantity} reached {seen['max']:.3g}, above {bounds.above:g}")
        if bounds.below is not None and seen["min"] < bounds.below:
            out.append(f"the true {quantity} fell to {seen['min']:.3g}, below {bounds.below:g}")
    came = alarms(record)
    out += [f"the alarm {name!r} did not come" for name in expect.alarms if name not in came]
    if "any" in expect.no_alarms and came:
        out.append(f"alarms came: {', '.join(came)}")
    out += [f"the alarm {name!r} came" for name in expect.no_alarms if name in came]
    said = " | ".join(record.said())
    out += [f"the record does not say {text!r}" for text in expect.says if text not in said]
    out += [f"the record says {text!r}" for text in expect.never_says if text in said]
    if expect.any_end_state and record.end_state not in expect.any_end_state:
        out.append(f"it ended {record.end_state}, not {' or '.join(expect.any_end_state)}")
    been = reached(record)
    out += [f"it never reached {state}" for state in expect.reached if state not in been]
    out += [f"it reached {state}" for state in expect.never_reached if state in been]
    if expect.powered_at_end is not None and record.ended_powered is not expect.powered_at_end:
        out.append(f"at the end current {'can' if record.ended_powered else 'cannot'} flow")
    if expect.never_powered and any(on for _, on in record.powered):
        out.append("current could flow")
    return out


def as_dict(record: Record, failed: list[str]) -> dict[str, Any]:
    """What `rehearse --json` gives for a file."""
    return {
        "title": record.scenario.title,
        "passed": not failed,
        "failures": failed,
        "tripped": tripped(record),
        "first_out": first_out(record),
        "causes": all_causes(record),
        "fault_to_off_s": fault_to_off_s(record),
        "extremes": extremes(record),
        "alarms": alarms(record),
        "end_state": record.end_state,
        "simulated_s": round(record.simulated_s, 6),
        "wall_s": record.wall_s,
    }


def verdict(record: Record, failed: list[str]) -> str:
    """One line for a person."""
    if failed:
        return f"FAILED  {record.scenario.title}: {'; '.join(failed)}"
    off_s, first = fault_to_off_s(record), first_out(record)
    what = f"tripped by {first}" if first else f"no trip, ended {record.end_state}"
    if off_s is not None:
        by = cut_by(record)
        what += f", power off after {off_s:.2f} s" + (f" by the {by}" if by and by != "guard" else "")
    kind = ", decisions only: readings scripted" if record.scenario.readings == "scripted" else ""
    return f"passed  {record.scenario.title} ({what}{kind})"
