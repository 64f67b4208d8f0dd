"""Automatic top-up: whether the doses that a rig file asks for can be given, seen and bounded, and the core's form."""

from __future__ import annotations

from controller.config import models
from controller.config.limits import Reasoned
from controller.config.problems import Problems
from controller.config.signals import Fitted
from controller.core.limits import Effect
from controller.core.rig import TopUp

LEVEL = "level_mm"  # a measured level: a float does not show a dose
MOST_DOSE_S = 900.0  # a valve that is open for longer is nobody's dose
G_PER_ML = 1.0
CLEAR = ("level", "leak")  # first words of the limits that must be clear while the valve is open


def compile_top_up(
    file: models.RigFile, signals: dict[str, Fitted], limits: dict[str, Reasoned], problems: Problems
) -> TopUp | None:
    given = file.top_up
    if given is None:
        return None
    needed = (
        ("top_up" in file.outputs, "a pump or valve", "Describe it under [outputs.top_up]."),
        (file.water is not None, "a water account", "Say how much water is usable: [water] usable_L."),
        (LEVEL in signals, f"a measured level ({LEVEL})", "Fit one: a float does not show whether a dose came."),
        ("level high" in limits, "a high-level float", "Describe level_not_high: it ends a dose that does not end."),
    )
    lacking = [(what, right) for there, what, right in needed if not there]
    for what, right in lacking:
        problems.add(("top_up",), f"needs {what}", right)
    if lacking or file.water is None:
        return None
    _possible(given, file.water, signals[LEVEL], problems)
    names = list(limits)
    return TopUp(
        level=list(signals).index(LEVEL),
        from_mm=given.from_mm,
        to_mm=given.to_mm,
        shows_mm=given.shows_mm,
        dose_g=given.dose_mL * G_PER_ML,
        g_per_s=given.flow_mL_min * G_PER_ML / 60.0,
        pause_h=given.pause_h,
        most_g=given.most_in_24_h_mL * G_PER_ML,
        clear=tuple(
            at for at, name in enumerate(names) if name.startswith(CLEAR) and limits[name].core.effect is Effect.TRIP
        ),
    )


def _possible(given: models.TopUp, water: models.Water, level: Fitted, problems: Problems) -> None:
    dose_s = 60.0 * given.dose_mL / given.flow_mL_min
    if dose_s > MOST_DOSE_S:
        wrong = f"{given.dose_mL:g} mL at {given.flow_mL_min:g} mL/min take {dose_s / 60.0:.0f} min"
        most_ml = given.flow_mL_min * MOST_DOSE_S / 60.0
        problems.add(("top_up", "dose_mL"), wrong, f"Give at most {most_ml:g} mL, or a stronger pump.")
    if given.dose_mL > 1000.0 * water.usable_L:
        wrong = f"{given.dose_mL:g} mL are more than the {1000.0 * water.usable_L:g} mL between full and low"
        problems.add(("top_up", "dose_mL"), wrong, f"Give at most {1000.0 * water.usable_L:g} mL.")
    if given.most_in_24_h_mL < given.dose_mL:
        problems.add(("top_up", "most_in_24_h_mL"), "is less than one dose", f"Give at least {given.dose_mL:g} mL.")
    if given.shows_mm <= 2.0 * level.error:
        wrong = f"{given.shows_mm:g} mm cannot be told from the level's error of {level.error:g} mm either way"
        right = f"Give more than {2.0 * level.error:g} mm, and doses that raise the level by more."
        problems.add(("top_up", "shows_mm"), wrong, right)
    if given.to_mm < given.from_mm + given.shows_mm:
        wrong = f"a dose from {given.from_mm:g} to {given.to_mm:g} mm ends before it has shown {given.shows_mm:g} mm"
        problems.add(("top_up", "to_mm"), wrong, f"Give at least {given.from_mm + given.shows_mm:g} mm.")
    if not level.readable_low < given.from_mm < given.to_mm < level.readable_high:
        ends = f"{level.readable_low:g} to {level.readable_high:g} mm"
        problems.add(("top_up", "to_mm"), f"lies outside what the level can show, {ends}", "Give marks inside that.")
