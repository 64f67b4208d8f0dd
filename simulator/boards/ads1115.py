"""Register model of an ADS1115, after its datasheet (TI SBAS444D): what the bus sees, and when a result is there."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

FULL_SCALE_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256)
DATA_RATE = (8, 16, 32, 64, 128, 250, 475, 860)
MUX: tuple[tuple[int, int | None], ...] = (
    (0, 1), (0, 3), (1, 3), (2, 3), (0, None), (1, None), (2, None), (3, None)
)  # fmt: skip
RESET_CONFIG = 0x8583
OS, SINGLE = 0x8000, 0x0100
CONVERSION, CONFIG, LOW, HIGH = range(4)

# What a converter can do wrong, and what `amount` means.
CHIP_FAULTS = {
    "absent": "does not answer its address",
    "never_ready": "the conversion never ends",
    "all_zeros": "reads as if the data line were shorted low",
    "all_ones": "reads as if nobody drove the data line",
    "mux_stuck": "always converts the input it last converted",
    "frozen": "after so many conversions more, it shows the same result for ever and says that it is new",
    "reference": "factor on its voltage reference",
    "brown_out": "loses its registers once, in the middle of the next conversion",
}

Volts = Callable[[int], float]  # at an input, now


class Chip(Protocol):
    """Something on an I2C bus. Both raise OSError where a real one would not acknowledge."""

    def write(self, data: bytes) -> None: ...
    def read(self, count: int) -> bytes: ...


class Ads1115Chip:
    """`clock_error` is the share by which its own clock is slow (datasheet: within 10 %)."""

    def __init__(
        self, volts: Volts, clock: Callable[[], float], supply_v: float = 3.3, clock_error: float = 0.0
    ) -> None:
        self._volts, self._clock = volts, clock
        self._supply_v = supply_v
        self.clock_error = clock_error
        self.fault: str = ""
        self.amount = 1.0
        self.power_on()

    def power_on(self) -> None:
        self._pointer = CONVERSION
        self._result = 0
        self._config = RESET_CONFIG & ~OS
        self._low, self._high = 0x8000, 0x7FFF
        self._under_way = (0, 2)  # mux and gain of the conversion that is going on
        self._done_s: float | None = None  # when it ends

    # --- what the bus sees

    def write(self, data: bytes) -> None:
        self._catch_up()
        if not data:
            return  # a probe of the address
        self._pointer = data[0] & 3
        if len(data) < 3:
            return  # a register is taken over with its second byte
        word = data[1] << 8 | data[2]
        if self._pointer == CONFIG:
            self._config = word & ~OS
            if self._done_s is None and (word & OS or not word & SINGLE):
                self._begin(self._clock())
        elif self._pointer == LOW:
            self._low = word
        elif self._pointer == HIGH:
            self._high = word

    def read(self, count: int) -> bytes:
        self._catch_up()
        idle = self._config & SINGLE and self._done_s is None
        word = (self._result, self._config | (OS if idle else 0), self._low, self._high)[self._pointer]
        if self.fault == "all_zeros":
            word = 0
        elif self.fault == "all_ones":
            return b"\xff" * count
        return word.to_bytes(2, "big")[:count].ljust(count, b"\xff")

    # --- inside

    def _period_s(self) -> float:
        return (1.0 + self.clock_error) / DATA_RATE[self._config >> 5 & 7]

    def _begin(self, at_s: float) -> None:
        mux, gain = self._config >> 12 & 7, self._config >> 9 & 7
        self._under_way = (self._under_way[0] if self.fault == "mux_stuck" else mux, gain)
        self._done_s = at_s + self._period_s()

    def _catch_up(self) -> None:
        now_s = self._clock()
        if self.fault == "never_ready":
            return
        if self.fault == "brown_out" and self._done_s is not None:
            self.fault = ""
            self.power_on()
        while self._done_s is not None and now_s >= self._done_s:
            done_s, self._done_s = self._done_s, None
            self._convert()
            if not self._config & SINGLE:
                self._begin(done_s)

    def _convert(self) -> None:
        if self.fault == "frozen":
            if self.amount < 1.0:
                return
            self.amount -= 1.0
        self._result = self._sample()

    def _sample(self) -> int:
        mux, gain = self._under_way
        positive, negative = MUX[mux]
        volts = self._pin(positive) - (0.0 if negative is None else self._pin(negative))
        if self.fault == "reference":
            volts *= self.amount
        return max(-32768, min(32767, round(volts / FULL_SCALE_V[gain] * 32768))) & 0xFFFF

    def _pin(self, at: int) -> float:
        """The protection diodes end what a pin can carry: a stuck input never reaches full scale at 4.096 V."""
        return max(-0.3, min(self._supply_v, self._volts(at)))
