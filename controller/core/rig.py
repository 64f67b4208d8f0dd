"""Everything the core knows about one rig before the first scan: compiled once from the rig file, then frozen."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import IntEnum

from controller.core.commands import Source, Verb
from controller.core.limits import Arming, Effect, Limit, clear_between
from controller.core.signals import Signal, Value

ATTENDED_SHARE = 1.0 / 3.0  # of the rated current, while a rig may only run with somebody beside it
HASTY_S = 2.0  # of lost flow while nobody sees the temperature


class Grade(IntEnum):
    ATTENDED = 0
    UNATTENDED = 1


@dataclass(frozen=True, slots=True)
class PowerPath:
    """How power is made and broken. Times in seconds, as declared for the parts."""

    seal_in: bool = True
    has_second: bool = True
    main_contact: bool = True  # an auxiliary contact is wired
    second_contact: bool = True
    relay_contact: bool = True
    switched_at: str = "dc"  # where the main contactor sits: dc, mains, enable
    opening_s: float = 0.1
    closing_s: float = 0.1
    close_pulse_s: float = 0.5
    watchdog_s: float = 1.0
    watchdog_tolerance: float = 0.3  # share of watchdog_s
    second_after_s: float = 0.5

    @property
    def lead_s(self) -> float:
        """How long before the main contactor the second one is closed."""
        return self.closing_s if self.has_second else 0.0


@dataclass(frozen=True, slots=True)
class Supply:
    kind: str = "settable"  # current knob, voltage knob, fixed voltage, drooping, settable
    rated_a: float = 30.0
    minimum_a: float = 9.0
    start_lag_s: float = 1.0
    inrush_s: float = 0.2
    comes_back_by_itself: bool = False

    @property
    def settable(self) -> bool:
        return self.kind == "settable"


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds, unless the name says otherwise."""

    proving_s: float = 15.0
    proven_for_s: float = 5.0
    warning_s: float = 15.0
    ramp_s: float = 10.0
    first_power_s: float = 10.0  # at the minimum current, in the first run of a rig file
    stop_ramp_s: float = 5.0
    cooled_c: float = 45.0
    cooling_at_most_s: float = 3600.0
    hot_c: float = 90.0  # water onto a cell this hot bursts the hose
    ventilate_s: float = 300.0
    off_at_least_s: float = 300.0
    starts_per_hour: int = 4
    horn_at_most_s: float = 300.0
    presence_s: float = 600.0
    attended_at_most_s: float = 1800.0
    lease_s: float = 900.0
    card_s: float = 86400.0
    enable_at_most_s: float = 43200.0
    bypass_s: float = 1800.0


@dataclass(frozen=True, slots=True)
class Roles:
    """Positions in Rig.signals of the quantities that the sequence itself asks about; -1 where not fitted."""

    current: int = -1
    cell_temperature: int = -1
    voltage: int = -1
    ventilation: int = -1
    room_hydrogen: int = -1
    level: int = -1  # in mm


@dataclass(frozen=True, slots=True)
class TopUp:
    """How a rig adds water by itself."""

    level: int  # position of the signal that shows it, mm
    from_mm: float  # a dose begins at or under this
    to_mm: float  # and ends here at the latest
    shows_mm: float  # a dose raises the level by at least so much
    dose_g: float
    g_per_s: float
    pause_h: float  # of running, from one dose to the next
    most_g: float  # in 24 hours of running
    clear: tuple[int, ...]  # positions of the limits that must be clear


@dataclass(frozen=True, slots=True)
class Rig:
    name: str
    rig_hash: str
    scan_s: float
    signals: tuple[Signal, ...]
    limits: tuple[Limit, ...]
    roles: Roles
    power: PowerPath = PowerPath()
    supply: Supply = Supply()
    timing: Timing = Timing()
    grade: Grade = Grade.ATTENDED
    missing: tuple[str, ...] = ()  # what an unattended rig would need besides; empty when it may be left
    simulated: bool = False
    outputs: tuple[str, ...] = ("main_hold", "main_close", "second", "coolant")  # wired ones, besides the edge
    permitted: frozenset[tuple[Verb, Source]] = frozenset()  # what the rig file adds: remote reset, remote start ...
    vent_charge_c: float = 0.0  # coulombs until the headspace has been flushed by product gas
    zero_current_a: float = 0.5
    lowest_start_c: float = 5.0
    highest_start_c: float = 50.0
    switch_nothing_above: float = math.inf  # room hydrogen, in its signal's unit: nothing that sparks is switched
    cells: int = 1
    usable_water_g: float = 0.0  # between full and the low floats; 0: no account is kept
    lye_g: float = 0.0  # as filled, and the hydroxide in it; 0: not given
    hydroxide_g: float = 0.0
    top_up: TopUp | None = None
    warm_charge_c: float = 0.0  # after so much a cell that began cold must have warmed; 0: not asked
    # worked out, not given:
    quick: tuple[tuple[int, int, float, float], ...] = field(init=False)  # order, member, clear between
    proving: tuple[int, ...] = field(init=False)  # positions of limits that need what the start itself switches on
    derates: tuple[Limit, ...] = field(init=False)
    stops: tuple[int, ...] = field(init=False)  # positions of limits that end in an orderly stop
    votes: tuple[int, ...] = field(init=False)  # positions of limits that trip or stop by the vote of several signals
    protective: tuple[int, ...] = field(init=False)  # positions of signals that a trip hangs on
    hasty: dict[int, Limit] = field(init=False, hash=False)  # the flow's limits while the temperature is not good
    suck_back: int = field(init=False)  # position of the under-pressure alarm, -1 without one
    pure_from_a: float = field(init=False)  # the minimum current, as far as its sensor can tell

    def __post_init__(self) -> None:
        put = object.__setattr__
        quick = ((order, m, *clear_between(limit)) for order, limit in enumerate(self.limits) for m in limit.members)
        put(self, "quick", tuple(quick))
        proving = (at for at, x in enumerate(self.limits) if x.proving and x.effect is Effect.TRIP)
        put(self, "proving", tuple(proving))
        put(self, "derates", tuple(limit for limit in self.limits if limit.effect is Effect.DERATE))
        put(self, "stops", tuple(at for at, limit in enumerate(self.limits) if limit.effect is Effect.STOP))
        votes = (at for at, x in enumerate(self.limits) if len(x.members) > 1 and x.effect >= Effect.STOP)
        put(self, "votes", tuple(votes))
        trips = {m for limit in self.limits if limit.effect is Effect.TRIP for m in limit.members}
        put(self, "protective", tuple(sorted(trips)))
        flow = {at: x for at, x in enumerate(self.limits) if x.name == "coolant flow low" and x.delay_s > HASTY_S}
        put(self, "hasty", {at: replace(limit, delay_s=HASTY_S) for at, limit in flow.items()})
        put(self, "suck_back", next((at for at, x in enumerate(self.limits) if x.name == "under-pressure"), -1))
        error_a = self.signals[self.roles.current].error if self.roles.current >= 0 else 0.0
        put(self, "pure_from_a", self.supply.minimum_a - error_a)

    @property
    def most_a(self) -> float:
        """The largest current that the grade allows."""
        return self.supply.rated_a * (1.0 if self.grade is Grade.UNATTENDED else ATTENDED_SHARE)

    def flows(self, current: Value) -> bool | None:
        """Whether a value of the current says that some flows; None when it says nothing. One refused for its size
        still says that it does."""
        current_a = current.number if current.number is not None else current.rejected
        return None if current_a is None else abs(current_a) >= self.zero_current_a

    def position(self, signal: str) -> int:
        """Where a signal stands. Raises KeyError with the known names."""
        for at, known in enumerate(self.signals):
            if known.name == signal:
                return at
        raise KeyError(f"no signal {signal!r}; known: {', '.join(s.name for s in self.signals)}")


__all__ = ["Arming", "Grade", "PowerPath", "Rig", "Roles", "Supply", "Timing", "TopUp"]
