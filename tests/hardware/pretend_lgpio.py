"""The part of lgpio that gpiozero uses, on emulated pins: so that gpiozero's own lgpio path runs without a Pi."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType

from simulator.boards.pins import PinBoard

RISING_EDGE, FALLING_EDGE, BOTH_EDGES = 1, 2, 3
SET_PULL_UP, SET_PULL_DOWN, SET_PULL_NONE = 32, 64, 128
IS_OUT, IS_UP, IS_DOWN, IS_NONE = 1 << 1, 1 << 5, 1 << 6, 1 << 7
PULLS = {SET_PULL_UP: "up", SET_PULL_DOWN: "down", SET_PULL_NONE: "floating", 0: "floating"}
MODE_OF_PULL = {"up": IS_UP, "down": IS_DOWN, "floating": IS_NONE}


class PretendError(Exception):
    """lgpio's error is no OSError."""


class Watching:
    def __init__(self, board: PinBoard, gpio: int) -> None:
        self._board, self._gpio = board, gpio

    def cancel(self) -> None:
        self._board.unwatch(self._gpio)


class PretendLgpio(ModuleType):
    RISING_EDGE, FALLING_EDGE, BOTH_EDGES = RISING_EDGE, FALLING_EDGE, BOTH_EDGES
    SET_PULL_UP, SET_PULL_DOWN, SET_PULL_NONE = SET_PULL_UP, SET_PULL_DOWN, SET_PULL_NONE
    error = PretendError

    def __init__(self, board: PinBoard) -> None:
        super().__init__("lgpio")
        self.board = board
        self.broken = False
        self._mode: dict[int, int] = {}

    def gpiochip_open(self, chip: int) -> int:
        if chip != 0:
            raise PretendError("can not open gpiochip")
        return 7

    def gpiochip_close(self, handle: int) -> None:
        self.board.process_died()

    def gpio_claim_input(self, handle: int, gpio: int, flags: int = 0) -> None:
        self._mode[gpio] = MODE_OF_PULL[PULLS[flags]]
        self.board.claim_in(gpio, PULLS[flags])

    def gpio_claim_output(self, handle: int, gpio: int, level: int = 0, flags: int = 0) -> None:
        self._mode[gpio] = IS_OUT
        self.board.claim_out(gpio, bool(level))

    def gpio_claim_alert(self, handle: int, gpio: int, edges: int, flags: int = 0) -> None:
        pass  # the pull stays, which the flags repeat

    def gpio_free(self, handle: int, gpio: int) -> None:
        self._mode.pop(gpio, None)

    def gpio_get_mode(self, handle: int, gpio: int) -> int:
        return self._mode[gpio]

    def gpio_read(self, handle: int, gpio: int) -> int:
        if self.broken:
            raise PretendError("GPIO read failed")
        return int(self.board.read(gpio))

    def gpio_write(self, handle: int, gpio: int, level: int) -> None:
        if self.broken:
            raise PretendError("GPIO write failed")
        self.board.write(gpio, bool(level))

    def gpio_set_debounce_micros(self, handle: int, gpio: int, micros: int) -> None:
        assert micros == 0, "nothing here may filter edges"

    def tx_pwm(self, handle: int, gpio: int, hertz: float, percent: float) -> None:
        self.board.pulse_width(gpio, percent / 100.0 if hertz else 0.0)

    def callback(self, handle: int, gpio: int, edges: int, seen: Callable[[int, int, int, int], None]) -> Watching:
        self.board.watch(gpio, lambda at_s, level: seen(0, gpio, int(level), round(at_s * 1e9)))
        return Watching(self.board, gpio)
