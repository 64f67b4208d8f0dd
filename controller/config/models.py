"""The rig file as it is written: every key with its unit, its bounds and one line saying what it is.

Only shape and bounds are judged here. What contradicts what is judged in `contradictions`, what is missing in `grades`.
A number of a limit has its plain name here (`above`); `units` says how it is written (`above_C`).
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from controller.config.basics import (
    Level,
    Name,
    NotNegative,
    Number,
    Pin,
    Positive,
    Pull,
    Table,
    Text,
)
from controller.config.measured import Ads1115, Fitted, NoSensor, NotFitted, Signal


class Contact(Table):
    """A contact on a pin that says what a device really does."""

    pin: Pin
    pull: Pull = Field(default="up", description="pull of the pin: up, down or none (one is wired outside)")
    proven_when: Level = Field(default="low", description="level of the pin while the contact is closed")


# ---- the cell and what surrounds it


class Cell(Table):
    """The electrolyser itself."""

    electrolyte: Literal["KOH", "NaOH"] = Field(description="KOH or NaOH")
    mass_percent: float = Field(ge=1.0, le=45.0, description="hydroxide in the lye, percent by mass")
    lye_g_mL: float = Field(ge=1.0, le=1.6, description="density of the lye, g/mL: what a hydrometer reads")
    cells_in_series: int = Field(ge=1, le=100, description="number of cells in series")
    electrode_area_cm2: float = Field(gt=0.0, le=1e5, description="area of one side of one electrode, cm2")
    seal_depth_mm: float = Field(
        gt=0.0, le=1e4, description="height of lye over the lowest opening between the gas sides, normal level"
    )
    lye_L: Positive | None = Field(default=None, description="lye in the whole rig, L: its strength and warming follow")
    bubble_point_mbar: Positive | None = Field(
        default=None, description="pressure difference at which gas goes through the wet separator, mbar"
    )
    wetted: Literal["polypropylene", "glued PVC or acrylic"] = Field(
        default="polypropylene", description="what hot lye touches; glued joints soften at lower temperatures"
    )
    weakest_part_C: float = Field(ge=30.0, le=150.0, description="temperature that the weakest part still stands, C")
    lowest_start_C: float = Field(default=5.0, ge=-20.0, le=40.0, description="no start under this lye temperature, C")
    crossover_percent: float = Field(
        default=0.3, gt=0.0, lt=50.0, description="hydrogen in the oxygen, percent by volume, at crossover_at_A"
    )
    crossover_at_A: Positive | None = Field(
        default=None, description="current at which crossover_percent holds; else rated_A"
    )


class Supply(Table):
    """Where the current comes from."""

    kind: Literal["current knob", "voltage knob", "fixed voltage", "drooping", "settable"] = Field(
        description="current knob, voltage knob, fixed voltage, drooping or settable"
    )
    rated_A: float = Field(gt=0.0, le=1e4, description="largest current the rig is meant to run at, A")
    open_circuit_V: float = Field(gt=0.0, le=1000.0, description="volts of the supply with nothing connected")
    minimum_current_A: Positive | None = Field(
        default=None, description="least current at which gas may be collected, A"
    )
    start_lag_s: float = Field(default=1.0, ge=0.0, le=30.0, description="from mains on to current, s")
    inrush_s: float = Field(
        default=0.2, ge=0.0, le=0.5, description="over-current is not looked at for so long after closing"
    )
    inrush_A: Positive | None = Field(default=None, description="largest current in that time, A")
    comes_back_by_itself: bool = Field(default=False, description="true if the output returns after a thermal cut-out")
    fuse_A: Positive | None = Field(default=None, description="fuse in the power path, A")
    cable_A: Positive | None = Field(default=None, description="what the power cable stands, A")


class Breaker(Table):
    """One means of breaking power."""

    switched_at: Literal["dc", "mains", "enable"] = Field(description="dc, mains or enable: where it sits")
    element: Literal["contactor", "relay", "solid state", "enable input"] = "contactor"
    pin: Pin
    active: Level = Field(default="high", description="level of the pin that energises the coil; high")
    opening_s: float = Field(default=0.1, gt=0.0, le=2.0, description="longest time to open, s")
    closing_s: float = Field(default=0.1, gt=0.0, le=2.0, description="longest time to close, s")
    contact: Contact | None = Field(default=None, description="auxiliary contact, closed while the device is closed")
    behind_watchdog: bool = Field(default=True, description="true: its coil is fed through the watchdog relay")


class Main(Breaker):
    """The main contactor."""

    close_pin: Pin | None = Field(default=None, description="pin of the close pulse, where the contactor seals in")
    close_pulse_s: float = Field(default=0.5, gt=0.0, le=0.5, description="length of the close pulse, at most 0.5 s")


class Watchdog(Table):
    """The relay that falls without edges."""

    pin: Pin
    drops_after_s: float = Field(ge=0.2, le=5.0, description="time from the last edge until the relay falls, s")
    tolerance_percent: float = Field(default=30.0, ge=0.0, le=50.0, description="of drops_after_s, percent")
    contact: Contact | None = None


class Power(Table):
    """How power is made and broken."""

    main: Main
    second: Breaker | None = Field(default=None, description="a second, independent means of breaking power")
    watchdog: Watchdog
    second_after_s: float = Field(
        default=0.5, ge=0.0, le=2.0, description="the second means opens so long after the main"
    )
    stop_button: Literal["in the coil circuit", "none"] = Field(
        default="none", description='"in the coil circuit" when a stop button breaks the coils by itself'
    )
    thermostat_C: float | None = Field(
        default=None, ge=30.0, le=150.0, description="temperature at which a thermostat breaks the coils by itself, C"
    )


class Cooling(Table):
    kind: Literal["water", "fan", "none"] = Field(description="water, fan or none")
    normal_L_min: Positive | None = Field(default=None, description="coolant flow in good running, L/min")


class Gas(Table):
    """What the gas fills and where it goes."""

    goes_to: Literal["vent outdoors", "by hand", "vent or collect valve"] = "vent outdoors"
    headspace_L: float = Field(gt=0.0, le=1e4, description="gas space of the hydrogen side, lye at its normal level, L")
    line_L: NotNegative = Field(default=0.0, description="line and bubbler behind it, L")
    volumes: float = Field(
        default=5.0, ge=4.0, le=20.0, description="volumes of product gas until it is fit to collect"
    )
    water_seal_mm: Positive | None = Field(
        default=None, description="depth of the water seal at the end of each side, mm"
    )
    relief_mbar: Positive | None = Field(default=None, description="pressure at which a relief opens by itself, mbar")
    weakest_part_mbar: Positive | None = Field(default=None, description="pressure that the weakest part stands, mbar")


class Water(Table):
    """The water account."""

    usable_L: float = Field(gt=0.0, le=1e4, description="water between full and low level, L")


class TopUp(Table):
    """Water that the rig adds by itself through outputs.top_up, a dose at a time, by the signal level_mm."""

    dose_mL: float = Field(gt=0.0, le=5000.0, description="one dose, mL")
    flow_mL_min: float = Field(gt=0.0, le=10000.0, description="what pump or valve gives, mL/min: measure with a jug")
    from_mm: Number = Field(description="a dose begins with level_mm at or under this")
    to_mm: Number = Field(description="and ends here at the latest")
    shows_mm: Positive = Field(description="a whole dose raises level_mm by at least so much, or it did not arrive")
    pause_h: float = Field(default=0.5, ge=0.1, le=240.0, description="of running, from one dose to the next, h")
    most_in_24_h_mL: Positive = Field(description="in 24 hours of running, mL")


class Ventilation(Table):
    natural_m3_h: float = Field(gt=0.0, le=1e6, description="air that passes without any fan, m3/h")
    how_known: Text = Field(description="how that was measured or worked out")


class Notice(Table):
    dead_man: Text = Field(description="what, outside this machine, tells somebody when it falls silent")


class ProofTests(Table):
    last: date = Field(description="day on which all of them were last passed, as 2026-05-01")
    every_days: int = Field(default=365, ge=1, le=730, description="days after which they are due again")


# ---- what is watched and driven


class Limit(Table):
    """A limit. One of the standard ones may leave out all that the table of defaults gives."""

    above: Number | None = Field(default=None, description="threshold: at it or above it the limit takes effect")
    below: Number | None = Field(default=None, description="threshold: at it or below it the limit takes effect")
    signals: list[Name] | None = Field(default=None, min_length=1, max_length=8, description="names of signals")
    needed: int = Field(default=1, ge=1, le=8, description="how many of the signals must agree")
    effect: Literal["alarm", "derate", "stop", "trip"] | None = None
    armed: Literal["always", "powered", "opened", "collecting"] | None = None
    reset: Literal["resettable", "local", "lock-out"] | None = Field(default=None, description="who may reset the trip")
    title: Name | None = None
    derate_to: Number | None = Field(default=None, description="where a derate reaches the minimum current")
    deadband: NotNegative | None = Field(default=None, description="how far the value must come back until it clears")
    differ: NotNegative | None = Field(
        default=None, description="how far the signals of a vote may lie apart, besides their errors"
    )
    delay_s: float | None = Field(default=None, ge=0.0, le=600.0, description="how long it must hold, s")
    grace_s: float | None = Field(
        default=None, gt=0.0, le=6.0, description="how long the signal may go unseen, at most 6 s"
    )
    far_grace_s: float | None = Field(
        default=None, gt=0.0, le=30.0, description="and at most 30 s while it is far away"
    )
    far: Positive | None = Field(default=None, description="how far away is far")
    settle_s: float | None = Field(default=None, ge=0.0, le=600.0, description="armed so long after power came on, s")
    bypass: bool | None = Field(default=None, description="true: may be bypassed at the rig for half an hour")
    because: Text | None = Field(default=None, description="why this number")
    fitted: bool = Field(default=True, description="false: this rig goes without; then because must say why")


class Output(Table):
    """An output besides the power path."""

    pin: Pin
    active: Level = Field(default="high", description="level of the pin that switches it on")
    safe: Literal["on", "off"] = Field(default="off", description="what it must be when the Pi is dead")
    wiring: Text | None = Field(default=None, description="how the wiring gives the safe state with the Pi dead")
    behind_watchdog: bool = Field(default=False, description="true: fed through the watchdog relay")


class SetPoint(Table):
    pin: Pin
    full_scale_A: Positive = Field(description="current that full pulse width asks for, A")
    frequency_Hz: float = Field(default=500.0, ge=10.0, le=8000.0)
    behind_watchdog: bool = False


class Timing(Table):
    proving_s: float = Field(default=15.0, ge=1.0, le=300.0, description="time that flow and air have to show, s")
    proven_for_s: float = Field(default=5.0, ge=0.5, le=60.0, description="and for so long without a gap, s")
    warning_s: float = Field(
        default=15.0, ge=10.0, le=300.0, description="horn before a start not pressed at the rig, s"
    )
    ramp_s: float = Field(default=10.0, ge=0.0, le=120.0, description="from minimum to asked current, s")
    first_power_s: float = Field(
        default=10.0, ge=5.0, le=120.0, description="first run of a rig file: so long at the minimum current, s"
    )
    stop_ramp_s: float = Field(default=5.0, ge=0.0, le=5.0, description="from there to zero, at most 5 s")
    cooled_C: float = Field(default=45.0, ge=20.0, le=60.0, description="cooling goes on until this lye temperature, C")
    cooling_at_most_s: float = Field(default=3600.0, ge=60.0, le=86400.0)
    hot_C: float = Field(default=90.0, ge=50.0, le=120.0, description="no water onto a cell this hot that had none, C")
    ventilate_s: float = Field(default=300.0, ge=60.0, le=86400.0, description="fan after power is off, s")
    off_at_least_s: float = Field(default=300.0, ge=60.0, le=86400.0, description="between two starts, s")
    starts_per_hour: int = Field(default=4, ge=1, le=12)
    horn_at_most_s: float = Field(default=300.0, ge=10.0, le=3600.0)
    presence_s: float = Field(
        default=600.0, ge=60.0, le=600.0, description="attended: a press at the bench so often, s"
    )
    attended_at_most_s: float = Field(default=1800.0, ge=60.0, le=1800.0, description="attended: longest run, s")
    lease_s: float = Field(
        default=900.0, ge=60.0, le=900.0, description="plan and remote renew their start so often, s"
    )
    card_s: float = Field(
        default=86400.0, ge=3600.0, le=172800.0, description="how long the card before a start holds, s"
    )
    enable_at_most_s: float = Field(default=43200.0, ge=600.0, le=43200.0, description="longest local enable, s")
    bypass_s: float = Field(default=1800.0, ge=60.0, le=1800.0)


class Permits(Table):
    """What is asked from elsewhere. All of it is off unless it is named here."""

    remote_start: bool = False
    remote_reset: bool = False
    remote_set_current: bool = False
    plan_start: bool = False


class RigFile(Table):
    """One rig, as its owner describes it."""

    name: str = Field(min_length=1, max_length=40, pattern=r"^[a-z0-9][a-z0-9_-]*$", description="small letters and -")
    title: Name
    invented: bool = False
    drivers: Literal["bench", "pi"] = Field(description="bench (all of it emulated) or pi (all of it real)")
    scan_s: float = Field(default=0.1, ge=0.02, le=1.0, description="time from one scan to the next, s")
    cell: Cell
    supply: Supply
    power: Power
    cooling: Cooling
    gas: Gas
    water: Water | None = None
    top_up: TopUp | None = None
    ventilation: Ventilation | None = None
    notice: Notice | None = None
    proof_tests: ProofTests | None = None
    converters: dict[Name, Ads1115] = Field(default_factory=dict, max_length=4)
    signals: dict[Name, Signal] = Field(max_length=64)
    outputs: dict[Literal["coolant", "ventilation", "collect", "top_up", "horn", "lamp"], Output] = Field(
        default_factory=dict
    )
    set_point: SetPoint | None = None
    buttons: dict[Literal["start", "stop", "reset", "present"], Contact] = Field(default_factory=dict)
    limits: dict[Name, Limit] = Field(default_factory=dict, max_length=128)
    timing: Timing = Timing()
    permits: Permits = Permits()

    @property
    def fitted(self) -> dict[str, Fitted]:
        """Signals that are there, by name, in the order of the file."""
        return {n: s for n, s in self.signals.items() if not isinstance(s, NotFitted | NoSensor)}

    @property
    def minimum_a(self) -> float:
        """Least current at which gas is pure enough, A: given, or worked out from the crossover."""
        given = self.supply.minimum_current_A
        return given if given is not None else round(self.purity_a * 1.005, 2)

    @property
    def purity_a(self) -> float:
        """Current at which the crossover makes 1 % hydrogen in the oxygen, A: mole balance, crossover independent of
        current, so that the ratio of hydrogen to oxygen goes as 1 / current."""
        share = self.cell.crossover_percent / 100.0
        at_a = self.cell.crossover_at_A or self.supply.rated_A
        return at_a * share / (1.0 - share) * 99.0
