"""Which output does what in which state and after which cause: one table, walked by tests and printed as a sheet.

On a trip the main contactor opens at once, the second means half a second later. Everything not named here is off.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

from controller.core.sequence import State


class Outputs(NamedTuple):
    """What the guard drives after this scan. The absent and the zero value are the safe ones, but for air and vent."""

    main_hold: bool = False
    main_close: bool = False  # the pulse that seals the main contactor in
    second: bool = False
    edge: bool = False  # one edge to the watchdog relay in this scan
    coolant: bool = False
    ventilation: bool = False
    collect: bool = False  # off: gas goes to the vent
    top_up: bool = False
    horn: bool = False
    lamp: bool = False
    setpoint_a: float = 0.0


OFF = Outputs()
PROBE = 4.0  # times the current that counts as none: plain to see, and harmless


def probe_a(zero_current_a: float) -> float:
    """The least current that is asked for where it is to be seen whether any flows."""
    return PROBE * zero_current_a


# The outputs that are levels on pins, in the order in which they are read back; an edge has no level.
PINS = ("main_hold", "main_close", "second", "coolant", "ventilation", "collect", "top_up", "horn", "lamp")
POWER_PINS = ("main_hold", "main_close", "second")


class Air(IntEnum):
    """Ventilation, coolant or lamp in a state."""

    OFF = 0
    ON = 1
    UNTIL_VENTED = 2
    AS_COOLING = 3
    UNTIL_COLD = 4


class Horn(IntEnum):
    OFF = 0
    WARNING = 1  # before a start that was not pressed at the rig
    UNTIL_SILENCED = 2


class Row(NamedTuple):
    """Outputs of one state; those of the power path are worked out by the sequence within what the row allows."""

    power: bool  # whether hold, close and second may be on at all
    edges: bool
    coolant: Air
    ventilation: Air
    may_collect: bool
    may_top_up: bool
    horn: Horn
    lamp: Air


TABLE: dict[State, Row] = {
    State.OFF: Row(False, False, Air.OFF, Air.UNTIL_VENTED, False, False, Horn.OFF, Air.UNTIL_VENTED),
    State.CHECKING: Row(True, True, Air.ON, Air.ON, False, False, Horn.WARNING, Air.OFF),
    State.RAMPING: Row(True, True, Air.ON, Air.ON, False, False, Horn.OFF, Air.ON),
    State.VENTING: Row(True, True, Air.ON, Air.ON, False, False, Horn.OFF, Air.ON),
    State.RUNNING: Row(True, True, Air.ON, Air.ON, True, True, Horn.OFF, Air.ON),
    State.STOPPING: Row(True, True, Air.ON, Air.ON, False, False, Horn.OFF, Air.ON),
    State.COOLING: Row(False, False, Air.UNTIL_COLD, Air.ON, False, False, Horn.OFF, Air.UNTIL_VENTED),
    State.TRIPPED: Row(False, False, Air.AS_COOLING, Air.ON, False, False, Horn.UNTIL_SILENCED, Air.UNTIL_VENTED),
    State.LOCKED_OUT: Row(False, False, Air.AS_COOLING, Air.ON, False, False, Horn.UNTIL_SILENCED, Air.UNTIL_VENTED),
    State.SERVICE: Row(False, False, Air.OFF, Air.ON, False, False, Horn.OFF, Air.ON),
    State.OUT_OF_SERVICE: Row(False, False, Air.OFF, Air.UNTIL_VENTED, False, False, Horn.OFF, Air.UNTIL_VENTED),
}

# Causes after which coolant is shut instead of left on: it would feed the flood, or thin the lye.
SHUT_COOLANT_AFTER = frozenset({"leak", "coolant flow high", "level rising", "level high"})
