"""ADS1115 through the Adafruit library, bounded and proven.

The library polls for ever when the ready bit never comes, believes a bus stuck high (-1), and reads a silent 0 after a
brown-out. Here every transfer has a deadline and at most two retries, and a result counts only between two readings of
the configuration: the first says that the conversion is over, the second that the chip still had the one asked for.
Uses private methods of the library, whose version is therefore pinned.
"""

from __future__ import annotations

import errno
import math
from collections.abc import Callable, Sequence
from typing import Any

from adafruit_ads1x15 import ADS1115

from controller.core.signals import Code, Reading
from controller.hardware.description import PAIRS, Ads1115, Ads1115Channel
from controller.hardware.ports import Clock, I2CBus, Wait

RETRIES = 2  # of one transfer
EXTRA_S = 0.020  # of one scan of a chip, for retries and waiting
TRANSFERS_S = 0.002  # four of them at 100 kHz
READY = 0x8000
CONFIG_REGISTER = 1
GAIN_OF_FULL_SCALE = {6.144: 2 / 3, 4.096: 1, 2.048: 2, 1.024: 4, 0.512: 8, 0.256: 16}
POLLS = 12


class UnprovenError(OSError):
    """The chip answered, but not with a conversion that it can be held to."""

    def __init__(self, code: Code, text: str) -> None:
        super().__init__(errno.EIO, text)
        self.code = code


class BoundedBus:
    """A bus on which no transfer starts after the deadline, and a failed one is tried again at most twice."""

    def __init__(self, bus: I2CBus, clock: Clock, wait: Wait) -> None:
        self._bus, self._clock, self._wait = bus, clock, wait
        self._deadline_s = math.inf
        self.errors = 0

    def arm(self, seconds: float) -> None:
        self._deadline_s = self._clock() + seconds

    def _in_time(self) -> None:
        if self._clock() > self._deadline_s:
            raise TimeoutError(errno.ETIMEDOUT, "time for this chip is used up")

    def _bounded(self, transfer: Callable[..., None], *args: Any, **kwargs: Any) -> None:
        for retries_left in range(RETRIES, -1, -1):
            self._in_time()
            try:
                transfer(*args, **kwargs)
                return
            except OSError:
                self.errors += 1
                if not retries_left:
                    raise

    def try_lock(self) -> bool:
        if self._bus.try_lock():
            return True
        self._in_time()
        self._wait(0.0005)  # the library asks again at once: on a virtual clock time must pass
        return False

    def unlock(self) -> None:
        self._bus.unlock()

    def writeto(self, address: int, buffer: Any, **part: Any) -> None:
        self._bounded(self._bus.writeto, address, buffer, **part)

    def readfrom_into(self, address: int, buffer: Any, **part: Any) -> None:
        self._bounded(self._bus.readfrom_into, address, buffer, **part)

    def writeto_then_readfrom(self, address: int, out: Any, into: Any, **part: Any) -> None:
        self._bounded(self._bus.writeto_then_readfrom, address, out, into, **part)


class BoundedADS(ADS1115):
    """The library's ADS1115 with a read that ends, and that proves what it read."""

    def __init__(self, bus: BoundedBus, address: int, data_rate: int, wait: Wait) -> None:
        self._sent = 0
        self._wait = wait
        super().__init__(bus, address=address, data_rate=data_rate)

    def choose(self, full_scale_v: float) -> None:
        """Range of the next read. Without a transfer of its own: the read writes the whole configuration."""
        self.initialized = False
        self.gain = GAIN_OF_FULL_SCALE[full_scale_v]
        self.initialized = True

    def _write_register(self, reg: int, value: int) -> None:
        if reg == CONFIG_REGISTER:
            self._sent = value
        super()._write_register(reg, value)

    def _read(self, pin: int) -> int:
        self._write_config(pin)
        self._wait(1.0 / self.data_rate + 1e-4)
        pause_s = max(3e-4, 0.025 / self.data_rate)
        for _ in range(POLLS):
            if self._configuration() & READY:
                break
            self._wait(pause_s)
        else:
            raise UnprovenError(Code.TIMED_OUT, "conversion not over")
        code: int = self._conversion_value(self.get_last_result())
        if (config := self._configuration()) != self._sent:
            raise UnprovenError(Code.WRONG_CONFIGURATION, f"configuration {config:#06x}, sent {self._sent:#06x}")
        return code

    def _configuration(self) -> int:
        config: int = self._read_register(CONFIG_REGISTER)
        if config == 0x0000:
            raise UnprovenError(Code.ALL_ZERO, "bus reads all zeros")
        if config == 0xFFFF:
            raise UnprovenError(Code.BUS_ERROR, "bus reads all ones")
        return config


def code_of(error: OSError) -> Code:
    if isinstance(error, UnprovenError):
        return error.code
    return Code.TIMED_OUT if isinstance(error, TimeoutError) else Code.BUS_ERROR


class Converter:
    """One chip and its channels. `errors` counts failed transfers since the start, retried or not."""

    def __init__(
        self, chip: Ads1115, channels: Sequence[Ads1115Channel], bus: I2CBus, clock: Clock, wait: Wait
    ) -> None:
        self.chip = chip
        self._channels = tuple(channels)
        self._bus = BoundedBus(bus, clock, wait)
        self._clock, self._wait = clock, wait
        self._ads: BoundedADS | None = None
        self._code = 0  # of the last conversion
        self._known_code: int | None = None
        self._codes: set[int] = set()  # of the channels in this pass
        conversions = len(self._channels) + 2 * (chip.known is not None)
        self._budget_s = EXTRA_S + conversions * (1.3 / chip.data_rate + TRANSFERS_S)

    @property
    def errors(self) -> int:
        return self._bus.errors

    def read_once(self) -> tuple[Reading, ...]:
        """A new conversion of every channel, stamped with its start. Never raises, never longer than the budget."""
        self._bus.arm(self._budget_s)
        try:
            if self._ads is None:
                self._ads = BoundedADS(self._bus, self.chip.address, self.chip.data_rate, self._wait)
            if not self._known_is_right(self._ads):
                return self._all(Code.REFERENCE_WRONG)
        except ValueError:  # the library's word for an address that does not answer
            return self._all(Code.ABSENT)
        except OSError as error:
            self._ads = None  # made anew next time, which asks for the address: absent or merely disturbed
            return self._all(code_of(error))
        readings = tuple(self._read(self._ads, channel) for channel in self._channels)
        if self._codes == {self._known_code} and self._is_frozen(self._ads):
            return self._all(Code.REFERENCE_WRONG)
        return readings

    def _is_frozen(self, ads: BoundedADS) -> bool:
        """Every channel gave the very code of the known voltage: through another range it must give another one.

        A result register that stopped while it held the known voltage passes for it, and for a number on each channel.
        """
        known = self.chip.known
        assert known is not None
        other_v = 4.096 if known.full_scale_v == 6.144 else 6.144
        try:
            self._volts(ads, known.positive, None, other_v)
        except OSError:
            return True
        return self._code == self._known_code

    def _known_is_right(self, ads: BoundedADS) -> bool:
        known = self.chip.known
        if known is None:
            return True
        volts = self._volts(ads, known.positive, None, known.full_scale_v)
        self._known_code = self._code
        self._codes.clear()
        return abs(volts - known.volts) <= known.tolerance * known.volts

    def _read(self, ads: BoundedADS, channel: Ads1115Channel) -> Reading:
        stamp_s = self._clock()
        try:
            volts = self._volts(ads, channel.positive, channel.negative, channel.full_scale_v)
        except OSError as error:
            return Reading(None, stamp_s, code_of(error))
        number, code = channel.scale(volts)
        return Reading(number, stamp_s, code)

    def _volts(self, ads: BoundedADS, positive: int, negative: int | None, full_scale_v: float) -> float:
        ads.choose(full_scale_v)
        mux = 4 + positive if negative is None else PAIRS.index((positive, negative))
        self._code = ads.read(mux)
        self._codes.add(self._code)
        return float(self._code) * full_scale_v / 32768.0

    def _all(self, code: Code) -> tuple[Reading, ...]:
        stamp_s = self._clock()
        return tuple(Reading(None, stamp_s, code) for _ in self._channels)
