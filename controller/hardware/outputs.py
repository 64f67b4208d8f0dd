"""Pins that the guard drives, from the core's table of outputs, and read back.

Opened in their safe state. The objects must be kept: a device that is forgotten closes its pin.
"""

from __future__ import annotations

from typing import Any

from gpiozero import OutputDevice

from controller.core.outputs import PINS, Outputs
from controller.hardware.description import Hardware, Heartbeat, OutputPin, SetPoint
from controller.hardware.edges import PIN_ERRORS


class Driven:
    """One output. On a Pi the read-back is the pin, not what was asked for; the contactor has contacts of its own."""

    def __init__(self, output: OutputPin, pins: Any) -> None:
        self._output = output
        self._device = OutputDevice(
            output.pin, active_high=output.active_high, initial_value=output.safe_on, pin_factory=pins
        )

    def write(self, on: bool) -> None:
        self._device.value = on

    def read_back(self) -> bool | None:
        try:
            return bool(self._device.value)
        except PIN_ERRORS:
            return None

    def close(self) -> None:
        try:
            self.write(self._output.safe_on)
        finally:
            self._device.close()


class EdgePin:
    """The heartbeat: one edge when asked, and low between runs."""

    def __init__(self, heartbeat: Heartbeat, pins: Any) -> None:
        self._device = OutputDevice(heartbeat.pin, initial_value=False, pin_factory=pins)
        self._level = False

    def edge(self) -> None:
        self._level = not self._level
        self._device.value = self._level

    def close(self) -> None:
        try:
            self._device.off()
        finally:
            self._device.close()


class PulseWidth:
    """The asked current as pulse width."""

    def __init__(self, set_point: SetPoint, pins: Any) -> None:
        self._set_point = set_point
        self._pin = pins.pin(set_point.pin)
        pins.reserve_pins(self, set_point.pin)
        self._pin.output_with_state(0)
        self._pin.frequency = set_point.frequency_hz
        self._duty = 0.0
        self._pin.state = 0.0

    def write(self, asked_a: float) -> None:
        duty = min(max(asked_a / self._set_point.full_scale_a, 0.0), 1.0)
        if duty != self._duty:
            self._pin.state = self._duty = duty

    def close(self) -> None:
        try:
            self._pin.frequency = None
        finally:
            self._pin.close()
            self._pin.factory.release_all(self)


class Drives:
    """All outputs of a rig. An error in one does not keep the others from being driven; it is raised afterwards."""

    def __init__(self, hardware: Hardware, pins: Any) -> None:
        self._driven = {name: Driven(output, pins) for name, output in hardware.outputs}
        self._edge = EdgePin(hardware.heartbeat, pins) if hardware.heartbeat else None
        self._set_point = PulseWidth(hardware.set_point, pins) if hardware.set_point else None
        self._asked_at = tuple((Outputs._fields.index(name), driven) for name, driven in self._driven.items())
        self._read_at = tuple((PINS.index(name), driven) for name, driven in self._driven.items())

    def write(self, outputs: Outputs) -> None:
        """Everything but the edge. Raises the first error once every pin has been tried."""
        failed: list[Exception] = []
        for at, driven in self._asked_at:
            try:
                driven.write(bool(outputs[at]))
            except PIN_ERRORS as error:
                failed.append(error)
        if self._set_point is not None:
            try:
                self._set_point.write(outputs.setpoint_a)
            except PIN_ERRORS as error:
                failed.append(error)
        if failed:
            raise failed[0]

    def edge(self) -> None:
        """One edge to the watchdog relay: the last thing a scan does, and only when it has earned it."""
        if self._edge is not None:
            self._edge.edge()

    def read_back(self) -> tuple[bool | None, ...]:
        """Levels of the pins as on or off, in the order of the core's PINS; None where none is wired or readable."""
        levels: list[bool | None] = [None] * len(PINS)
        for at, driven in self._read_at:
            levels[at] = driven.read_back()
        return tuple(levels)

    def close(self) -> None:
        for part in (*self._driven.values(), self._set_point, self._edge):
            if part is not None:
                part.close()
