"""Opens what a rig is described to have, and reads it in the order of the rig's signals.

Readers that block for most of a second are grouped by the bus they share, and read outside the scan.
"""

from __future__ import annotations

from collections import defaultdict
from contextlib import ExitStack

from controller.core.signals import Code, Reading
from controller.hardware.ads1115 import Converter
from controller.hardware.counter import CountingMeter
from controller.hardware.description import (
    Ads1115,
    Ads1115Channel,
    CoreTemperature,
    CountedMeter,
    Ds18b20,
    Hardware,
    PulseMeter,
    Source,
    SupplyGood,
    Switch,
    WorkedOut,
)
from controller.hardware.ds18b20 import Thermometer
from controller.hardware.edges import EdgeLog
from controller.hardware.kernel import CoreMonitor, SupplyMonitor
from controller.hardware.outputs import Drives
from controller.hardware.ports import Clock, Ports, Wait
from controller.hardware.pulses import FlowMeter
from controller.hardware.slow import SlowGroup
from controller.hardware.switches import Button, Contact

__all__ = ["CONVERSION_S", "Instruments", "SlowGroup", "open_instruments"]

CONVERSION_S = 0.92  # of one 1-Wire sensor, bus traffic included


class Instruments:
    """Everything that is read and driven on one rig."""

    def __init__(self, hardware: Hardware, ports: Ports, clock: Clock, wait: Wait) -> None:
        self.simulated = ports.simulated
        self.names = tuple(name for name, _ in hardware.signals)
        self._start_s = clock()
        self._latest = [Reading(None, self._start_s, Code.NOT_READ_YET)] * len(hardware.signals)
        self._converters: list[tuple[tuple[int, ...], Converter]] = []
        self._polled: list[tuple[int, FlowMeter | Contact]] = []
        self._counted: list[tuple[int, CountingMeter]] = []
        self._slow: dict[str, SlowGroup] = {}
        self._worked_out: list[tuple[int, tuple[int, ...], WorkedOut]] = []
        self._clock, self._wait = clock, wait
        with ExitStack() as undo:  # whatever was opened is closed again if the next thing cannot be
            self._logs = undo
            self._open(hardware, ports, clock, wait)
            self.drives = Drives(hardware, ports.pins)
            undo.callback(self.drives.close)
            self._opened = undo.pop_all()

    def _open(self, hardware: Hardware, ports: Ports, clock: Clock, wait: Wait) -> None:
        def log(pin: int, pull: str) -> EdgeLog:
            opened = EdgeLog(ports.pins, pin, pull, clock)
            self._logs.callback(opened.close)
            return opened

        channels: defaultdict[Ads1115, list[tuple[int, Ads1115Channel]]] = defaultdict(list)
        self.flow_meters: dict[str, FlowMeter] = {}
        for at, (name, source) in enumerate(hardware.signals):
            match source:
                case Ads1115Channel():
                    channels[source.chip].append((at, source))
                case PulseMeter():
                    self.flow_meters[name] = meter = FlowMeter(source, log(source.pin, source.pull))
                    self._polled.append((at, meter))
                case CountedMeter():
                    self._counted.append((at, CountingMeter(source, ports.kernel, clock)))
                case Switch():
                    self._polled.append((at, Contact(source, log(source.pin, source.pull))))
                case Ds18b20():
                    self._group(source, CONVERSION_S).add(at, Thermometer(source, ports.kernel, clock))
                case SupplyGood():
                    self._group(source, 1.0).add(at, SupplyMonitor(ports.kernel, clock))
                case CoreTemperature():
                    self._group(source, 1.0).add(at, CoreMonitor(ports.kernel, clock))
                case WorkedOut():
                    self._worked_out.append((at, tuple(map(self.names.index, source.of)), source))
        for chip, wired in channels.items():
            if chip.bus not in ports.i2c:
                raise ValueError(f"{chip.device}: there is no such bus; known: {sorted(ports.i2c)}")
            places = tuple(at for at, _ in wired)
            converter = Converter(chip, [channel for _, channel in wired], ports.i2c[chip.bus], clock, wait)
            self._converters.append((places, converter))
        self._contacts = tuple(
            None if switch is None else Contact(switch, log(switch.pin, switch.pull))
            for switch in (hardware.main_contact, hardware.second_contact, hardware.relay_contact)
        )
        self._buttons = {name: Button(switch, log(switch.pin, switch.pull)) for name, switch in hardware.buttons}

    def _group(self, source: Source, one_takes_s: float) -> SlowGroup:
        if source.device not in self._slow:
            self._slow[source.device] = SlowGroup(
                source.device, one_takes_s, self._latest.__setitem__, self._clock, self._wait
            )
        return self._slow[source.device]

    @property
    def slow_groups(self) -> tuple[SlowGroup, ...]:
        """One for each thread that they can use: a group that can use two comes twice."""
        return tuple(group for group in self._slow.values() for _ in range(group.threads))

    @property
    def errors(self) -> dict[str, int]:
        """Failed transfers by device since the start, retried or not."""
        return {converter.chip.device: converter.errors for _, converter in self._converters}

    def read_all(self, now_s: float) -> tuple[Reading, ...]:
        """One reading a signal, in order: pins as of `now_s`, new conversions, and the last words of slow readers."""
        for at, polled in self._polled:
            self._latest[at] = polled.poll(now_s)
        for at, meter in self._counted:
            self._latest[at] = meter.read_once()
        for contact in self._contacts:
            if contact is not None:
                contact.poll(now_s)
        for places, converter in self._converters:
            for at, reading in zip(places, converter.read_once(), strict=True):
                self._latest[at] = reading
        self._work_out()
        return tuple(self._latest)

    def _work_out(self) -> None:
        """As good and as old as the worst and the oldest of what each is made from."""
        for at, members, source in self._worked_out:
            readings = [self._latest[member] for member in members]
            numbers = [number for number, _, code in readings if number is not None and code is Code.OK]
            stamp_s = min(reading.stamp_s for reading in readings)
            if len(numbers) == len(readings):
                self._latest[at] = Reading(source(numbers), stamp_s)
            else:
                self._latest[at] = Reading(None, stamp_s, next(r.code for r in readings if r.code is not Code.OK))

    def contacts(self) -> tuple[bool | None, bool | None, bool | None]:
        """Main, second, watchdog relay: closed as of the last `read_all`; None where not wired or not readable."""
        main, second, relay = (None if contact is None else contact.proven for contact in self._contacts)
        return main, second, relay

    def presses(self, now_s: float) -> tuple[str, ...]:
        """Names of the buttons pressed since the last call, once for each press."""
        return tuple(name for name, button in self._buttons.items() for _ in range(button.poll(now_s)))

    def close(self) -> None:
        """Outputs to their safe state, pins given back. Slow readers cannot be interrupted and are left alone."""
        self._opened.close()


def open_instruments(hardware: Hardware, ports: Ports, clock: Clock, wait: Wait) -> Instruments:
    """Opens everything or nothing. Raises ValueError or OSError with what is missing."""
    return Instruments(hardware, ports, clock, wait)
