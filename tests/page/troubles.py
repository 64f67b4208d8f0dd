"""What can be wrong with the invented rig, or with what is known of it."""

from __future__ import annotations

from typing import Any

from controller.link.messages import AlarmNow, CauseNow, LeaveNow, ProvenNow, StateNow
from tests.page.invented_rig import ALL_OFF, NOT_FIT, OFF_RUN, PROVEN_OFF, given, rig_state


def warm(now_s: float, **more: Any) -> StateNow:
    return rig_state(
        now_s,
        **given(
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
        **given(
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
                "run": OFF_RUN.model_copy(update={"ends": ""}),
                "gas": NOT_FIT,
                "proven": PROVEN_OFF.model_copy(
                    update={"safe_to_open": False, "safe_to_open_why": "the lye is at 58 C"}
                ),
                "outputs": ALL_OFF | {"coolant": True, "horn": True},
                "unmet": {
                    "no trip": "tripped by 'coolant flow low': reset it first",
                    "rest": "it rests for 300 s between runs: 205 s left",
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
        **given(
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
        **given(
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


def in_doubt(now_s: float, **more: Any) -> StateNow:
    """Everything at once that can be wrong with a rig that runs: bypassed, intermittent, beyond the alarm, link ill."""
    found = rig_state(
        now_s,
        **given(
            {
                "values": {"cell_temperature": 63.4, "hydrogen_in_oxygen": None},
                "status": {
                    "hydrogen_in_oxygen": ("function check", "being calibrated"),
                    "coolant_outlet": ("maintenance required", "good, calibration overdue"),
                },
                "troubles": ["the record is full: the oldest trends are given up"],
            }
            | more
        ),
    )
    margins = [m.model_copy(update={"bypassed": True}) if m.limit == "level oxygen low" else m for m in found.margins]
    return found.model_copy(update={"margins": margins})


def wrong_clock(now_s: float, **more: Any) -> StateNow:
    return rig_state(now_s - 19 * 86400.0, **({"clock_synchronised": False} | more))


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
