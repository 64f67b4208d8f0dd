"""The drivers of a rig for the signal level of a rehearsal: sound parts are looked at, the others asked as always."""

from __future__ import annotations

from typing import Any

from controller.core.outputs import Outputs
from controller.core.signals import Reading
from controller.hardware.ads1115 import Converter
from controller.hardware.description import Hardware, PulseMeter, Switch
from controller.hardware.instruments import Instruments
from controller.hardware.outputs import Drives
from controller.hardware.switches import Contact as ContactDriver
from simulator.boards.clock import VirtualClock
from simulator.rehearsal.quick import QuickBench
from simulator.rehearsal.quick_parts import QuickConverter, QuickThermometer


class QuickDrives(Drives):
    """Pins are written when they change; an edge that the relay was waiting for takes the short way."""

    def __init__(self, hardware: Hardware, real: Drives, bench: QuickBench, pins_fail: bool) -> None:
        self._real, self._bench, self._pins_fail = real, bench, pins_fail
        self._last: Outputs | None = None
        self._levels: tuple[bool | None, ...] = ()
        edge_pin = hardware.heartbeat.pin if hardware.heartbeat else -1
        self._edge_is_wired = getattr(bench.wiring.pins.get("edge"), "pin", None) == edge_pin
        self._edge_level = False
        self._edge_pin = edge_pin

    def write(self, outputs: Outputs) -> None:
        if outputs is self._last and not self._pins_fail:
            return
        self._real.write(outputs)
        self._last = outputs
        self._levels = ()
        self._bench.stale = True

    def edge(self) -> None:
        self._edge_level = not self._edge_level
        if self._edge_is_wired and self._bench.edge_at_rest(self._edge_pin, self._edge_level):
            return
        self._bench.board.write(self._edge_pin, self._edge_level)

    def read_back(self) -> tuple[bool | None, ...]:
        if not self._levels or self._pins_fail:
            self._levels = self._real.read_back()
        return self._levels

    def close(self) -> None:
        self._real.close()


class QuickInstruments(Instruments):
    """The drivers of a rig, with the sound parts looked at directly."""

    def __init__(self, hardware: Hardware, bench: QuickBench, clock: VirtualClock) -> None:
        super().__init__(hardware, bench.ports(), clock, clock.wait)
        self._bench, self._clock_ = bench, clock
        sources = [source for _, source in hardware.signals]
        polled: list[tuple[int, Any]] = []
        for at, driver in self._polled:
            source = sources[at]
            quick: Any = None
            if isinstance(source, Switch):
                quick = bench.quick_contact(source)
            elif isinstance(source, PulseMeter):
                quick = bench.quick_meter(source)
            polled.append((at, quick or driver))
        self._polled = polled
        self._converters = [(places, self._quick_converter(places, c, sources)) for places, c in self._converters]
        self._power = tuple(
            None if switch is None else (bench.quick_contact(switch) or driver)
            for switch, driver in zip(
                (hardware.main_contact, hardware.second_contact, hardware.relay_contact), self._contacts, strict=True
            )
        )
        self._contacts = tuple(c if isinstance(c, ContactDriver) else None for c in self._power)
        by_id = {t.id: t for t in bench.wiring.thermometer}
        for group in self._slow.values():
            group._readers = {at: self._quick_thermometer(sources[at], by_id) or r for at, r in group._readers.items()}
        pins_fail = any(part.startswith("pin ") for part in bench.through)
        self.drives = QuickDrives(hardware, self.drives, bench, pins_fail)
        self.pressed_until_s = float("-inf")

    def _quick_converter(self, places: tuple[int, ...], driver: Converter, sources: list[Any]) -> Any:
        bench, chip = self._bench, driver.chip
        wired = next((c for c in bench.wiring.converter if (c.bus, c.address) == (chip.bus, chip.address)), None)
        if wired is None or wired.name in bench.through or f"bus {wired.bus}" in bench.through:
            return driver
        board = bench.chips[wired.name]
        sample_of = bench.sampler(wired.inputs, wired.supply_v)
        return QuickConverter(chip, [sources[at] for at in places], board, sample_of, self._clock_)

    def _quick_thermometer(self, source: Any, by_id: dict[str, Any]) -> Any:
        wired = by_id.get(getattr(source, "sensor_id", ""))
        if wired is None or wired.signal in self._bench.through:
            return None
        return QuickThermometer(self._bench.sensors[wired.signal], self._clock_)

    def read_all(self, now_s: float) -> tuple[Reading, ...]:
        latest = self._latest
        for at, polled in self._polled:
            latest[at] = polled.poll(now_s)
        for at, meter in self._counted:
            latest[at] = meter.read_once()
        for contact in self._contacts:
            if contact is not None:
                contact.poll(now_s)
        for places, converter in self._converters:
            for at, reading in zip(places, converter.read_once(), strict=True):
                latest[at] = reading
        self._work_out()
        return tuple(latest)

    def contacts(self) -> tuple[bool | None, bool | None, bool | None]:
        main, second, relay = (None if contact is None else contact.proven for contact in self._power)
        return main, second, relay

    def presses(self, now_s: float) -> tuple[str, ...]:
        return super().presses(now_s) if now_s <= self.pressed_until_s else ()
