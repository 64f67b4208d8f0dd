"""What an invented rig says, for tests."""

from __future__ import annotations

from typing import Any

from controller.core.advice import advice
from controller.link import messages as m


def signal(name: str, unit: str, value: float | None, plain: str = "good") -> m.SignalNow:
    status = "good" if value is not None else "failure"
    return m.SignalNow(
        name=name,
        title=name.replace("_", " ").capitalize(),
        unit=unit,
        value=value,
        status=status,
        plain=plain,
        age_s=0.1,
    )


def cause(name: str, kind: Any = "resettable", sentence: str = "") -> m.CauseNow:
    said = advice(name)
    return m.CauseNow(
        name=name,
        title=name.capitalize(),
        sentence=sentence or f"{name.capitalize()}.",
        kind=kind,
        time_s=0.0,
        urgency=said.urgency,
        to_do=said.to_do,
        not_to_do=said.not_to_do,
    )


def state(
    name: str = "running",
    *causes: m.CauseNow,
    rig: str = "boathouse",
    main_open: bool | None = False,
    zero: bool | None = False,
    amps: float | None = 28.0,
    lye_c: float | None = 62.0,
    lye_plain: str = "good",
    fit: bool = False,
    hours: float | None = None,
    collect: bool = False,
    simulated: bool = False,
    time_s: float = 1.0,
) -> m.StateNow:
    return m.StateNow(
        rig=rig,
        boot="b",
        number=1,
        time_s=time_s,
        clock_synchronised=True,
        simulated=simulated,
        state=name,
        since_s=0.0,
        sentence=f"It is {name}.",
        nearest=None,
        signals=[signal("current", "A", amps), signal("lye_temperature", "C", lye_c, lye_plain)],
        margins=[],
        causes=list(causes),
        permissives=[],
        run=m.RunNow(
            began_s=0.0, asked_by="local", wanted_a=28.0, setpoint_a=28.0, charge_ah=1.0, hydrogen_l=12.34,
            energy_kwh=0.05, efficiency_hhv=0.7, water_used_ml=1.0, hours_to_top_up=hours, ends="After 12 L",
        ),
        gas=m.GasNow(fit=fit, fit_since_s=None, fit_in_s=None, sentence="Fit to use for 1 s." if fit else "Not fit."),
        leave=m.LeaveNow(grade="attended", may_leave=False, missing=[]),
        proven=m.ProvenNow(
            main_open=main_open, second_open=main_open, current_zero=zero, safe_to_open=None, safe_to_open_why=""
        ),
        outputs={"collect": collect},
        enabled_until_s=None,
        held_by="",
        hold_reason="",
        remote_may=[],
        challenge="",
        events=0,
        dropped_frames=0,
        late_scans=0,
    )  # fmt: skip


def off(name: str = "off", *causes: m.CauseNow, **more: Any) -> m.StateNow:
    """Power proven off."""
    return state(name, *causes, **{"main_open": True, "zero": True, "amps": 0.0, "lye_c": 58.0} | more)
