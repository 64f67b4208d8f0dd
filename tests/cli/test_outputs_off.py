"""After a guard that died: a kernel that keeps outputs is made to let go of them, unless a guard runs."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner

from controller.cli.outputs_off import outputs_off, put_off
from controller.config.load import load
from controller.config.rigs import shipped
from controller.guard.lock import Locks
from simulator.boards.gpio import SimFactory
from simulator.boards.pins import PinBoard


def board_of_a_dead_guard() -> tuple[PinBoard, int]:
    """A board on which the coil's pin was left high by a process that is gone, and that pin."""
    # claimed on the board itself, because gpiozero would let go of it when its objects are collected
    hardware = load(shipped("boathouse")).hardware
    board = PinBoard(lambda: 0.0, keeps_outputs=True)
    pin = dict(hardware.outputs)["main_hold"].pin
    board.claim_out(pin, True)
    board.process_died()
    assert board.read(pin) is True
    return board, pin


def test_what_a_dead_guard_left_on_is_taken_off(tmp_path: Path) -> None:
    board, pin = board_of_a_dead_guard()
    hardware = load(shipped("boathouse")).hardware
    assert put_off(hardware, lambda: SimFactory(board, lambda: 0.0), tmp_path)
    assert board.read(pin) is False


def test_nothing_is_touched_while_a_guard_runs(tmp_path: Path) -> None:
    board, pin = board_of_a_dead_guard()
    guards = Locks(tmp_path, ("machine", "pins"))
    assert not put_off(load(shipped("boathouse")).hardware, lambda: SimFactory(board, lambda: 0.0), tmp_path)
    assert board.read(pin) is True
    guards.release()


def test_a_rig_on_a_bench_has_nothing_to_put_off() -> None:
    found = CliRunner().invoke(outputs_off, ["boathouse"])
    assert found.exit_code == 1
    assert "no outputs of its own" in str(found.exception)
