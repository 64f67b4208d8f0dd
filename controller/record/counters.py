"""What the rig has done in its whole life. The names are fixed, so that a report in ten years finds them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

# Counters that grow with time, by name: what they count.
UNITS: Mapping[str, str] = MappingProxyType(
    {
        "powered_h": "hours with power on",
        "charge_ah": "ampere-hours through the stack",
        "energy_kwh": "kilowatt-hours taken by the stack",
        "hydrogen_l": "litres of hydrogen made, dry, 25 C, 1 atm, before leaks",
        "oxygen_l": "litres of oxygen made, dry, 25 C, 1 atm, before leaks",
        "water_ml": "millilitres of water split",
        "topped_up_ml": "millilitres of water filled in, by the logbook",
    }
)
# Counters that grow with events.
STARTS = "starts"
TRIPS = "trips"  # and one for each cause: "trips: over-temperature"
LOGGED = {"topped up": ("topped_up_ml", {"mL": 1.0, "ml": 1.0, "L": 1000.0, "l": 1000.0, "": 1.0})}


def by_event(what: str, subject: str) -> dict[str, float]:
    """What an event adds. `what` and `subject` as the guard names them.

    >>> by_event("TRIP", "over-temperature")
    {'trips': 1.0, 'trips: over-temperature': 1.0}
    """
    what = what.upper()
    if what == "TRIP":
        return {TRIPS: 1.0, f"{TRIPS}: {subject}": 1.0}
    if what == "STATE" and subject.upper() == "RAMPING":  # the only way into power
        return {STARTS: 1.0}
    return {}


def by_entry(kind: str, amount: float | None, unit: str) -> dict[str, float]:
    """What a line of the logbook adds."""
    name, factors = LOGGED.get(kind, ("", {}))
    if amount is None or unit not in factors:
        return {}
    return {name: amount * factors[unit]}


def by_time(
    dt_s: float, current_a: float | None, stack_v: float | None, hydrogen_l_ah: float, water_ml_ah: float
) -> dict[str, float]:
    """What a span of time with power on adds.

    hydrogen_l_ah, water_ml_ah: of the whole stack for each ampere-hour, by Faraday's law. An unknown current or
    voltage adds nothing: absence is not a number.
    """
    grown = {"powered_h": dt_s / 3600.0}
    if current_a is not None:
        charge_ah = abs(current_a) * dt_s / 3600.0
        grown |= {
            "charge_ah": charge_ah,
            "hydrogen_l": charge_ah * hydrogen_l_ah,
            "oxygen_l": 0.5 * charge_ah * hydrogen_l_ah,
            "water_ml": charge_ah * water_ml_ah,
        }
        if stack_v is not None:
            grown["energy_kwh"] = charge_ah * abs(stack_v) / 1000.0
    return grown
