"""Emulated pins: levels, pulls, edges, and what becomes of an output when its process dies."""

from __future__ import annotations

import pytest
from gpiozero import DigitalInputDevice, GPIOPinInUse, OutputDevice, PinSetInput

from simulator.boards.clock import VirtualClock
from simulator.boards.gpio import SimFactory
from simulator.boards.pins import PinBoard


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock(100.0)


@pytest.fixture
def board(clock: VirtualClock) -> PinBoard:
    return PinBoard(clock)


@pytest.mark.parametrize("pin", range(28))
def test_the_header_wakes_up_with_its_reset_pulls(board: PinBoard, pin: int) -> None:
    """BCM2835 ARM peripherals, p. 102: GPIO 0 to 8 pulled up, 9 to 27 down."""
    assert board.read(pin) is (pin <= 8)


def test_a_pulled_up_input_reads_high_until_a_contact_closes_to_ground(board: PinBoard) -> None:
    board.claim_in(6, "up")
    assert board.read(6)
    board.drive(6, False, 100.1)
    assert not board.read(6)
    board.drive(6, None, 100.2)  # the wire breaks
    assert board.read(6)


def test_edges_carry_the_time_they_happened_at(board: PinBoard) -> None:
    seen: list[tuple[float, bool]] = []
    board.claim_in(5, "up")
    board.watch(5, lambda at_s, level: seen.append((at_s, level)))
    board.drive(5, False, 100.25)
    board.drive(5, False, 100.30)  # no change, no edge
    board.drive(5, True, 100.50)
    assert seen == [(100.25, False), (100.50, True)]


def test_the_kernel_of_a_pi_keeps_an_output_when_its_process_dies(board: PinBoard) -> None:
    board.claim_out(27, True)
    board.process_died()
    assert board.read(27)


def test_a_strict_kernel_lets_it_fall(clock: VirtualClock) -> None:
    board = PinBoard(clock, keeps_outputs=False)
    changes: list[tuple[int, bool]] = []
    board.claim_out(27, True)
    board.changed = lambda pin, level, at_s: changes.append((pin, level))
    board.process_died()
    assert not board.read(27)
    assert changes == [(27, False)]


def test_pulse_width_stops_with_its_process_whatever_the_kernel_keeps(board: PinBoard) -> None:
    board.claim_out(18, False)
    board.pulse_width(18, 0.75)
    assert board.share(18) == 0.75
    board.process_died()
    assert board.share(18) == 0.0


def test_a_short_to_a_rail_wins_over_everything(board: PinBoard) -> None:
    board.claim_out(27, False)
    board.hold(27, True)
    assert board.read(27)
    board.write(27, True)
    board.write(27, False)
    assert board.read(27)
    board.hold(27, None)
    assert not board.read(27)


def test_gpiozero_drives_and_reads_it_like_a_pi(board: PinBoard, clock: VirtualClock) -> None:
    factory = SimFactory(board, clock)
    with (
        OutputDevice(27, pin_factory=factory) as output,
        DigitalInputDevice(6, pull_up=True, pin_factory=factory) as switch,
    ):
        output.on()
        assert board.read(27)
        assert output.value == 1
        assert not switch.is_active
        board.drive(6, False, clock())
        assert switch.is_active
    assert not board.read(27)  # given back: an input with nothing on it


def test_gpiozero_never_shows_a_wrong_level_while_it_claims_an_output(board: PinBoard, clock: VirtualClock) -> None:
    changes: list[bool] = []
    board.changed = lambda pin, level, at_s: changes.append(level)
    with OutputDevice(27, initial_value=False, pin_factory=SimFactory(board, clock)):
        assert changes == []


def test_one_pin_cannot_be_claimed_twice(board: PinBoard, clock: VirtualClock) -> None:
    factory = SimFactory(board, clock)
    with OutputDevice(27, pin_factory=factory) as first:
        with pytest.raises(GPIOPinInUse):
            OutputDevice(27, pin_factory=factory)
        assert first.value == 0


def test_an_input_cannot_be_driven(board: PinBoard, clock: VirtualClock) -> None:
    pin = SimFactory(board, clock).pin(6)
    with pytest.raises(PinSetInput):
        pin.state = True


@pytest.mark.parametrize(("edges", "expected"), [("both", [1, 0]), ("rising", [1]), ("falling", [0])])
def test_only_the_edges_asked_for_are_told(
    board: PinBoard, clock: VirtualClock, edges: str, expected: list[int]
) -> None:
    seen: list[int] = []

    def note(ticks: float, level: int) -> None:
        seen.append(level)

    pin = SimFactory(board, clock).pin(10)
    pin.edges = edges
    pin.when_changed = note
    board.drive(10, True, 100.1)
    board.drive(10, False, 100.2)
    assert seen == expected
