"""From the standard limits and a rig file's own words to the core's limits."""

from __future__ import annotations

import difflib
from typing import NamedTuple

from controller.config import models
from controller.config.defaults import DEFAULTS, Default, Facts, Worked, mandatory
from controller.config.lines import Path
from controller.config.problems import Problems, shown
from controller.config.signals import Fitted, standard_grace_s
from controller.config.units import as_written
from controller.core.limits import Arming, Effect, Limit, TripKind

ATTENDED_LOWER = ("over-current", "short")  # never above their default while somebody must stand there
EFFECTS = {"alarm": Effect.ALARM, "derate": Effect.DERATE, "stop": Effect.STOP, "trip": Effect.TRIP}
ARMINGS = {a.name.lower(): a for a in Arming}
KINDS = {"resettable": TripKind.RESETTABLE, "local": TripKind.LOCAL, "lock-out": TripKind.LOCK_OUT}
FIXED = ("effect", "armed", "reset")  # of a standard limit
NOTHING = models.Limit()


class Reasoned(NamedTuple):
    """A limit, and why it is what it is."""

    core: Limit
    because: str
    path: Path  # in the file; of a table that is not there when it is a default


def names_of_limits(file: models.RigFile) -> list[str]:
    """Standard limits for which all signals are there, then the rig's own, without those it goes without."""
    names = [
        name
        for name, default in DEFAULTS.items()
        if all(s in file.fitted for s in (_given(file, name).signals or default.signals))
    ]
    names += [name for name in file.limits if name not in names and name not in DEFAULTS]
    return [name for name in names if _given(file, name).fitted]


def _given(file: models.RigFile, name: str) -> models.Limit:
    return file.limits.get(name, NOTHING)


def compile_limits(
    file: models.RigFile, signals: dict[str, Fitted], allowed_a: float, problems: Problems
) -> dict[str, Reasoned]:
    """Every limit of the rig by name. allowed_a: the largest current that its grade allows."""
    _gone_without(file, problems)
    facts = Facts(file, allowed_a, {})
    positions = {name: at for at, name in enumerate(signals)}
    out: dict[str, Reasoned] = {}
    for name in names_of_limits(file):
        path: Path = ("limits", name)
        given = _given(file, name)
        if not _members_known(file, name, given, signals, path, problems):
            continue
        if name in DEFAULTS:
            limit = _standard(name, given, DEFAULTS[name], facts, signals, positions, path, problems)
        else:
            limit = _own(name, given, signals, positions, path, problems)
        if limit is not None:
            facts.chosen[name] = limit.core.threshold
            out[name] = limit
    return out


def _gone_without(file: models.RigFile, problems: Problems) -> None:
    for name, limit in file.limits.items():
        path: Path = ("limits", name)
        if name in DEFAULTS and limit.fitted:
            lacking = [s for s in limit.signals or DEFAULTS[name].signals if s not in file.fitted]
            for signal in lacking:
                known = ", ".join(file.fitted) or "none"
                problems.add(
                    path, f"there is no signal {shown(signal)}", f"Describe it under [signals]. Known: {known}."
                )
        if not limit.fitted and limit.because is None:
            problems.add((*path, "because"), "is missing", "Say why the rig goes without and what stands in for it.")
    for name, signal in mandatory(file).items():
        if signal not in file.signals:
            problems.add(
                ("signals", signal),
                f"is missing, and without it nobody sees {name}",
                f'Describe it, or say [signals.{signal}] fitted = false, because = "..."; the rig is then for attended '
                "use only.",
            )


def _members_known(
    file: models.RigFile,
    name: str,
    given: models.Limit,
    signals: dict[str, Fitted],
    path: Path,
    problems: Problems,
) -> bool:
    members = given.signals or (list(DEFAULTS[name].signals) if name in DEFAULTS else [])
    if not members:
        close = difflib.get_close_matches(name, DEFAULTS, n=1, cutoff=0.8)
        meant = f"Did you mean the limit {close[0]!r}? If it is one of your own: name" if close else "Name"
        problems.add((*path, "signals"), "is missing", f"{meant} one or more of {', '.join(signals)}.")
        return False
    for member in members:
        if member in file.fitted and member not in signals:
            return False  # the signal itself has been refused
        if member not in signals:
            also = " It is fitted = false." if member in file.signals else ""
            problems.add(
                (*path, "signals"), f"there is no signal {shown(member)}", f"Known: {', '.join(signals)}.{also}"
            )
            return False
    kinds = {signals[m].quantity for m in members}
    if len(kinds) > 1 or len(set(members)) < len(members):
        problems.add((*path, "signals"), "they are not of one quantity, or one is named twice", "Name like with like.")
        return False
    if given.needed > len(members):
        problems.add(
            (*path, "needed"), f"{given.needed} of {len(members)} can never agree", f"Give 1 to {len(members)}."
        )
        return False
    return True


def _worked(worked: Worked, facts: Facts) -> float | None:
    number = worked(facts) if callable(worked) else worked
    return None if number is None else round(number, 6)


def _standard(
    name: str,
    given: models.Limit,
    default: Default,
    facts: Facts,
    signals: dict[str, Fitted],
    positions: dict[str, int],
    path: Path,
    problems: Problems,
) -> Reasoned | None:
    for key in FIXED:
        if getattr(given, key) is not None:
            problems.add(
                (*path, key), f"is fixed for {name!r}", "Leave it out, or make a limit under a name of your own."
            )
    members = tuple(positions[s] for s in given.signals or default.signals)
    first = signals[(given.signals or default.signals)[0]]
    is_switch = default.threshold is None
    worked = 0.5 if default.threshold is None else _worked(default.threshold, facts)
    number, side = _number(given, default.rises, is_switch, first, path, problems)
    threshold = worked if number is None else number
    if threshold is None:
        return None
    if name in ATTENDED_LOWER and facts.attended and number is not None and worked is not None and number > worked:
        threshold = worked
        problems.warn((*path, side), f"attended: a third of the rated current, so it is taken as {threshold:g} A")
    facts.chosen[name] = threshold
    period_s = max(signals[s].core.period_s for s in given.signals or default.signals)
    bypass = bool(given.bypass)
    if bypass and default.never_bypassed:
        problems.add((*path, "bypass"), f"{name!r} is never bypassed", "Leave it out.")
    deadband = given.deadband if given.deadband is not None else _worked(default.deadband, facts) or 0.0
    far = given.far if given.far is not None else default.far
    effect = default.effect
    if name == "minimum current" and facts.attended:
        effect = Effect.ALARM  # somebody stands there, and no gas is collected
    core = Limit(
        name=name,
        title=given.title or default.title,
        members=members,
        threshold=threshold,
        rises=default.rises,
        effect=effect,
        armed=default.armed,
        kind=default.kind,
        needed=given.needed,
        differ=given.differ or 0.0,
        magnitude=_magnitude(name, default, facts),
        is_switch=is_switch,
        deadband=deadband,
        delay_s=_first(given.delay_s, default.delay_s),
        grace_s=_first(given.grace_s, default.grace_s, standard_grace_s(period_s)),
        far_grace_s=_first(given.far_grace_s, default.far_grace_s),
        far=far,
        settle_s=_first(given.settle_s, _worked(default.settle_s, facts) or 0.0),
        bypassable=bypass and not default.never_bypassed,
        derate_to=_first(given.derate_to, _worked(default.derate_to, facts) if effect is Effect.DERATE else 0.0, 0.0),
        proving=default.proving,
    )
    return Reasoned(core, given.because or default.because, path)


def _magnitude(name: str, default: Default, facts: Facts) -> bool:
    """With isolation on the mains side only, a cell that discharges backwards into its supply is no weld."""
    if name != "current while off":
        return default.magnitude
    power = facts.file.power
    return "dc" in {breaker.switched_at for breaker in (power.main, power.second) if breaker is not None}


def _first(*numbers: float | None) -> float:
    return next(n for n in numbers if n is not None)


def _number(
    given: models.Limit, rises: bool, is_switch: bool, signal: Fitted, path: Path, problems: Problems
) -> tuple[float | None, str]:
    """The threshold as given, which must be on the limit's own side."""
    side, other = ("above", "below") if rises else ("below", "above")
    unit = signal.quantity
    if getattr(given, other) is not None:
        right = "Leave it out." if is_switch else f"Give {as_written(side, unit)}."
        problems.add((*path, other), "this limit is on the other side", right)
    number = getattr(given, side)
    if is_switch and number is not None:
        problems.add((*path, side), "a switch is proven or not and has no threshold", "Leave it out.")
        return None, side
    return number, side


def _own(
    name: str,
    given: models.Limit,
    signals: dict[str, Fitted],
    positions: dict[str, int],
    path: Path,
    problems: Problems,
) -> Reasoned | None:
    names = given.signals or []
    first = signals[names[0]]
    is_switch = first.quantity == "switch"
    lacking = [key for key in ("effect", "because") if getattr(given, key) is None]
    for key in lacking:
        right = {"effect": "Give alarm, derate, stop or trip.", "because": "Say why this limit is there."}[key]
        problems.add((*path, key), f"is missing, and {name!r} is none of the standard limits", right)
    if not is_switch and (given.above is None) == (given.below is None):
        keys = " or ".join(as_written(side, first.quantity) for side in ("above", "below"))
        problems.add(path, "exactly one threshold is needed", f"Give {keys}.")
        lacking.append("above")
    if is_switch and (given.above is not None or given.below is not None):
        problems.add(path, "a switch is proven or not and has no threshold", "Leave it out.")
    if lacking or given.effect is None or given.because is None:
        return None
    effect = EFFECTS[given.effect]
    rises = given.above is not None
    if effect is Effect.DERATE and (given.derate_to is None or is_switch or given.derate_to == given.above):
        right = f"Give {as_written('derate_to', first.quantity)}, where the minimum current is reached."
        problems.add((*path, "derate_to"), "a derate needs an end other than its beginning", right)
        return None
    period_s = max(signals[s].core.period_s for s in names)
    core = Limit(
        name=name,
        title=given.title or name.capitalize(),
        members=tuple(positions[s] for s in names),
        threshold=0.5 if is_switch else _first(given.above, given.below),
        rises=rises,
        effect=effect,
        armed=ARMINGS[given.armed or "powered"],
        kind=KINDS[given.reset or "local"],
        needed=given.needed,
        differ=given.differ or 0.0,
        is_switch=is_switch,
        deadband=given.deadband or 0.0,
        delay_s=given.delay_s or 0.0,
        grace_s=_first(given.grace_s, standard_grace_s(period_s)),
        far_grace_s=given.far_grace_s or 0.0,
        far=given.far or 0.0,
        settle_s=given.settle_s or 0.0,
        bypassable=bool(given.bypass),
        derate_to=given.derate_to or 0.0,
    )
    return Reasoned(core, given.because, path)
