"""An invented rig, as a link would publish it: its signals, limits and permissives, running and at rest.

Made from the models that the link uses, so that a change of the interface breaks it.
"""

from __future__ import annotations

from typing import Any

from controller.link.messages import (
    GasNow,
    LeaveNow,
    MarginNow,
    PermissiveNow,
    ProvenNow,
    RunNow,
    SignalNow,
    StateNow,
)

BOOT = "b1"

# name, title, unit, value while running
_SIGNALS: tuple[tuple[str, str, str, float], ...] = (
    ("cell_temperature", "Lye temperature", "C", 54.2),
    ("level_hydrogen", "Level, hydrogen side", "", 1.0),
    ("level_oxygen", "Level, oxygen side", "", 1.0),
    ("coolant_flow", "Coolant flow", "L/min", 0.62),
    ("coolant_outlet", "Coolant outlet", "C", 31.4),
    ("current", "Current", "A", 24.02),
    ("voltage", "Stack voltage", "V", 6.48),
    ("pressure_hydrogen", "Pressure, hydrogen side", "mbar", 8.3),
    ("room_hydrogen", "Hydrogen in the room", "%", 0.02),
    ("hydrogen_in_oxygen", "Hydrogen in oxygen", "%", 0.31),
    ("dry_floor", "Drip tray", "", 1.0),
)

# limit, title, signal, threshold, rises, effect, armed always, normal value from which the way is counted
_LIMITS: tuple[tuple[str, str, str, float, bool, Any, bool, float], ...] = (
    ("lye warm", "Lye warm", "cell_temperature", 60.0, True, "alarm", True, 25.0),
    ("lye hot", "Lye temperature", "cell_temperature", 70.0, True, "trip", True, 25.0),
    ("level hydrogen low", "Level, hydrogen side", "level_hydrogen", 0.0, False, "trip", False, 1.0),
    ("level oxygen low", "Level, oxygen side", "level_oxygen", 0.0, False, "trip", False, 1.0),
    ("coolant flow low", "Coolant flow", "coolant_flow", 0.20, False, "trip", False, 0.7),
    ("outlet warm", "Coolant outlet warm", "coolant_outlet", 45.0, True, "alarm", True, 15.0),
    ("outlet hot", "Coolant outlet", "coolant_outlet", 55.0, True, "trip", True, 15.0),
    ("over-current", "Current", "current", 34.5, True, "trip", True, 0.0),
    ("too little current", "Least current for clean gas", "current", 9.0, False, "stop", False, 30.0),
    ("stack volts high", "Stack voltage", "voltage", 9.0, True, "trip", False, 5.4),
    ("pressure hydrogen high", "Pressure, hydrogen side", "pressure_hydrogen", 25.0, True, "trip", True, 0.0),
    ("room hydrogen alarm", "Hydrogen in the room", "room_hydrogen", 0.4, True, "alarm", True, 0.0),
    ("room hydrogen", "Hydrogen in the room", "room_hydrogen", 0.8, True, "trip", True, 0.0),
    ("hydrogen in oxygen", "Hydrogen in oxygen", "hydrogen_in_oxygen", 2.0, True, "trip", False, 0.2),
    ("leak", "Drip tray", "dry_floor", 0.0, False, "trip", True, 1.0),
)

_PERMISSIVES: tuple[tuple[str, str, str], ...] = (
    ("no trip", "No trip stands", "no trip stands"),
    ("in service", "In service", "in service"),
    ("settings", "Settings accepted", "settings as last accepted"),
    ("somebody", "Somebody at the rig has agreed", "enabled at the rig"),
    ("controller", "Controller well", "disk, supply and pins well"),
    ("signals", "All protective signals good", "all good"),
    ("limits", "All limits clear", "all clear"),
    ("temperature", "Lye at a temperature to start from", "the cell is at 22.1 C"),
    ("dead", "Power proven off", "contactors open, no current"),
    ("rest", "Off long enough", "off for long enough"),
)


def _margin(
    row: tuple[str, str, str, float, bool, Any, bool, float],
    values: dict[str, float | None],
    power: bool,
    seconds: dict[str, float],
) -> MarginNow:
    limit, title, name, threshold, rises, effect, always, normal = row
    unit = next(u for n, _, u, _ in _SIGNALS if n == name)
    value = values[name]
    left = None if value is None else (threshold - value if rises else value - threshold)
    fraction = None if left is None else max(0.0, min(1.0, left / abs(threshold - normal)))
    armed = always or power
    return MarginNow(
        limit=limit,
        title=title,
        signal=name,
        unit=unit,
        value=value,
        threshold=threshold,
        rises=rises,
        effect=effect,
        armed=armed,
        left=left,
        left_fraction=fraction,
        seconds_to_limit=seconds.get(limit),
        standing=armed and left is not None and left <= 0.0,
    )


def given(changes: dict[str, Any]) -> dict[str, Any]:
    """Arguments by name, of any kind."""
    return changes


def rig_state(
    now_s: float,
    *,
    rig: str = "boathouse",
    number: int = 1,
    simulated: bool = False,
    state: str = "running",
    since_s: float | None = None,
    sentence: str | None = None,
    values: dict[str, float | None] | None = None,
    status: dict[str, tuple[str, str]] | None = None,
    power: bool = True,
    seconds: dict[str, float] | None = None,
    nearest: str | None = "lye hot",
    unmet: dict[str, str] | None = None,
    **changes: Any,
) -> StateNow:
    """A state with these signal values; anything else about it is given by field name."""
    now_values: dict[str, float | None] = {**{n: v for n, _, _, v in _SIGNALS}, **(values or {})}
    why: dict[str, tuple[Any, str]] = {**(status or {})}
    unmet = unmet or {}
    base = StateNow(
        rig=rig,
        boot=BOOT,
        number=number,
        time_s=now_s,
        clock_synchronised=True,
        simulated=simulated,
        state=state,
        since_s=now_s - 4980.0 if since_s is None else since_s,
        sentence=sentence
        or "Running at 24 A. Lye temperature is nearest its limit: 16 C left, about 40 min at this"
        " rise. Nothing to do.",
        nearest=nearest,
        signals=[
            SignalNow(
                name=n,
                title=t,
                unit=u,
                value=now_values[n],
                status=why.get(n, ("good", "good"))[0],
                plain=why.get(n, ("good", "good"))[1],
                age_s=0.1 if now_values[n] is not None else 34.0,
            )
            for n, t, u, _ in _SIGNALS
        ],
        margins=[
            _margin(row, now_values, power, {"lye hot": 2400.0, "lye warm": 880.0} if seconds is None else seconds)
            for row in _LIMITS
        ],
        causes=[],
        permissives=[
            PermissiveNow(name=n, title=t, met=n not in unmet, why=unmet.get(n, w)) for n, t, w in _PERMISSIVES
        ],
        run=RunNow(
            began_s=now_s - 4980.0,
            asked_by="a button at the rig",
            wanted_a=24.0,
            setpoint_a=24.0,
            charge_ah=33.2,
            hydrogen_l=45.5,
            energy_kwh=0.214,
            efficiency_hhv=0.678,
            water_used_ml=33.5,
            hours_to_top_up=19.4,
            ends="after 60 L: 14.5 L to go",
        ),
        gas=GasNow(fit=True, fit_since_s=now_s - 4300.0, fit_in_s=None, sentence="Fit to collect"),
        leave=LeaveNow(grade="unattended", may_leave=True, missing=[]),
        proven=ProvenNow(
            main_open=False,
            second_open=False,
            current_zero=False,
            safe_to_open=False,
            safe_to_open_why="power is on and gas is present",
        ),
        outputs={
            "main": True,
            "second": True,
            "coolant": True,
            "ventilation": True,
            "collect": True,
            "top_up": False,
            "horn": False,
            "lamp": True,
        },
        enabled_until_s=now_s + 3 * 3600.0,
        held_by="",
        hold_reason="",
        remote_may=["stop", "start", "set-current", "silence"],
        challenge="c-1",
        events=412,
        dropped_frames=0,
        late_scans=0,
    )
    return base.model_copy(update=changes)


OFF_RUN = RunNow(
    began_s=None,
    asked_by="",
    wanted_a=0.0,
    setpoint_a=0.0,
    charge_ah=33.2,
    hydrogen_l=45.5,
    energy_kwh=0.214,
    efficiency_hhv=None,
    water_used_ml=33.5,
    hours_to_top_up=19.4,
    ends="",
)
PROVEN_OFF = ProvenNow(
    main_open=True,
    second_open=True,
    current_zero=True,
    safe_to_open=True,
    safe_to_open_why="power proven off, ventilated for 5 min",
)
NOT_FIT = GasNow(fit=False, fit_since_s=None, fit_in_s=None, sentence="Not fit: power is off and air may have come in")
ALL_OFF = {
    "main": False,
    "second": False,
    "coolant": False,
    "ventilation": True,
    "collect": False,
    "top_up": False,
    "horn": False,
    "lamp": False,
}
AT_REST: dict[str, float | None] = {
    "cell_temperature": 22.1,
    "coolant_flow": 0.0,
    "coolant_outlet": 17.9,
    "current": 0.01,
    "voltage": 1.4,
    "pressure_hydrogen": 0.2,
    "room_hydrogen": 0.01,
    "hydrogen_in_oxygen": 0.0,
}
