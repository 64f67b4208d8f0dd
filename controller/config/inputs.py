"""What stands at an input of a converter: volts that it survives, and a broken wire that shows."""

from __future__ import annotations

from controller.config import measured, models
from controller.config.limits import Reasoned
from controller.config.lines import Path
from controller.config.problems import Problems
from controller.config.signals import Fitted, volts_at_ends
from controller.core.limits import Arming, Effect, demand_share
from controller.hardware.description import Ads1115Channel

MARGIN_V = 0.3  # that an input may stand beyond its supply (ADS1115 data sheet, absolute maximum ratings)


def within_supply(file: models.RigFile, problems: Problems) -> None:
    """No pin of a converter may stand more than 0.3 V beyond the chip's supply."""
    for name, signal in file.fitted.items():
        if not isinstance(signal, measured.Channel) or signal.converter not in file.converters:
            continue
        supply_v = file.converters[signal.converter].supply_V
        path: Path = ("signals", name)
        if signal.minus is not None and signal.middle_V is None:
            right = "Give the volts of the minus input against the chip's ground, for instance 1.65."
            problems.add((*path, "middle_V"), "is missing: a differential channel has a common mode", right)
        elif signal.middle_V is not None and not -MARGIN_V <= signal.middle_V <= supply_v + MARGIN_V:
            problems.add(
                (*path, "middle_V"),
                f"{signal.middle_V:g} V is outside -0.3 V to {supply_v + MARGIN_V:g} V, which destroys the converter",
                "Measure in the negative lead, or through an isolating amplifier.",
            )
        if signal.V_per_A is not None and not signal.isolated and signal.minus is None:
            right = (
                "Use an isolating amplifier (isolated = true), or read the shunt in the negative lead differentially."
            )
            problems.add(path, "the shunt's lead would share the converter's ground", right)
        if signal.hall is not None and signal.hall.rail_V > supply_v + MARGIN_V:
            problems.add(
                (*path, "hall"),
                f"a sensor on {signal.hall.rail_V:g} V can put as much on a pin of a chip on {supply_v:g} V",
                "Put 10 and 20 kilohm between them (two thirds) and give V_per_A and rail_V behind those.",
            )
        if signal.divider is not None:
            open_v = file.supply.open_circuit_V
            share = signal.divider.bottom_ohm / (signal.divider.top_ohm + signal.divider.bottom_ohm)
            if open_v * share > supply_v:
                needed = signal.divider.bottom_ohm * (open_v / (0.9 * supply_v) - 1.0)
                problems.add(
                    (*path, "divider"),
                    f"with the cell open the supply's {open_v:g} V become {open_v * share:.2f} V at a pin of a chip on "
                    f"{supply_v:g} V",
                    f"Give a top_ohm of at least {needed:.0f}.",
                )
        if signal.range_V not in (6.144, 4.096, 2.048, 1.024, 0.512, 0.256):
            continue
        low_v, high_v = volts_at_ends(signal, supply_v)
        if low_v >= high_v:
            wrong = f"between {low_v:g} V and {high_v:g} V there is nothing to read"
            problems.add((*path, "middle_V"), wrong, f"Give less than {supply_v:g} V.")


def broken_wire_shows(
    file: models.RigFile, signals: dict[str, Fitted], limits: dict[str, Reasoned], problems: Problems
) -> None:
    """Against ground an open wire reads 0 V. What that means must be wrong by itself, or a demand on some limit."""
    for position, (name, signal) in enumerate(signals.items()):
        channel = file.signals[name]
        if not isinstance(channel, measured.Channel) or channel.minus is not None:
            continue
        assert isinstance(signal.source, Ads1115Channel)
        watching = [limit.core for limit in limits.values() if position in limit.core.members]
        protecting = [x for x in watching if x.effect in (Effect.STOP, Effect.TRIP) and x.armed is not Arming.OPENED]
        number = signal.source.scale(0.0).number
        if number is None or not channel.range_low <= number <= channel.range_high or not protecting:
            continue
        if not any(demand_share(limit, number) > 0.0 for limit in protecting):
            names = " or ".join(f"{limit.name!r}" for limit in protecting)
            problems.add(
                ("signals", name),
                f"a broken wire reads 0 V, which means {number:g} {signal.core.unit}: that is no demand on {names}",
                "Fit a sensor with a live zero (0.5 to 4.5 V with live_zero = true, or 4 to 20 mA), or give it a limit "
                "on the other side as well.",
            )
