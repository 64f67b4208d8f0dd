"""States of an invented rig, as a link would publish them: one function a state, all from one running base.

They are made from the same models that the link uses, so that a change of the interface breaks them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from controller.link.messages import (
    AlarmNow,
    CauseNow,
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


def _given(changes: dict[str, Any]) -> dict[str, Any]:
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


_OFF_RUN = RunNow(
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
_PROVEN_OFF = ProvenNow(
    main_open=True,
    second_open=True,
    current_zero=True,
    safe_to_open=True,
    safe_to_open_why="power proven off, ventilated for 5 min",
)
_NOT_FIT = GasNow(fit=False, fit_since_s=None, fit_in_s=None, sentence="Not fit: power is off and air may have come in")
_ALL_OFF = {
    "main": False,
    "second": False,
    "coolant": False,
    "ventilation": True,
    "collect": False,
    "top_up": False,
    "horn": False,
    "lamp": False,
}
_AT_REST: dict[str, float | None] = {
    "cell_temperature": 22.1,
    "coolant_flow": 0.0,
    "coolant_outlet": 17.9,
    "current": 0.01,
    "voltage": 1.4,
    "pressure_hydrogen": 0.2,
    "room_hydrogen": 0.01,
    "hydrogen_in_oxygen": 0.0,
}


def running(now_s: float, **more: Any) -> StateNow:
    return rig_state(now_s, **more)


def off(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **_given(
            {
                "state": "off",
                "values": _AT_REST,
                "power": False,
                "seconds": {},
                "nearest": None,
                "run": _OFF_RUN,
                "proven": _PROVEN_OFF,
                "gas": _NOT_FIT,
                "outputs": _ALL_OFF,
                "enabled_until_s": None,
                "unmet": {"somebody": "the local enable is off: give it at the rig"},
                "sentence": "Off, proven: contactors open, 0.0 A. Nothing to do.",
            }
            | more
        ),
    )


def checking(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **_given(
            {
                "state": "checking",
                "since_s": now_s - 9.0,
                "power": False,
                "seconds": {},
                "nearest": None,
                "run": _OFF_RUN,
                "gas": _NOT_FIT,
                "values": _AT_REST | {"coolant_flow": 0.63},
                "outputs": _ALL_OFF | {"coolant": True, "horn": True},
                "sentence": "Checking before power: coolant proven, main contactor opens and"
                " closes. Power in about 6 s.",
                "proven": _PROVEN_OFF.model_copy(
                    update={"safe_to_open": False, "safe_to_open_why": "a start is under way"}
                ),
            }
            | more
        ),
    )


def venting(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **_given(
            {
                "state": "venting",
                "since_s": now_s - 190.0,
                "seconds": {},
                "nearest": "lye hot",
                "values": {"cell_temperature": 31.0},
                "gas": GasNow(fit=False, fit_since_s=None, fit_in_s=268.0, sentence="Not fit: flushing out the air"),
                "sentence": "Running at 24 A with the gas going to the vent. Fit to collect in"
                " about 4 min. Nothing to do.",
            }
            | more
        ),
    )


def warm(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **_given(
            {
                "values": {"cell_temperature": 63.4},
                "seconds": {"lye hot": 840.0},
                "sentence": "Running at 24 A. The lye is warm: 63.4 C, 6.6 C left, about 14 min at"
                " this rise. Open the coolant valve"
                " further.",
                "alarms": [
                    AlarmNow(
                        name="lye warm",
                        title="Lye warm",
                        sentence="63.4 C, alarm at 60 C",
                        priority="medium",
                        since_s=now_s - 312.0,
                        standing=True,
                        to_do="Open the coolant valve a quarter turn and look again in five minutes.",
                    ),
                    AlarmNow(
                        name="water account",
                        title="Water used is more than made into gas",
                        sentence="38 mL more than the current explains since Monday",
                        priority="low",
                        since_s=now_s - 86000.0,
                        standing=False,
                        acknowledged=False,
                        to_do="Look under the cell for a drip.",
                    ),
                ],
                "leave": LeaveNow(grade="unattended", may_leave=False, missing=["the alarm 'lye warm' stands"]),
            }
            | more
        ),
    )


def tripped(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **_given(
            {
                "state": "tripped",
                "since_s": now_s - 95.0,
                "power": False,
                "seconds": {},
                "nearest": None,
                "values": {
                    "cell_temperature": 58.3,
                    "coolant_flow": 0.04,
                    "current": 0.01,
                    "voltage": 4.1,
                    "pressure_hydrogen": 1.0,
                },
                "sentence": "Tripped: no coolant flow. Power is proven off, 0.0 A, and the lye is"
                " cooling. Nothing to do before morning.",
                "causes": [
                    CauseNow(
                        name="coolant flow low",
                        title="Coolant flow low",
                        sentence="Coolant flow was 0.04 L/min for 10 s; the limit is 0.20 L/min. Main"
                        " contactor open 0.06 s later.",
                        kind="resettable",
                        time_s=now_s - 95.0,
                        urgency="morning",
                        to_do="Look for a kinked hose or a shut tap, then reset.",
                        not_to_do="Do not open the lid before the lye is under 45 C.",
                    ),
                    CauseNow(
                        name="outlet hot",
                        title="Coolant outlet hot",
                        sentence="Coolant outlet was 55.2 C; the limit is 55 C.",
                        kind="resettable",
                        time_s=now_s - 90.0,
                        urgency="morning",
                        to_do="It follows from the first.",
                        not_to_do="",
                    ),
                ],
                "run": _OFF_RUN.model_copy(update={"ends": ""}),
                "gas": _NOT_FIT,
                "proven": _PROVEN_OFF.model_copy(
                    update={"safe_to_open": False, "safe_to_open_why": "the lye is at 58 C"}
                ),
                "outputs": _ALL_OFF | {"coolant": True, "horn": True},
                "unmet": {
                    "no trip": "tripped by 'coolant flow low': reset it first",
                    "rest": "off for 95 s; wait until 300 s",
                    "limits": "not clear: Coolant flow",
                },
                "leave": LeaveNow(grade="unattended", may_leave=False, missing=["a trip stands"]),
            }
            | more
        ),
    )


def locked_out(now_s: float, **more: Any) -> StateNow:
    return tripped(
        now_s,
        **_given(
            {
                "state": "locked out",
                "sentence": "Locked out: the main contactor still read closed after it was opened."
                " The second contactor has cut the power,"
                " 0.0 A. Go to the rig now.",
                "causes": [
                    CauseNow(
                        name="contactor not open",
                        title="Main contactor did not open",
                        sentence="The main contactor still read closed 0.60 s after it was opened; the"
                        " second contactor opened at 0.50 s.",
                        kind="lock-out",
                        time_s=now_s - 95.0,
                        urgency="now",
                        to_do="Switch the supply off at the wall and pull its plug.",
                        not_to_do="Do not switch the light or the fan in the room; open the door.",
                    )
                ],
                "proven": ProvenNow(
                    main_open=False,
                    second_open=True,
                    current_zero=True,
                    safe_to_open=False,
                    safe_to_open_why="the main contactor is not proven open",
                ),
                "remote_may": ["stop", "silence"],
            }
            | more
        ),
    )


def sensor_lost(now_s: float, **more: Any) -> StateNow:
    return tripped(
        now_s,
        **_given(
            {
                "values": {"cell_temperature": None, "current": 0.01, "voltage": 4.1, "coolant_flow": 0.63},
                "status": {
                    "cell_temperature": ("failure", "sensor lost: no answer for 34 s"),
                    "hydrogen_in_oxygen": ("maintenance required", "calibration is overdue"),
                },
                "sentence": "Tripped: the lye temperature sensor does not answer. Power is proven"
                " off, 0.0 A. Nothing to do before morning.",
                "causes": [
                    CauseNow(
                        name="lye hot",
                        title="Lye temperature not seen",
                        sentence="No answer from the lye thermometer for 6 s; it may be unseen for 6 s.",
                        kind="resettable",
                        time_s=now_s - 28.0,
                        urgency="morning",
                        to_do="Look at the plug of the lye thermometer.",
                        not_to_do="Do not bridge it.",
                    )
                ],
            }
            | more
        ),
    )


def attended(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **_given(
            {
                "simulated": True,
                "leave": LeaveNow(
                    grade="attended",
                    may_leave=False,
                    missing=[
                        "coolant flow sensor is not fitted: still in the post",
                        "no second contactor",
                        "no proof test in date",
                    ],
                ),
            }
            | more
        ),
    )


def wrong_clock(now_s: float, **more: Any) -> StateNow:
    return rig_state(now_s - 19 * 86400.0, **({"clock_synchronised": False} | more))


def out_of_service(now_s: float, **more: Any) -> StateNow:
    return off(
        now_s,
        **_given(
            {
                "state": "out of service",
                "held_by": "Ada",
                "hold_reason": "new gasket on cell 2",
                "sentence": "Out of service by Ada: new gasket on cell 2. Only somebody at the rig can lift it.",
                "unmet": {"in service": "out of service by Ada: new gasket on cell 2"},
            }
            | more
        ),
    )


HOSTILE = "<img src=x onerror=\"document.title='owned'\"><script>document.title='owned'</script>&amp;</script>"


def hostile(now_s: float, **more: Any) -> StateNow:
    """Names and reasons that would run if a page ever took a text for markup."""
    found = tripped(
        now_s, **({"state": "out of service", "held_by": HOSTILE, "hold_reason": HOSTILE, "sentence": HOSTILE} | more)
    )
    return found.model_copy(
        update={
            "causes": [found.causes[0].model_copy(update={"title": HOSTILE, "sentence": HOSTILE, "to_do": HOSTILE})],
            "margins": [found.margins[0].model_copy(update={"title": HOSTILE, "unit": "<b>"}), *found.margins[1:]],
            "leave": LeaveNow(grade="unattended", may_leave=False, missing=[HOSTILE]),
        }
    )


SCENES: dict[str, Callable[..., StateNow]] = {
    "running": running,
    "off": off,
    "checking": checking,
    "venting": venting,
    "warm": warm,
    "tripped": tripped,
    "locked out": locked_out,
    "sensor lost": sensor_lost,
    "simulated": attended,
    "wrong clock": wrong_clock,
    "out of service": out_of_service,
    "hostile": hostile,
}
