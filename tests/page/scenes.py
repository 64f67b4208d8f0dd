"""What the invented rig can be seen doing: one function a state, each named as in `SCENES`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from controller.link.messages import GasNow, LeaveNow, StateNow
from tests.page.invented_rig import ALL_OFF, AT_REST, NOT_FIT, OFF_RUN, PROVEN_OFF, given, rig_state
from tests.page.troubles import hostile, in_doubt, locked_out, sensor_lost, tripped, warm, wrong_clock


def running(now_s: float, **more: Any) -> StateNow:
    return rig_state(now_s, **more)


def off(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **given(
            {
                "state": "off",
                "values": AT_REST,
                "power": False,
                "seconds": {},
                "nearest": None,
                "run": OFF_RUN,
                "proven": PROVEN_OFF,
                "gas": NOT_FIT,
                "outputs": ALL_OFF,
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
        **given(
            {
                "state": "checking",
                "since_s": now_s - 9.0,
                "power": False,
                "seconds": {},
                "nearest": None,
                "run": OFF_RUN,
                "gas": NOT_FIT,
                "values": AT_REST | {"coolant_flow": 0.63},
                "outputs": ALL_OFF | {"coolant": True, "horn": True},
                "sentence": "Checking before power: coolant proven, main contactor opens and"
                " closes. Power in about 6 s.",
                "proven": PROVEN_OFF.model_copy(
                    update={"safe_to_open": False, "safe_to_open_why": "a start is under way"}
                ),
            }
            | more
        ),
    )


def ramping(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **given(
            {
                "state": "ramping",
                "since_s": now_s - 6.0,
                "seconds": {},
                "nearest": "over-current",
                "values": AT_REST | {"coolant_flow": 0.63, "current": 11.3, "voltage": 5.91},
                "gas": GasNow(fit=False, fit_since_s=None, fit_in_s=286.0, sentence="Not fit: flushing out the air"),
                "sentence": "Starting: 11.3 A of 24 A.",
            }
            | more
        ),
    )


def venting(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **given(
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


def attended(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **given(
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


def out_of_service(now_s: float, **more: Any) -> StateNow:
    return off(
        now_s,
        **given(
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


def cooling(now_s: float, **more: Any) -> StateNow:
    return off(
        now_s,
        **given(
            {
                "state": "cooling",
                "since_s": now_s - 420.0,
                "values": AT_REST
                | {"cell_temperature": 51.8, "coolant_flow": 0.61, "coolant_outlet": 27.2, "hydrogen_in_oxygen": 0.4},
                "outputs": ALL_OFF | {"coolant": True},
                "run": OFF_RUN.model_copy(update={"ends": "60.0 L made"}),
                "unmet": {"rest": "off for 7 min; the lye cools first"},
                "proven": PROVEN_OFF.model_copy(
                    update={"safe_to_open": False, "safe_to_open_why": "gas may still be present"}
                ),
                "sentence": "Cooling down. Power is off: contactors open, 0.0 A. It ended: 60.0 L made."
                " Gas may still be present.",
            }
            | more
        ),
    )


def service(now_s: float, **more: Any) -> StateNow:
    return off(
        now_s,
        **given(
            {
                "state": "service",
                "since_s": now_s - 75.0,
                "outputs": ALL_OFF | {"coolant": True},
                "unmet": {"in service": "outputs are driven by hand"},
                "leave": LeaveNow(grade="unattended", may_leave=False, missing=["somebody drives outputs by hand"]),
                "proven": PROVEN_OFF.model_copy(
                    update={"safe_to_open": None, "safe_to_open_why": "outputs are driven by hand"}
                ),
                "sentence": "In service: outputs are driven by hand, now coolant.",
            }
            | more
        ),
    )


SCENES: dict[str, Callable[..., StateNow]] = {
    "running": running,
    "off": off,
    "checking": checking,
    "ramping": ramping,
    "venting": venting,
    "warm": warm,
    "tripped": tripped,
    "locked out": locked_out,
    "sensor lost": sensor_lost,
    "simulated": attended,
    "wrong clock": wrong_clock,
    "cooling": cooling,
    "out of service": out_of_service,
    "service": service,
    "in doubt": in_doubt,
    "hostile": hostile,
}
