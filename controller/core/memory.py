"""What goes into a scan and what the core remembers from one to the next: plain nested tuples, so that a memory can
be written down, read back and compared byte for byte."""

from __future__ import annotations

from typing import NamedTuple

from controller.core.limits import RESTING, LimitState
from controller.core.outputs import OFF, Outputs
from controller.core.rig import Rig
from controller.core.sequence import Check, State
from controller.core.signals import Reading, Value, unseen
from controller.core.trips import Latch
from controller.core.voting import VoteState

NOT_SEEN = -1e6  # no such temperature, no such level


class Inputs(NamedTuple):
    """Everything read in one scan. None means not wired, or not known."""

    readings: tuple[Reading, ...]  # in the order of Rig.signals
    pins: tuple[bool | None, ...]  # read back, in the order of outputs.PINS; None where no pin is wired
    main_closed: bool | None = None  # auxiliary contacts
    second_closed: bool | None = None
    relay_closed: bool | None = None
    latch_on_disk: int = 0  # number of the newest latch that is safely written
    controller_well: bool = True  # disk writable, no under-voltage, kernel releases pins
    clock_synchronised: bool = True


class Run(NamedTuple):
    """The run that is going on, or the last one."""

    asked_by: int = -1  # Source
    began_s: float = -1.0  # measured closing
    charge_c: float = 0.0
    wanted_a: float = 0.0
    asked_a: float = 0.0  # the set-point that went out
    end_charge_c: float = 0.0  # 0: no such end
    end_s: float = 0.0  # seconds of running, 0: no such end
    lease_until_s: float = 0.0
    vented_c: float = 0.0  # charge of product gas made since the gas last had a chance to mix
    gas_fit_since_s: float = -1.0  # -1: not fit
    disobeys_since_s: float = -1.0  # current above what was asked since
    cut_since_s: float = -1.0  # no current since, in the middle of the run
    warmed: bool = False  # whether the lye warms has been judged in this run
    water_g: float = 0.0  # used and not yet in the latch
    start_c: float = NOT_SEEN  # lye temperature when the first current flowed
    level_low_mm: float = NOT_SEEN  # lowest since power came on or water was added
    rises_since_s: float = -1.0  # level too high for its lowest, since; in the future: somebody pours until then
    forward_s: float = -1.0  # when current last flowed the right way
    ramp_from_s: float = -1.0  # when the ramp began; -1 while the first power of a rig file is being looked at
    volts_low_since_s: float = -1.0  # too few volts for the current since
    over_s: float = 0.0  # of the timer of a supply that a hand must turn down
    turn_down: bool = False  # and whether that has been said
    dose_number: int = -1  # of the latch in which the present top-up is booked; -1: none
    dose_from_mm: float = 0.0  # level before it
    dose_began_s: float = -1.0  # the valve opened
    dose_ended_s: float = -1.0  # and shut
    ending: str = ""  # why it stops, in words


class Person(NamedTuple):
    """What people have said, and until when it holds."""

    present_s: float = -1e9  # last press at the bench
    enabled_until_s: float = -1.0  # local enable for plan and remote
    card_s: float = -1e9  # the card before a start was answered
    stopped: bool = False  # a person's stop holds plan and remote off
    bypass: int = -1  # position of the bypassed limit
    bypass_until_s: float = -1.0
    bypass_again_s: float = -1.0  # not renewable before
    silenced: bool = False
    failed_starts: int = 0  # in a row, since one came to power or a person asked for one
    driven: str = ""  # the one output on in service


class Sequence(NamedTuple):
    state: State
    since_s: float
    check: Check = Check.PROVE
    check_since_s: float = 0.0
    to_release: bool = False  # this self-test is to leave lock-out, not to start
    powered: bool = False  # from the close command until current zero is proven
    closed_s: float = -1.0  # measured closing of the main contactor; -1: not closed
    opened_s: float = 0.0  # when the main contactor was last told to open
    zero_since_s: float = -1.0  # current zero and contacts open since
    proven_since_s: float = -1.0  # flow and air proven, without a gap, since
    proven_last_s: float = -1.0
    disagree_since_s: float = -1.0  # a contact reads open that should be closed, since
    coolant_shut: bool = False  # stays shut until a reset
    stop_now: bool = False  # open at once, without a ramp
    vented_until_s: float = -1.0  # gas may be present until, with ventilation proven
    second_opened_s: float = 0.0
    flowed_s: float = 0.0  # of a step of the self-test: how long current has flowed that must not


class Late(NamedTuple):
    """Scans that came late by more than a period."""

    in_a_row: int = 0  # as many as raise the alarm, at most
    at_s: tuple[float, ...] = ()  # within the last minute, no more of them than raise the alarm
    standing: bool = False


class Memory(NamedTuple):
    now_s: float
    scan: int
    values: tuple[Value, ...]
    limits: tuple[LimitState, ...]
    sequence: Sequence
    latch: Latch
    run: Run
    person: Person
    outputs: Outputs
    events: int  # number of the newest event
    starts_s: tuple[float, ...] = ()  # times of the last starts, for the rate limit
    cap: float = 1.0  # derate, share of the rated current
    began_s: float = 0.0  # first scan of this guard
    contacts: tuple[bool | None, bool | None, bool | None] = (None, None, None)  # main, second, relay: closed?
    latch_on_disk: int = 0
    controller_well: bool = False
    pins_obey: bool = True
    votes: tuple[VoteState, ...] = ()  # in the order of Rig.votes
    late: Late = Late()


def gas_may_be_present(memory: Memory) -> bool:
    """Not only while it is made: until the vent time has passed. Unknown counts as yes."""
    return memory.sequence.powered or memory.now_s < memory.sequence.vented_until_s


def first(rig: Rig, latch: Latch, now_s: float) -> Memory:
    """The memory before the first scan. `latch` is what the disk says; see `recover`."""
    tripped = State.LOCKED_OUT if latch.locked_out else State.TRIPPED if latch.tripped else State.OFF
    state = tripped if tripped is not State.OFF or not latch.held_by else State.OUT_OF_SERVICE
    return Memory(
        now_s=now_s,
        scan=0,
        values=tuple(unseen(now_s) for _ in rig.signals),
        limits=(RESTING,) * len(rig.limits),
        sequence=Sequence(
            state, now_s, opened_s=now_s, second_opened_s=now_s, vented_until_s=now_s + rig.timing.ventilate_s
        ),
        latch=latch,
        run=Run(),
        person=Person(),
        outputs=OFF,
        events=0,
        began_s=now_s,
        votes=(VoteState(),) * len(rig.votes),
    )
