"""What a rig file says of its converters and of each signal: one model for each kind of sensor.

A number in the signal's own unit has its plain name here (`error`); `units` says how it is written (`error_mbar`).
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from controller.config.basics import Level, Name, NotNegative, Number, Pin, Positive, Pull, Table, Text

Input = Annotated[int, Field(ge=0, le=3, description="input of the converter, 0 to 3")]


class Reference(Table):
    """A voltage that is known beforehand, on an input of its own."""

    input: Input
    volts_V: Positive
    range_V: float = Field(default=4.096, description="converter range for it, V")
    tolerance_percent: float = Field(default=1.0, gt=0.0, le=5.0)


class Ads1115(Table):
    bus: int = Field(default=1, ge=0, le=20, description="number of the I2C bus")
    address: int = Field(description="0x48, 0x49, 0x4a or 0x4b")
    supply_V: float = Field(ge=2.0, le=5.5, description="what the chip runs from, V: no input may be higher")
    data_rate_per_s: int = Field(default=860, description="conversions a second: 8, 16, 32, 64, 128, 250, 475 or 860")
    reference: Reference | None = None


class NotFitted(Table):
    """Something that the rig does not have, and why that is bearable while somebody stands beside it."""

    fitted: Literal[False]
    because: Text = Field(description="why it is missing and what stands in for it")


class SignalTable(Table):
    """What all signals have."""

    title: Name | None = None
    quantity: str | None = Field(
        default=None, description="current, voltage, temperature, pressure, flow, gas share, ..."
    )
    fitted: Literal[True] = True


class Measured(SignalTable):
    range_low: Number = Field(description="least that the instrument can mean")
    range_high: Number = Field(description="most that the instrument can mean")
    error: NotNegative = Field(description="largest error of the whole chain")
    normal: Number | None = Field(default=None, description="value in good running")
    filter_s: float = Field(default=0.0, ge=0.0, le=10.0, description="time constant of a low-pass filter, s")
    step: Positive | None = Field(default=None, description="largest believable change between two samples")
    rate: NotNegative | None = Field(default=None, description="and how much faster it may be, a second")

    @property
    def zero_error(self) -> float:
        """Largest error at rest, in the signal's unit, with what its surroundings add."""
        return self.error

    @property
    def whole_error(self) -> float:
        """The same at its normal reading."""
        return self.error


class TwoPoints(Table):
    """A straight line through two measured points."""

    at_V: list[Number] = Field(min_length=2, max_length=2, description="two voltages at the converter")
    means: list[Number] = Field(min_length=2, max_length=2, description="what the signal is at them")
    live_zero: bool = Field(
        default=False, description="true: a healthy sensor never reaches either rail, so a rail is a fault"
    )


class Loop(Table):
    """4 to 20 mA over a resistor."""

    ohm: Positive
    means: list[Number] = Field(min_length=2, max_length=2, description="the signal at 4 mA and at 20 mA")


class Divider(Table):
    top_ohm: Positive
    bottom_ohm: Positive


class Thermistor(Table):
    pull_up_ohm: Positive
    ohm_at_25_C: Positive
    beta_K: float = Field(ge=1000.0, le=10000.0)


class Platinum(Table):
    pull_up_ohm: Positive
    ohm_at_0_C: Positive = 1000.0


class SteinhartHart(Table):
    """A thermistor by its three coefficients: half a kelvin better than beta near freezing."""

    pull_up_ohm: Positive
    a: float = Field(gt=0.0, lt=0.1)
    b: float = Field(gt=0.0, lt=0.1)
    c: float = Field(gt=0.0, lt=0.1)


class Hall(Table):
    """A ratiometric Hall sensor: at no current it gives half its rail, and that half moves with the rail.

    All volts are those at the converter. Read against half of the same rail (minus), a sagging rail moves no zero; read
    against ground, what it moves is added to the error of the signal. The gain goes with the rail either way.
    """

    V_per_A: Positive
    rail_V: Positive = Field(description="rail of the sensor as it would read at the converter, V")
    rail_error_percent: float = Field(
        default=5.0, ge=0.0, le=20.0, description="how far the rail may be off while nobody measures it, percent"
    )


class Supervised(Table):
    """A contact with an end-of-line resistor."""

    closed_V: NotNegative
    open_V: NotNegative


class Channel(Measured):
    """A channel of an ADS1115. Exactly one of the scalings."""

    sensor: Literal["ADS1115"]
    converter: Name = Field(description="name of a table under [converters]")
    plus: Input
    minus: Input | None = Field(default=None, description="second input of a differential channel; else against ground")
    range_V: float = Field(description="converter range: 6.144, 4.096, 2.048, 1.024, 0.512 or 0.256 V")
    middle_V: float | None = Field(
        default=None, ge=-10.0, le=100.0, description="volts of the minus input against ground"
    )
    isolated: bool = Field(
        default=False, description="true: an isolating amplifier stands between the cell and the converter"
    )
    V_per_A: Positive | None = Field(
        default=None, description="shunt, V at the converter for each A, its amplifier included if it has one"
    )
    hall: Hall | None = None
    V_per_V: Positive | None = Field(default=None, description="amplifier, V at the converter for each V at the cell")
    divider: Divider | None = None
    two_points: TwoPoints | None = None
    loop: Loop | None = None
    thermistor: Thermistor | None = None
    steinhart_hart: SteinhartHart | None = None
    platinum: Platinum | None = None
    mounted: Literal["dry well", "outside plastic", "return hose"] = "dry well"

    @property
    def zero_error(self) -> float:
        """As stated; for a Hall sensor read against ground also what its rail moves, A: half of that is its zero."""
        if self.hall is None or self.minus is not None:
            return self.error
        return self.error + self.hall.rail_V / 2.0 * self.hall.rail_error_percent / 100.0 / self.hall.V_per_A

    @property
    def whole_error(self) -> float:
        """With what its rail moves at the normal reading: the gain of a Hall sensor goes with its rail as well."""
        rail_percent = 0.0 if self.hall is None else self.hall.rail_error_percent
        return self.zero_error + rail_percent / 100.0 * abs(self.normal or 0.0)


class SupervisedChannel(SignalTable):
    sensor: Literal["supervised contact"]
    converter: Name
    plus: Input
    range_V: float
    supervised: Supervised


class Ds18b20(Measured):
    sensor: Literal["DS18B20"]
    id: Name = Field(description="28- and the number of the sensor in small hex")
    range_low: Number = -20.0
    range_high: Number = 125.0
    error: NotNegative = 0.5
    mounted: Literal["dry well", "outside plastic", "return hose"] = "dry well"


class PulseMeter(Measured):
    sensor: Literal["pulse meter"]
    pin: Pin
    pull: Pull = "up"
    pulses_per_L: Positive
    least_L_min: Positive = Field(description="below this the meter stands still, L/min")
    shortest_pulse_s: float = Field(default=0.001, gt=0.0, le=1.0, description="shorter pulses are noise, s")


class KernelCounter(Measured):
    """A flow meter on a counter of the kernel, which misses no pulse."""

    sensor: Literal["kernel counter"]
    path: Name = Field(description="its count below /sys: bus/counter/devices/counter0/count0/count")
    width_bits: int = Field(default=32, ge=8, le=64, description="bits of the counter until it wraps")
    pulses_per_L: Positive
    least_L_min: Positive = Field(description="below this the meter stands still, L/min")


class Switch(SignalTable):
    sensor: Literal["switch"]
    pin: Pin
    pull: Pull = "up"
    proven_when: Level = Field(
        default="low", description="level of the pin while all is well; a broken wire must not give it"
    )


class ControllerSupply(SignalTable):
    sensor: Literal["controller supply"]


class ControllerTemperature(Measured):
    sensor: Literal["controller temperature"]
    range_low: Number = -20.0
    range_high: Number = 110.0
    error: NotNegative = 2.0


class Spread(Measured):
    """Worked out from other signals of one quantity: the largest less the smallest."""

    sensor: Literal["spread"]
    of: list[Name] = Field(min_length=2, max_length=8, description="names of signals: taps of single cells, say")
    range_low: Number = 0.0


class Sum(Measured):
    """Worked out from other signals: so many times each, added up. The stack's volts less what its curve has, say."""

    sensor: Literal["sum"]
    of: dict[Name, Number] = Field(min_length=1, max_length=8, description="a factor for each signal, by name")
    offset: Number = 0.0


SENSORS: dict[str, type[Table]] = {
    "ADS1115": Channel,
    "supervised contact": SupervisedChannel,
    "DS18B20": Ds18b20,
    "pulse meter": PulseMeter,
    "kernel counter": KernelCounter,
    "switch": Switch,
    "controller supply": ControllerSupply,
    "controller temperature": ControllerTemperature,
    "spread": Spread,
    "sum": Sum,
}
NOT_FITTED = "not fitted"
NO_SENSOR = "no sensor"


class NoSensor(SignalTable):
    sensor: Literal["ADS1115", "supervised contact", "DS18B20", "pulse meter", "kernel counter", "switch",
                    "controller supply", "controller temperature", "spread", "sum"]  # fmt: skip


def sensor_of(signal: Any) -> str:
    """Which model a signal is judged by."""
    if isinstance(signal, dict):
        if signal.get("fitted") is False:
            return NOT_FITTED
        sensor = signal.get("sensor")
    else:
        if isinstance(signal, NotFitted):
            return NOT_FITTED
        sensor = getattr(signal, "sensor", None)
    return sensor if isinstance(sensor, str) and sensor in SENSORS else NO_SENSOR


Fitted = (
    Channel
    | SupervisedChannel
    | Ds18b20
    | PulseMeter
    | KernelCounter
    | Switch
    | ControllerSupply
    | ControllerTemperature
    | Spread
    | Sum
)
Signal = Annotated[
    Annotated[Channel, Tag("ADS1115")]
    | Annotated[SupervisedChannel, Tag("supervised contact")]
    | Annotated[Ds18b20, Tag("DS18B20")]
    | Annotated[PulseMeter, Tag("pulse meter")]
    | Annotated[KernelCounter, Tag("kernel counter")]
    | Annotated[Switch, Tag("switch")]
    | Annotated[ControllerSupply, Tag("controller supply")]
    | Annotated[ControllerTemperature, Tag("controller temperature")]
    | Annotated[Spread, Tag("spread")]
    | Annotated[Sum, Tag("sum")]
    | Annotated[NotFitted, Tag(NOT_FITTED)]
    | Annotated[NoSensor, Tag(NO_SENSOR)],
    Discriminator(sensor_of),
]
