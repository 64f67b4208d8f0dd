"""Does the rig file read what the bench has? Asked once, before any fault: a wrong scaling or a swapped channel shows.

In good running everything that is measured is compared with what is really there. This tells something only where the
bench is wired apart from the rig file; one that is worked out from it agrees with every mistake in it.
"""

from __future__ import annotations

from controller.config.measured import Measured
from controller.core.signals import Status
from controller.hardware import description as hw
from simulator.boards.physics import TAP, looked_at
from simulator.rehearsal.described import LOOKS_AT
from simulator.rehearsal.world import CannotStart, Level, Physical, World, allowed_a

SECONDS = 3.0
ELSE = 0.02  # of the true value, besides the stated error: what has moved since it was read
HZ = 1.0  # a meter counts one pulse more or less in its second


def disagreements(physical: Physical) -> tuple[str, ...]:
    """What is read and is not so, and why it does not start, in words. Empty when all agrees."""
    world = World(physical, Level.SIGNALS, seed=1, current_a=allowed_a(physical.rig))
    try:
        world.run_up()
    except CannotStart as refusal:
        return (*_compared(world), str(refusal))
    finally:
        world.close()
    return _compared(world)


def _compared(world: World) -> tuple[str, ...]:
    if world.guard is None:
        return ()
    signals, file = world.rig.core.signals, world.rig.file
    sources = dict(world.rig.hardware.signals)
    truth = world.behind.seen
    found = []
    for signal, value in zip(signals, world.guard.memory.values, strict=True):
        described = file.fitted[signal.name]
        of = f"{signal.name}_v" if TAP.fullmatch(f"{signal.name}_v") else LOOKS_AT.get(signal.name)
        if of is None or not isinstance(described, Measured):
            continue
        true = looked_at(truth, of)
        source = sources[signal.name]
        pulse = 60.0 * HZ / source.pulses_per_litre if isinstance(source, hw.PulseMeter | hw.CountedMeter) else 0.0
        allowed = max(described.whole_error, signal.error) + ELSE * abs(true) + pulse
        number = value.good_number if value.number is None else value.number
        unit = signal.unit
        if number is not None and abs(number - true) > allowed:
            found.append(
                f"{signal.name} reads {number:.4g} {unit}, and the bench has {true:.4g} {unit}: see its scaling, and "
                "which input or sensor it is"
            )
        elif value.number is None and value.status is not Status.FUNCTION_CHECK:
            found.append(f"{signal.name} is not read ({value.code.name.lower().replace('_', ' ')}), and should be")
    return tuple(found)
