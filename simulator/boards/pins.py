"""The header's pins, seen from both sides: what a process claims, and what the wires carry.

Pulls, edges with the time they happened, and what becomes of an output when its process dies: a Raspberry Pi kernel
keeps the level unless told otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

Edge = Callable[[float, bool], None]  # when, and the new level
PINS = 28


class PinBackend(Protocol):
    """The few things a pin library does."""

    def claim_in(self, pin: int, pull: str) -> None: ...
    def claim_out(self, pin: int, level: bool) -> None: ...
    def read(self, pin: int) -> bool: ...
    def write(self, pin: int, level: bool) -> None: ...
    def pulse_width(self, pin: int, share: float) -> None: ...
    def watch(self, pin: int, seen: Edge) -> None: ...
    def unwatch(self, pin: int) -> None: ...


@dataclass(slots=True)
class _Pin:
    pull: str  # up, down, floating
    out: bool = False
    latch: bool = False  # what an output drives
    share: float = 0.0  # of the time that it is high, if it gives pulses
    wire: bool | None = None  # what the other end drives; None: nothing
    held: bool | None = None  # a fault: shorted to a rail
    seen: Edge | None = None
    deaf: bool = False  # a fault: edges are lost

    def level(self) -> bool:
        if self.held is not None:
            return self.held
        if self.out:
            return self.latch
        return self.pull == "up" if self.wire is None else self.wire


class PinBoard:
    """All pins. `keeps_outputs` is the kernel's policy when the process that drives them dies."""

    def __init__(self, clock: Callable[[], float], keeps_outputs: bool = True) -> None:
        self._clock = clock
        self.keeps_outputs = keeps_outputs
        self.changed: Callable[[int, bool, float], None] = lambda pin, level, at_s: None
        self._pins: dict[int, _Pin] = {}
        self.power_on()

    def power_on(self) -> None:
        """As the header wakes up: GPIO 0 to 8 pulled up, the others down (BCM2835 ARM peripherals, p. 102)."""
        self._pins = {pin: _Pin("up" if pin <= 8 else "down") for pin in range(PINS)}

    # --- the process's side

    def claim_in(self, pin: int, pull: str) -> None:
        with_change = self._pins[pin]
        before = with_change.level()
        with_change.out, with_change.pull, with_change.share = False, pull, 0.0
        self._tell(pin, before, self._clock())

    def claim_out(self, pin: int, level: bool) -> None:
        claimed = self._pins[pin]
        before = claimed.level()
        claimed.out, claimed.latch = True, level
        self._tell(pin, before, self._clock())

    def read(self, pin: int) -> bool:
        return self._pins[pin].level()

    def write(self, pin: int, level: bool) -> None:
        written = self._pins[pin]
        before = written.level()
        written.latch = level
        if written.level() is not before:
            self._tell(pin, before, self._clock())

    def pulse_width(self, pin: int, share: float) -> None:
        self._pins[pin].share = share

    def watch(self, pin: int, seen: Edge) -> None:
        self._pins[pin].seen = seen

    def unwatch(self, pin: int) -> None:
        self._pins[pin].seen = None

    def process_died(self) -> None:
        """The kernel closes what the process had open."""
        for pin, released in self._pins.items():
            released.seen = None
            released.share = 0.0  # pulses stop, whatever level the pin stays at
            if released.out and not self.keeps_outputs:
                self.claim_in(pin, "floating")

    # --- the wires' side

    def drive(self, pin: int, level: bool | None, at_s: float) -> None:
        """The other end of the wire: low, high, or nothing (a broken wire)."""
        driven = self._pins[pin]
        before = driven.level()
        driven.wire = level
        self._tell(pin, before, at_s)

    def hold(self, pin: int, level: bool | None) -> None:
        """A short to a rail, or its end."""
        held = self._pins[pin]
        before = held.level()
        held.held = level
        self._tell(pin, before, self._clock())

    def lose_edges(self, pin: int, lost: bool) -> None:
        self._pins[pin].deaf = lost

    def share(self, pin: int) -> float:
        return self._pins[pin].share if self._pins[pin].out else 0.0

    def _tell(self, pin: int, before: bool, at_s: float) -> None:
        changed = self._pins[pin]
        level = changed.level()
        if level is before:
            return
        self.changed(pin, level, at_s)
        if changed.seen is not None and not changed.deaf:
            changed.seen(at_s, level)
