"""gpiozero on emulated pins: the same library classes as on a Pi, on a backend in this process or behind a socket."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any

from gpiozero import PinInvalidFunction, PinSetInput
from gpiozero.pins.pi import PiFactory, PiPin

from simulator.boards.pins import PinBackend

PI_4B = 0xC03114


class SimPin(PiPin):  # type: ignore[misc] # the library is not typed
    def __init__(self, factory: SimFactory, info: Any) -> None:
        super().__init__(factory, info)
        self._out = False
        self._pull = info.pull or "floating"
        self._edges = "both"
        self._bounce: float | None = None
        self._frequency: float | None = None
        self._share = 0.0
        self._backend = factory.backend
        self._backend.claim_in(self._number, self._pull)

    def close(self) -> None:
        self.when_changed = None
        self._out, self._frequency = False, None
        with suppress(OSError):  # when the bench went first there is nothing left to give back
            self._backend.claim_in(self._number, "floating")

    def output_with_state(self, state: Any) -> None:
        self._out = True
        self._backend.claim_out(self._number, bool(state))

    def _get_function(self) -> str:
        return "output" if self._out else "input"

    def _set_function(self, value: str) -> None:
        if value not in ("input", "output"):
            raise PinInvalidFunction(f"invalid function {value!r} for pin {self!r}")
        self._out = value == "output"
        if self._out:
            self._backend.claim_out(self._number, False)
        else:
            self._backend.claim_in(self._number, self._pull)

    def _get_state(self) -> float | bool:
        return self._backend.read(self._number) if self._frequency is None else self._share

    def _set_state(self, value: Any) -> None:
        if not self._out:
            raise PinSetInput(f"cannot set state of pin {self!r}")
        if self._frequency is None:
            self._backend.write(self._number, bool(value))
        else:
            self._share = float(value)
            self._backend.pulse_width(self._number, self._share)

    def _get_pull(self) -> str:
        return self._pull

    def _set_pull(self, value: str) -> None:
        self._pull = value
        if not self._out:
            self._backend.claim_in(self._number, value)

    def _get_frequency(self) -> float | None:
        return self._frequency

    def _set_frequency(self, value: float | None) -> None:
        self._frequency = value
        self._share = 0.0
        self._backend.pulse_width(self._number, 0.0)

    def _get_bounce(self) -> float | None:
        return self._bounce

    def _set_bounce(self, value: float | None) -> None:
        self._bounce = value

    def _get_edges(self) -> str:
        return self._edges

    def _set_edges(self, value: str) -> None:
        self._edges = value

    def _enable_event_detect(self) -> None:
        self._backend.watch(self._number, self._seen)

    def _disable_event_detect(self) -> None:
        with suppress(OSError):
            self._backend.unwatch(self._number)

    def _seen(self, at_s: float, level: bool) -> None:
        if self._edges == "both" or level == (self._edges == "rising"):
            self._call_when_changed(at_s, int(level))


class SimFactory(PiFactory):  # type: ignore[misc]
    """A pin factory whose pins are the backend's."""

    def __init__(self, backend: PinBackend, clock: Callable[[], float], revision: int = PI_4B) -> None:
        super().__init__()
        self.backend = backend
        self.pin_class = SimPin
        self._clock = clock
        self._revision = revision

    def _get_revision(self) -> int:
        return self._revision

    def ticks(self) -> float:
        return self._clock()

    def ticks_diff(self, later: float, earlier: float) -> float:
        return later - earlier
