"""What must hold before a start, in the order in which a person would walk to it. All that is missing is said at once.

A pure function of the memory, so that `status` and the page show the same list that a start is judged by.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from controller.core.accounts import used_up, water_used_g
from controller.core.commands import AT_THE_RIG, Source
from controller.core.limits import Arming, Effect, Limit, is_clear
from controller.core.members import worn_out
from controller.core.memory import Memory
from controller.core.rig import Grade, Rig
from controller.core.sequence import State
from controller.core.signals import Status

_START_WINDOW_S = 3600.0
UNMEASURED = (
    "no current is measured, so that neither power off nor a welded contactor is ever proven; a shunt with an "
    "isolating amplifier or a Hall sensor does that"
)
_FAILED_STARTS = 3
FROST = "frost warn"  # the alarm while which nobody starts it from afar


class Permissive(NamedTuple):
    name: str
    title: str
    met: bool | None  # None: not known, which counts as no
    why: str


_Answer = tuple[bool | None, str]
_Test = Callable[[Rig, Memory, Source], _Answer]


def _not_tripped(_rig: Rig, memory: Memory, _source: Source) -> _Answer:
    causes = memory.latch.causes
    return not causes, f"tripped by {causes[0].name!r}: reset it first" if causes else "no trip stands"


def _in_service(_rig: Rig, memory: Memory, _source: Source) -> _Answer:
    latch = memory.latch
    if latch.held_by:
        return False, f"out of service by {latch.held_by}: {latch.hold_reason}"
    if memory.sequence.state is State.SERVICE:
        return False, "outputs are being driven by hand"
    return True, "in service"


def _settings(_rig: Rig, memory: Memory, _source: Source) -> _Answer:
    if memory.latch.settings_accepted:
        return True, "settings as last accepted"
    return False, "the rig file has changed since the last run: accept it at the rig"


def _controller(_rig: Rig, memory: Memory, _source: Source) -> _Answer:
    if not memory.controller_well:
        return False, "the controller is not well: see its disk, its supply voltage and its kernel"
    if not memory.pins_obey:
        return False, "an output pin does not read back as it was set"
    if memory.latch_on_disk < memory.latch.number:
        return False, "the last change of the latch is not on disk yet"
    return True, "disk, supply and pins well"


def _signals(rig: Rig, memory: Memory, _source: Source) -> _Answer:
    lost = []
    for at in rig.protective:
        value = memory.values[at]
        if value.number is None or value.status is Status.FUNCTION_CHECK:
            lost.append(f"{rig.signals[at].title} ({value.code.name.lower().replace('_', ' ')})")
    return not lost, "not good: " + ", ".join(lost) if lost else "all good"


def _standing(rig: Rig, memory: Memory) -> list[Limit]:
    """Protective limits that are not clear now and that the start itself cannot clear."""
    found = []
    for at, limit in enumerate(rig.limits):
        if limit.effect < Effect.STOP or limit.proving or limit.settle_s > 0.0 or limit.armed is Arming.COLLECTING:
            continue
        if at == memory.person.bypass and all(memory.values[m].number is not None for m in limit.members):
            continue
        if not is_clear(limit, memory.values):
            found.append(limit)
    return found


def _limits(rig: Rig, memory: Memory, _source: Source) -> _Answer:
    standing = _standing(rig, memory)
    return not standing, ("not clear: " + ", ".join(x.title for x in standing)) if standing else "all clear"


def _votes(rig: Rig, memory: Memory, _source: Source) -> _Answer:
    why = "; ".join(why for _, why in worn_out(rig, memory.votes))
    return not why, why or "none has run for too long with a sensor lost"


def _temperature(rig: Rig, memory: Memory, _source: Source) -> _Answer:
    role = rig.roles.cell_temperature
    if role < 0:
        return True, "no cell temperature is fitted"
    number = memory.values[role].number
    if number is None:
        return None, "cell temperature is not known"
    low, high = rig.lowest_start_c, rig.highest_start_c
    if number < low:
        return False, f"the cell is at {number:.1f} C; it must have at least {low:.0f} C"
    if number > high:
        return False, f"the cell is at {number:.1f} C; let it cool to {high:.0f} C"
    return True, f"the cell is at {number:.1f} C"


def _dead(rig: Rig, memory: Memory, _source: Source) -> _Answer:
    main, second, relay = memory.contacts
    fed = memory.sequence.state is State.CHECKING  # then the relay has edges
    for closed, what in ((main, "main contactor"), (second, "second contactor"), (relay and not fed, "watchdog relay")):
        if closed:
            return False, f"the {what} reads closed"
    if rig.roles.current < 0:
        return None, UNMEASURED
    current_a = memory.values[rig.roles.current].number
    if current_a is None:
        return None, "the current is not known"
    if abs(current_a) >= rig.zero_current_a:
        return False, f"{current_a:.2f} A flow although power is off"
    role = rig.roles.voltage
    volts = memory.values[role].number if role >= 0 else None
    if volts is not None and volts < -0.3:
        return False, f"the stack shows {volts:.2f} V: are the leads swapped?"
    return True, "contactors open, no current"


def _off_long_enough(rig: Rig, memory: Memory, _source: Source) -> _Answer:
    timing = rig.timing
    recent = [s for s in memory.starts_s if memory.now_s - s < _START_WINDOW_S]
    if len(recent) >= timing.starts_per_hour:
        wait_s = _START_WINDOW_S - (memory.now_s - recent[0])
        return False, f"{len(recent)} starts within the hour; wait {wait_s / 60:.0f} min"
    if memory.run.began_s >= 0.0:
        off_s = memory.now_s - memory.sequence.opened_s
        if off_s < timing.off_at_least_s:
            left_s = math.ceil(timing.off_at_least_s - off_s)
            return False, f"it rests for {timing.off_at_least_s:.0f} s between runs: {left_s} s left"
    return True, "off for long enough"


def _person(rig: Rig, memory: Memory, source: Source) -> _Answer:
    if source in AT_THE_RIG:
        return True, "asked at the rig"
    person, now_s = memory.person, memory.now_s
    if rig.grade is not Grade.UNATTENDED:
        return False, "this rig may only run with somebody beside it; missing: " + "; ".join(rig.missing)
    if person.stopped:
        return False, "a person stopped it; a person must start it, or enable it again"
    if person.failed_starts >= _FAILED_STARTS:
        return False, f"{person.failed_starts} starts in a row failed; a person must start it, or enable it again"
    if now_s > person.enabled_until_s:
        return False, "the local enable is off: give it at the rig"
    if now_s - person.card_s > rig.timing.card_s:
        return False, "the card before a start has not been answered at the rig"
    if person.bypass >= 0:
        return False, "a limit is bypassed"
    if any(x.name == FROST and state.standing for x, state in zip(rig.limits, memory.limits, strict=True)):
        return False, "frost: ice may plug the vent or the water; somebody must look, and start it at the rig"
    return True, "enabled at the rig"


def _water(rig: Rig, memory: Memory, _source: Source) -> _Answer:
    if used_up(rig, water_used_g(memory)):
        return False, "the water account is used up: top up, and say so at the rig (topped-up)"
    return True, "water left" if rig.usable_water_g else "no water account is kept"


_TABLE: tuple[tuple[str, str, _Test], ...] = (
    ("no trip", "No trip stands", _not_tripped),
    ("in service", "In service", _in_service),
    ("settings", "Settings accepted", _settings),
    ("somebody", "Somebody at the rig has agreed", _person),
    ("controller", "Controller well", _controller),
    ("signals", "All protective signals good", _signals),
    ("limits", "All limits clear", _limits),
    ("votes", "Sensors of every vote", _votes),
    ("water", "Water for a run", _water),
    ("temperature", "Lye at a temperature to start from", _temperature),
    ("dead", "Power proven off", _dead),
    ("rest", "Off long enough", _off_long_enough),
)


def permissives(rig: Rig, memory: Memory, source: Source = Source.LOCAL) -> tuple[Permissive, ...]:
    """Every condition for a start asked from `source`, met or not, with why."""
    found = []
    for name, title, test in _TABLE:
        met, why = test(rig, memory, source)
        found.append(Permissive(name, title, met, why))
    return tuple(found)


def missing(rig: Rig, memory: Memory, source: Source, but: str = "") -> str:
    """Why a start is refused, all of it; empty when nothing is missing. but: name of one that does not count."""
    return "; ".join(p.why for p in permissives(rig, memory, source) if p.met is not True and p.name != but)
