"""One scan: inputs in, decisions out."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf

from controller.core.commands import Command
from controller.core.events import Event
from controller.core.memory import Inputs, Memory
from controller.core.outputs import Outputs
from controller.core.rig import Rig


def step(
    rig: Rig, memory: Memory, inputs: Inputs, commands: SequenceOf[Command], now_s: float
) -> tuple[Memory, Outputs, tuple[Event, ...]]:
    """What to remember, what to drive until the next scan, and what happened. `now_s` is taken after the inputs."""
    return memory, memory.outputs, ()
