"""The whole library by name, and which faults a given bench can have."""

from __future__ import annotations

from difflib import get_close_matches

from simulator.boards.wiring import Wiring
from simulator.faults import breakers, computing, instruments, plant
from simulator.faults.kinds import FaultKind, Fits

LIBRARY: dict[str, FaultKind] = {
    kind.name: kind for table in (plant, instruments, breakers, computing) for kind in table.FAULTS
}


def fault_kind(name: str) -> FaultKind:
    """Raises ValueError with the nearest known names."""
    try:
        return LIBRARY[name]
    except KeyError:
        near = get_close_matches(name, LIBRARY, n=3) or sorted(LIBRARY)
        raise ValueError(f"no fault {name!r}; did you mean {' or '.join(near[:3])}?") from None


def parts_for(wiring: Wiring, fits: Fits) -> tuple[str, ...]:
    """The parts of a bench that a fault of this fit can be put on."""
    analogue = tuple(p.signal for c in wiring.converter for p in c.inputs if p.of)
    thermometers = tuple(t.signal for t in wiring.thermometer)
    return {
        Fits.NOTHING: (),
        Fits.ANALOGUE: analogue,
        Fits.MEASURED: analogue + thermometers,
        Fits.THERMOMETER: thermometers,
        Fits.METER: tuple(m.signal for m in wiring.meter),
        Fits.CONTACT: tuple(c.signal for c in wiring.contact if c.of not in ("button", "main", "second", "watchdog")),
        Fits.CONVERTER: tuple(c.name for c in wiring.converter),
        Fits.BUS: tuple(f"bus {number}" for number in sorted({c.bus for c in wiring.converter})),
    }[fits]
