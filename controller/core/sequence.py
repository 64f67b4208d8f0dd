"""The states of a rig and the one table of what leads from one to another.

A trip is answered from every state. There is no way into power but through `checking`, where every means of breaking
power is proven, and no way out of `tripped` or `locked out` but a reset.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum


class State(IntEnum):
    OFF = 0
    CHECKING = 1
    RAMPING = 2
    VENTING = 3  # power on, gas to the vent until the first of it has flushed the headspace
    RUNNING = 4
    STOPPING = 5
    COOLING = 6
    TRIPPED = 7
    LOCKED_OUT = 8
    SERVICE = 9
    OUT_OF_SERVICE = 10


class On(IntEnum):
    """What moves the sequence. In one scan the lowest number wins: the safe one."""

    LOCK_OUT = 0
    TRIP = 1
    FAILED = 2  # a permissive was lost, or the time to prove it is over
    STOP = 3
    OPENED = 4  # contactors open and current zero proven
    RELEASED = 5  # the self-test that leaves lock-out has passed
    DONE = 6  # the state's own work is finished
    HOLD = 7
    SERVICE = 8
    START = 9
    RESET = 10
    RELEASE = 11
    LIFT = 12
    LEAVE_SERVICE = 13


_FAULT = {On.TRIP: State.TRIPPED, On.LOCK_OUT: State.LOCKED_OUT}

NEXT: Mapping[State, Mapping[On, State]] = {
    State.OFF: {
        On.START: State.CHECKING,
        On.HOLD: State.OUT_OF_SERVICE,
        On.SERVICE: State.SERVICE,
        **_FAULT,
    },
    State.CHECKING: {
        On.FAILED: State.COOLING,
        On.STOP: State.COOLING,
        On.DONE: State.RAMPING,
        On.RELEASED: State.COOLING,
        **_FAULT,
    },
    State.RAMPING: {On.STOP: State.STOPPING, On.DONE: State.VENTING, **_FAULT},
    State.VENTING: {On.STOP: State.STOPPING, On.DONE: State.RUNNING, **_FAULT},
    State.RUNNING: {On.STOP: State.STOPPING, On.DONE: State.STOPPING, **_FAULT},
    State.STOPPING: {On.OPENED: State.COOLING, **_FAULT},
    State.COOLING: {On.DONE: State.OFF, On.START: State.CHECKING, On.HOLD: State.OUT_OF_SERVICE, **_FAULT},
    State.TRIPPED: {On.RESET: State.COOLING, **_FAULT},
    State.LOCKED_OUT: {On.RELEASE: State.CHECKING, On.TRIP: State.LOCKED_OUT, On.LOCK_OUT: State.LOCKED_OUT},
    State.SERVICE: {On.LEAVE_SERVICE: State.OFF, **_FAULT},
    State.OUT_OF_SERVICE: {On.LIFT: State.OFF, **_FAULT},
}

POWERED_STATES = frozenset({State.RAMPING, State.VENTING, State.RUNNING, State.STOPPING})
GOING_ON = POWERED_STATES - {State.STOPPING}  # and nobody is taking the power off


class Check(IntEnum):
    """The steps of `checking`, in order: permissives in time, then each means of breaking power."""

    PROVE = 0  # coolant and air proven for long enough, all signals good
    RELAY_PICKS_UP = 1  # with edges the watchdog relay closes
    SECOND_ALONE = 2  # second closed, main open: no current
    SECOND_OPENS = 3
    MAIN_ALONE = 4  # main sealed in, second open: no current
    RELAY_DROPS = 5  # edges withheld: relay and main open in time
    STAYS_OPEN = 6  # edges again, hold still on: the main stays open, because it seals in
    READY = 7  # `powered` is on disk


def after(state: State, on: On) -> State:
    """The state that follows. Raises ValueError for what the table does not know, and changes nothing."""
    try:
        return NEXT[state][on]
    except KeyError:
        raise ValueError(f"{on.name} is not answered in {state.name}") from None
