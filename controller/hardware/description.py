"""What is plugged in where: frozen, made once from the rig file, refused here when it could not be safe.

A refusal is a ValueError whose text says what is wrong and what would be right; the reader of the rig file adds where.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.core.outputs import PINS
from controller.hardware.scales import Scale

FULL_SCALES_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256)
DATA_RATES = (8, 16, 32, 64, 128, 250, 475, 860)
PAIRS = ((0, 1), (0, 3), (1, 3), (2, 3))

# At reset GPIO 0 to 8 are pulled up, 9 to 27 down (BCM2835 ARM peripherals, p. 102); 14, the console, toggles at boot.
FREE_AT_RESET = frozenset(range(9, 28)) - {14, 15}
KERNEL_PINS = {2: "I2C data", 3: "I2C clock"}


@dataclass(frozen=True, slots=True)
class KnownVoltage:
    """A channel with a voltage that is known beforehand: what shows a stuck bus, a drifting reference, a lost rail."""

    positive: int
    volts: float
    full_scale_v: float
    tolerance: float = 0.01


@dataclass(frozen=True, slots=True)
class Ads1115:
    bus: int
    address: int
    data_rate: int = 860
    known: KnownVoltage | None = None

    def __post_init__(self) -> None:
        if self.address not in (0x48, 0x49, 0x4A, 0x4B):
            raise ValueError(f"address {self.address:#04x} is not one of an ADS1115. Give 0x48, 0x49, 0x4a or 0x4b.")
        if self.data_rate not in DATA_RATES:
            raise ValueError(f"data rate {self.data_rate} is not one of an ADS1115. Give one of {DATA_RATES}.")

    @property
    def device(self) -> str:
        return f"converter {self.address:#04x} on bus {self.bus}"


@dataclass(frozen=True, slots=True)
class Ads1115Channel:
    chip: Ads1115
    positive: int
    full_scale_v: float
    scale: Scale
    negative: int | None = None  # None: against ground

    def __post_init__(self) -> None:
        if self.full_scale_v not in FULL_SCALES_V:
            raise ValueError(f"full scale {self.full_scale_v} V is not one of an ADS1115. Give one of {FULL_SCALES_V}.")
        if self.negative is None and self.positive not in range(4):
            raise ValueError(f"input {self.positive} is not one of an ADS1115. Give 0 to 3.")
        if self.negative is not None and (self.positive, self.negative) not in PAIRS:
            raise ValueError(f"inputs {self.positive} and {self.negative} are no pair. Give one of {PAIRS}.")

    @property
    def device(self) -> str:
        return self.chip.device


@dataclass(frozen=True, slots=True)
class Ds18b20:
    sensor_id: str  # 28-...
    step_c: float = 0.5  # the largest believable change between two readings, besides the rate
    rate_c_per_s: float = 0.1

    def __post_init__(self) -> None:
        family, _, serial = self.sensor_id.partition("-")
        if family != "28" or len(serial) != 12 or set(serial) - set("0123456789abcdef"):  # as the kernel names it
            raise ValueError(
                f"{self.sensor_id!r} is not the name of a DS18B20. Give 28- and its number, twelve small hex digits; "
                "lyewatch find shows it."
            )

    @property
    def device(self) -> str:
        return "1-Wire bus"


@dataclass(frozen=True, slots=True)
class PulseMeter:
    pin: int
    pulses_per_litre: float
    least_l_min: float  # below this the meter is not to be believed: zero
    most_l_min: float  # above this no flow made the pulses
    least_width_s: float = 0.001  # shorter pulses are noise
    pull: str = "up"

    def __post_init__(self) -> None:
        _input_pin(self.pin, self.pull)
        if not 0.0 < self.least_l_min < self.most_l_min:
            raise ValueError(f"least {self.least_l_min} and most {self.most_l_min} L/min: give 0 < least < most.")
        half_period_s = 30.0 / (self.most_l_min * self.pulses_per_litre)
        if self.least_width_s > half_period_s / 1.5:
            raise ValueError(
                f"pulses shorter than {self.least_width_s * 1e3:g} ms are taken for noise, but at "
                f"{self.most_l_min:g} L/min they last {half_period_s * 1e3:.2g} ms. Give less than two thirds of that."
            )

    @property
    def device(self) -> str:
        return f"pin {self.pin}"


@dataclass(frozen=True, slots=True)
class CountedMeter:
    """A flow meter on a counter of the kernel. `path` is its count below /sys."""

    path: str  # bus/counter/devices/counter0/count0/count
    width_bits: int
    pulses_per_litre: float
    least_l_min: float
    most_l_min: float

    def __post_init__(self) -> None:
        if not 8 <= self.width_bits <= 64:
            raise ValueError(f"a counter of {self.width_bits} bits cannot be told from its wraps. Give 8 to 64.")
        if not 0.0 < self.least_l_min < self.most_l_min:
            raise ValueError(f"least {self.least_l_min} and most {self.most_l_min} L/min: give 0 < least < most.")

    @property
    def device(self) -> str:
        return "counter"


@dataclass(frozen=True, slots=True)
class Switch:
    """A contact on a pin. `proven_when` is the level ("low" or "high") that a broken wire cannot give."""

    pin: int
    pull: str = "up"
    proven_when: str = "low"

    def __post_init__(self) -> None:
        _input_pin(self.pin, self.pull)
        broken_gives = {"up": "high", "down": "low"}.get(self.pull)
        if self.proven_when not in ("low", "high"):
            raise ValueError(f"proven_when is {self.proven_when!r}. Give low or high.")
        if self.proven_when == broken_gives:
            raise ValueError(
                f"pin {self.pin} with a pull {self.pull} reads {broken_gives} when the wire breaks, so "
                f"{self.proven_when} proves nothing. Wire the contact so that it is closed when all is well."
            )

    @property
    def device(self) -> str:
        return f"pin {self.pin}"


@dataclass(frozen=True, slots=True)
class SupplyGood:
    """The Pi's own supply: 1 while it has not sagged, 0 while the under-voltage flag stands."""

    @property
    def device(self) -> str:
        return "controller"


@dataclass(frozen=True, slots=True)
class CoreTemperature:
    """The Pi's own processor, in C."""

    @property
    def device(self) -> str:
        return "controller"


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """A signal made from other signals of the same rig: so many times each, or the largest less the smallest."""

    of: tuple[str, ...]
    factors: tuple[float, ...] = ()  # none: largest less smallest
    offset: float = 0.0

    @property
    def device(self) -> str:
        return "worked out"

    def __call__(self, numbers: Sequence[float]) -> float:
        if not self.factors:
            return max(numbers) - min(numbers)
        return sum(f * n for f, n in zip(self.factors, numbers, strict=True)) + self.offset


Source = Ads1115Channel | Ds18b20 | PulseMeter | CountedMeter | Switch | SupplyGood | CoreTemperature | WorkedOut


@dataclass(frozen=True, slots=True)
class OutputPin:
    """An output whose safe state is what the wiring gives with the pin low: that is all a dead Pi can do."""

    pin: int
    active_high: bool = True
    safe_on: bool = False

    def __post_init__(self) -> None:
        if self.pin not in FREE_AT_RESET:
            why = "it is pulled up, or toggles, while the Pi boots"
            raise ValueError(f"pin {self.pin} cannot be an output: {why}. Give one of 9 to 13 or 16 to 27.")
        if self.safe_on == self.active_high:
            sense, state = ("high", "on") if self.active_high else ("low", "off")
            raise ValueError(
                f"pin {self.pin} switches on when {sense}, and should be {state} when the Pi is dead and the pin low. "
                f"Use a driver that is {'off' if state == 'off' else 'on'} when its input is low."
            )


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """The pin whose edges hold the watchdog relay."""

    pin: int

    def __post_init__(self) -> None:
        OutputPin(self.pin)


@dataclass(frozen=True, slots=True)
class SetPoint:
    """Asked current as pulse width; the interface must give 0 V when the pulses stop, high or low."""

    pin: int
    full_scale_a: float
    frequency_hz: float = 500.0

    def __post_init__(self) -> None:
        OutputPin(self.pin)
        if self.full_scale_a <= 0.0:
            raise ValueError(f"full scale is {self.full_scale_a} A; it must be positive")


@dataclass(frozen=True, slots=True)
class Hardware:
    """Everything that is opened at start. Names of outputs are those of the core's table."""

    signals: tuple[tuple[str, Source], ...]  # in the order of the rig's signals
    outputs: tuple[tuple[str, OutputPin], ...] = ()
    heartbeat: Heartbeat | None = None
    set_point: SetPoint | None = None
    main_contact: Switch | None = None
    second_contact: Switch | None = None
    relay_contact: Switch | None = None
    buttons: tuple[tuple[str, Switch], ...] = ()

    def __post_init__(self) -> None:
        for name, _ in self.outputs:
            if name not in PINS:
                raise ValueError(f"no output {name!r}. Known: {', '.join(PINS)}.")
        taken: dict[int, str] = dict(KERNEL_PINS)
        if any(isinstance(source, Ds18b20) for _, source in self.signals):
            taken[4] = "1-Wire"
        for name, pin in self._pins():
            if pin in taken:
                raise ValueError(f"pin {pin} is asked for by {name} and by {taken[pin]}. Give each its own.")
            taken[pin] = name

    def _pins(self) -> list[tuple[str, int]]:
        pins = [(name, s.pin) for name, s in self.signals if isinstance(s, PulseMeter | Switch)]
        pins += [(name, out.pin) for name, out in self.outputs]
        pins += [(name, button.pin) for name, button in self.buttons]
        named = {
            "the watchdog's edge": self.heartbeat,
            "the set-point": self.set_point,
            "the main contact": self.main_contact,
            "the second contact": self.second_contact,
            "the relay contact": self.relay_contact,
        }
        return pins + [(name, part.pin) for name, part in named.items() if part is not None]


def _input_pin(pin: int, pull: str) -> None:
    if pin not in range(28):
        raise ValueError(f"pin {pin} is not on the header. Give a BCM number from 0 to 27.")
    if pull not in ("up", "down", "none"):
        raise ValueError(f"pull is {pull!r}. Give up, down or none.")
