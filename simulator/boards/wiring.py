"""The wiring file of a bench: which physical part sits on which pin. Read here, and checked, and nowhere else.

It is written apart from the rig file, from the parts themselves, so that a wrong scaling or a swapped pin in a rig file
shows in a rehearsal instead of cancelling out.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Discriminator, TypeAdapter, ValidationError

from simulator.instruments.parts import Part

SHIPPED = Path(__file__).resolve().parent.parent
_STRICT = ConfigDict(extra="forbid")


class WiringError(ValueError):
    """A wiring file that cannot be used. The text says where and why."""


@dataclass(frozen=True, slots=True)
class Travel:
    opens_in_s: float
    closes_in_s: float
    __pydantic_config__ = _STRICT


@dataclass(frozen=True, slots=True)
class Power:
    main: Travel
    watchdog_s: float
    seal_in: bool
    second: Travel | None = None
    __pydantic_config__ = _STRICT


@dataclass(frozen=True, slots=True)
class Output:
    """A pin that the Pi drives. `active` is the level at which the load runs."""

    pin: int
    active: Literal["high", "low"] = "high"
    behind_watchdog: bool = False  # fed through the watchdog relay
    full_scale_a: float = 0.0  # of a set-point given as pulse width
    __pydantic_config__ = _STRICT


@dataclass(frozen=True, slots=True)
class Converter:
    bus: int
    address: int
    supply_v: float
    inputs: tuple[Annotated[Part, Discriminator("part")], ...]
    clock_error: float = 0.0
    __pydantic_config__ = _STRICT

    @property
    def name(self) -> str:
        return f"converter {self.address:#04x}"


@dataclass(frozen=True, slots=True)
class Thermometer:
    signal: str
    id: str
    of: str
    lag_s: float = 0.0
    __pydantic_config__ = _STRICT


@dataclass(frozen=True, slots=True)
class Meter:
    signal: str
    pin: int
    of: str
    pulses_per_litre: float
    uneven: float = 0.0
    counter: str = ""  # file below /sys in which the kernel counts its pulses, if it does
    __pydantic_config__ = _STRICT


@dataclass(frozen=True, slots=True)
class Contact:
    """Closed to ground, against a pull-up. `of`: main, second, watchdog, stop_chain, button, or a quantity."""

    signal: str
    pin: int
    of: str
    closed_from: float | None = None  # in the quantity's unit
    closed_to: float | None = None
    __pydantic_config__ = _STRICT

    def closed(self, value: float) -> bool:
        above = self.closed_from is None or value >= self.closed_from
        return above and (self.closed_to is None or value <= self.closed_to)


@dataclass(frozen=True, slots=True)
class StopChain:
    thermostat_c: float
    __pydantic_config__ = _STRICT


def _pin_alone(value: Any) -> Any:
    return {"pin": value} if isinstance(value, int) else value


@dataclass(frozen=True, slots=True)
class Wiring:
    title: str
    power: Power
    pins: dict[str, Annotated[Output, BeforeValidator(_pin_alone)]]
    converter: tuple[Converter, ...] = ()
    thermometer: tuple[Thermometer, ...] = ()
    meter: tuple[Meter, ...] = ()
    contact: tuple[Contact, ...] = ()
    stop_chain: StopChain | None = None
    invented: bool = False
    __pydantic_config__ = _STRICT


_ADAPTER = TypeAdapter(Wiring)


def read_wiring(path: Path) -> Wiring:
    """Raises WiringError with file, line, key, and what is wrong."""
    try:
        text = path.read_text(encoding="utf-8")
        wiring = _ADAPTER.validate_python(tomllib.loads(text))
    except OSError as error:
        raise WiringError(f"{path}: {error.strerror}") from error
    except tomllib.TOMLDecodeError as error:
        raise WiringError(f"{path}: {error}") from error
    except ValidationError as error:
        first = min(error.errors(), key=lambda found: found["type"] != "unexpected_keyword_argument")  # a misspelt key
        key = ".".join(str(step) for step in first["loc"])
        line = _line_of(text, first["loc"])
        raise WiringError(f"{path} line {line}, {key}: {first['msg']}; found {first['input']!r}") from error
    _unique(path, wiring)
    return wiring


def shipped_wiring(name: str) -> Wiring:
    """`boathouse` or `minimal`."""
    return read_wiring(SHIPPED / f"{name}.wiring.toml")


def _unique(path: Path, wiring: Wiring) -> None:
    wired = [(name, output.pin) for name, output in wiring.pins.items()]
    wired += [(meter.signal, meter.pin) for meter in wiring.meter]
    wired += [(contact.signal, contact.pin) for contact in wiring.contact]
    taken: dict[int, str] = {}
    for name, pin in wired:
        if pin in taken:
            raise WiringError(f"{path}: pin {pin} is wired to {taken[pin]} and to {name}. Give each its own.")
        taken[pin] = name


def _line_of(text: str, loc: tuple[int | str, ...]) -> int:
    """The line of a key, or of the nearest thing around it that the file names. Good for files of plain tables."""
    keys = [str(step) for step in loc if isinstance(step, str)]
    index = next((step for step in loc if isinstance(step, int)), 0)
    lines = text.splitlines()
    headers = [n for n, line in enumerate(lines) if re.match(rf"\[+{re.escape(keys[0])}\]+", line.strip())]
    start = headers[min(index, len(headers) - 1)] if headers else 0
    for key in reversed(keys):
        for n in range(start, len(lines)):
            if n > start and headers and lines[n].startswith("["):
                break
            if re.search(rf"\b{re.escape(key)}\s*=", lines[n].partition("#")[0]):
                return n + 1
    return start + 1
