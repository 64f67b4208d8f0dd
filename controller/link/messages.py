"""Every message the link publishes or takes, as pydantic models: the one definition that the interface document, the
page and the tests are made from.

Topics stand under `lyewatch/v1/<rig>/`. Times are Unix seconds; `clock_synchronised` says whether to believe them.
Every message has a number that grows by one within a `boot`, so that gaps and repeats show.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

ROOT = "lyewatch/v1"


class Message(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, ser_json_inf_nan="null")


class Stamped(Message):
    rig: str
    boot: str = Field(description="one start of the guard; numbers begin anew with it")
    number: int = Field(description="grows by one; a gap is a loss, a repeat a repeat")
    time_s: float = Field(description="when it was so, Unix time")
    clock_synchronised: bool = Field(description="false: the time may be wrong by weeks")


class Presence(Message):
    """`presence`, retained; also the last will."""

    rig: str
    present: Literal["here", "gone", "ended"] = Field(description="gone: died; ended: stopped in order")
    time_s: float | None = None


class NotifyPresence(Message):
    """`lyewatch/notify/<client>`, retained; also the last will. Under no rig: one notify watches all of a broker.

    "here" is said again each 20 s: a broker may keep the word of one that is long dead.
    """

    present: Literal["here", "gone", "ended"]
    time_s: float | None = Field(default=None, description="when it was said, Unix time; null in the last will")


class SignalWhat(Message):
    """What a signal is, whatever it reads."""

    name: str
    title: str
    unit: str


class SignalIs(Message):
    value: float | None = Field(description="null when it is not to be believed")
    status: Literal["good", "maintenance required", "out of specification", "function check", "failure"]
    plain: str = Field(description="the status in plain words, such as 'sensor lost: no answer for 3 s'")
    age_s: float = Field(description="since the start of its last good sample")


class SignalNow(SignalIs, SignalWhat):
    pass


class MarginWhat(Message):
    """A limit as the rig file has it."""

    limit: str
    title: str
    signal: str
    unit: str
    threshold: float
    rises: bool = Field(description="true: bad at or above the threshold")
    effect: Literal["alarm", "derate", "stop", "trip"]


class MarginIs(Message):
    """The way left to one limit. Left out in `state`: a number that is null, a flag that is false."""

    value: float | None = None
    armed: bool = False
    left: float | None = Field(default=None, description="way left in `unit`; null when not seen")
    left_fraction: float | None = Field(
        default=None, description="1 as far as in normal running, 0 at the limit; null when not seen"
    )
    seconds_to_limit: float | None = Field(
        default=None, description="at the present trend; null when it is not coming nearer"
    )
    standing: bool = Field(default=False, description="at or beyond the limit, not yet cleared")
    bypassed: bool = False


class MarginNow(MarginIs, MarginWhat):
    pass


class CauseNow(Message):
    name: str
    title: str
    sentence: str
    kind: Literal["resettable", "local", "lock-out"]
    time_s: float
    urgency: Literal["now", "morning"]
    to_do: str
    not_to_do: str


class AlarmNow(Message):
    """An alarm that stands, or has gone unseen. Acknowledging and shelving live with the historian."""

    name: str
    title: str
    sentence: str
    priority: Literal["high", "medium", "low"]
    since_s: float
    standing: bool
    acknowledged: bool = False
    shelved_until_s: float | None = None
    to_do: str = ""


class PermissiveWhat(Message):
    name: str
    title: str


class PermissiveIs(Message):
    met: bool | None = Field(description="null: not known, which counts as no")
    why: str


class PermissiveNow(PermissiveIs, PermissiveWhat):
    pass


class RunNow(Message):
    began_s: float | None
    asked_by: str
    wanted_a: float
    setpoint_a: float
    charge_ah: float
    hydrogen_l: float = Field(description="dry, 25 C, 1 atm, before leaks")
    energy_kwh: float | None
    efficiency_hhv: float | None
    water_used_ml: float
    hours_to_top_up: float | None
    ends: str = Field(description="in words: 'after 10 L: 4.1 L to go'")


class GasNow(Message):
    fit: bool
    fit_since_s: float | None
    fit_in_s: float | None
    sentence: str


class LeaveNow(Message):
    grade: Literal["attended", "unattended"]
    may_leave: bool
    missing: list[str]


class ProvenNow(Message):
    """What is proven, not what was asked for. Null: not known."""

    main_open: bool | None
    second_open: bool | None
    current_zero: bool | None
    safe_to_open: bool | None
    safe_to_open_why: str


class StateCommon(Stamped):
    """What a state says by itself, whether or not the rig's description is at hand."""

    simulated: bool
    cells: int = Field(default=0, description="in series; 0: not known. With it, litres become a charge")
    state: str = Field(description="off, checking, ramping, venting, running, stopping, cooling, tripped, ...")
    since_s: float
    sentence: str
    nearest: str | None = Field(description="the limit that is nearest, by name")
    causes: list[CauseNow] = Field(description="of a standing trip, first-out first")
    run: RunNow
    gas: GasNow
    leave: LeaveNow
    proven: ProvenNow
    outputs: dict[str, bool]
    enabled_until_s: float | None = Field(description="the local enable for plan and remote")
    held_by: str
    hold_reason: str
    remote_may: list[str] = Field(description="verbs that the rig file grants to remote")
    challenge: str
    alarms: list[AlarmNow] = Field(default=[], description="highest priority first, then the oldest")
    events: int = Field(description="number of the guard's newest event")
    dropped_frames: int
    late_scans: int
    waiting: int = Field(default=0, description="stored things that the broker has not taken yet")
    troubles: list[str] = Field(default=[], description="of the link itself, in words: record, broker, commands")


class StateTold(StateCommon):
    """`state`, retained: all that a person needs at a glance. On change and each second."""

    described: str = Field(description="`id` of the `description` that these names are explained in")
    signals: dict[str, SignalIs] = Field(description="by name")
    margins: dict[str, MarginIs] = Field(description="by the limit's name")
    permissives: dict[str, PermissiveIs] = Field(description="by name")


class StateNow(StateCommon):
    """State and description put together again (link.described): what page and notify work with."""

    signals: list[SignalNow]
    margins: list[MarginNow]
    permissives: list[PermissiveNow]


class RigDescribed(Stamped):
    """`description`, retained: what does not change while a rig file stands. It holds nothing that was measured."""

    id: str = Field(description="first 16 digits of the SHA-256 of the three lists, as link.described writes them")
    signals: list[SignalWhat]
    margins: list[MarginWhat]
    permissives: list[PermissiveWhat]


class EventNow(Stamped):
    """`events`: `number` is the guard's own, so a gap is a loss."""

    what: str
    subject: str
    detail: str
    source: str
    sentence: str
    seen: float | None = None
    limit: float | None = None
    record: int = Field(default=0, description="number in the record, in whose order events come; 0: not stored yet")


class PastLine(Message):
    """One signal of a stretch: one entry a span, the first at `begin_s`."""

    signal: str
    unit: str
    begin_s: float = Field(description="Unix time")
    span_s: float
    at: list[int] = Field(description="which span, counted from 0; one that is missing was not seen")
    least: list[float]
    mean: list[float]
    most: list[float]


class PastMeasurements(Stamped):
    """`past`: what was measured while no broker took it, as the record has it. `number` is the record's."""

    lines: list[PastLine]


class LogNow(Stamped):
    """`logbook`: a line as it was stored. `number` is the record's."""

    kind: str
    who: str
    amount: float | None
    unit: str
    side: str
    text: str


class LinkNow(Stamped):
    """`link`, retained: how the link and its record are. On change and every ten seconds."""

    troubles: list[str] = Field(description="in words; empty while all is well")
    durable: bool = Field(description="false: the record is in memory only and ends with the link")
    commands_heard: bool = Field(description="a message to itself on the command topic came back lately")
    waiting: int = Field(description="stored things that the broker has not taken yet")
    waiting_blocks: int = Field(description="two minutes of trend each, not on the card yet")
    waiting_events: int = Field(description="not on the card yet")
    lost_blocks: int
    lost_events: int = Field(description="given up for want of memory, by guard or link")
    refused: dict[str, int] = Field(description="commands, questions and lines refused, by reason")
    bad_frames: int
    record_bytes: int
    card_bytes_a_day: float | None = Field(description="written to the whole card, by all programs; null: not known")
    card: str
    counters: dict[str, float] = Field(description="of the rig's whole life; names and units in record.counters")
    memory_bytes: int = Field(description="resident, of the link")


class CommandAsk(Message):
    """`command`: what a client asks."""

    verb: str
    client: str = Field(description="who answers go to: `reply/<client>`")
    id: str
    number: float | None = None
    subject: str = Field(default="", description="the alarm to acknowledge or shelve")
    text: str = ""
    litres: float | None = None
    hours: float | None = None
    challenge: str = ""
    key: str = Field(default="", description="id of the enrolled key")
    signed: str = Field(
        default="",
        description="for what can energise: the text of the guard's own `do` message (guard.protocol), "
        "with the `challenge` inside; it is passed on as it stands",
    )
    signature: str = Field(default="", description="Ed25519 over the UTF-8 bytes of `signed`, hex")


class CommandReply(Stamped):
    """`reply/<client>`."""

    id: str
    accepted: bool
    why: str


class HistoryAsk(Message):
    """`history/request`, with response topic and correlation data."""

    what: Literal["trend", "events", "logbook", "incidents", "incident"]
    signals: list[str] = []
    from_s: float | None = None
    to_s: float | None = None
    points: int = Field(default=500, ge=2, le=2000)
    name: str = ""
    after: int = 0


class TrendLine(Message):
    signal: str
    unit: str
    time_s: list[float]
    value: list[float | None] = Field(description="null where there is a gap")


class HistoryReply(Stamped):
    part: int
    parts: int
    trends: list[TrendLine] = []
    rows: list[dict[str, object]] = []
    complete: bool = Field(default=True, description="false: more was found than is told, or it could not be answered")
    why: str = Field(default="", description="in words, where it is not complete")


LogKind = Literal[
    "topped up", "density read", "lye changed", "gasket", "separator", "additive", "gas collected", "cleaned", "note"
]


class LogEntry(Message):
    """`logbook/add`: what a person did at the rig."""

    kind: LogKind
    who: str = ""
    number: float | None = None
    unit: str = ""
    side: str = ""
    text: str = ""
    time_s: float | None = None


def topic(rig: str, *parts: str) -> str:
    """The topic of a rig's message. Raises ValueError for a rig name that would not be one level of a topic."""
    if not rig or any(c in rig for c in "/+#\0"):
        raise ValueError(f"rig name {rig!r} cannot be part of a topic: use letters, digits, '-' and '_'")
    return "/".join((ROOT, rig, *parts))
