"""The signal level of a rehearsal: the same plant, sensors, contactors and random numbers, without chips and drivers.

What a sound part and its driver would have said is worked out directly: the quantised volts of a converter, the time of
a conversion, the share of a contact, the flow of a turbine. A part that the scenario breaks below the sensor (a chip,
a bus, a line, edges of a pin) is asked through the very driver for the whole rehearsal: `through` names those. So both
levels read the same numbers at the same times, and a test over the whole library says so.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from math import exp
from typing import Any

from controller.core.outputs import Outputs
from controller.core.signals import Code, Reading
from controller.hardware.ads1115 import POLLS, Converter
from controller.hardware.description import PAIRS, Ads1115, Ads1115Channel, Hardware, PulseMeter, Switch
from controller.hardware.instruments import Instruments
from controller.hardware.outputs import Drives
from controller.hardware.pulses import WINDOW_S
from controller.hardware.switches import Contact as ContactDriver
from simulator.boards.ads1115 import Ads1115Chip
from simulator.boards.clock import VirtualClock
from simulator.boards.physics import looked_at
from simulator.boards.power_path import Change
from simulator.boards.wiring import Contact, Meter, Wiring
from simulator.instruments.parts import Part
from simulator.instruments.sensor import Sensor
from simulator.instruments.turbine import Turbine
from simulator.plant.advance import advance
from simulator.plant.observe import Seen
from simulator.whole import PlantBehind, WholeBench


class QuickContact:
    """What a contact's driver would say: the share of the time since the last poll for which it was proven."""

    __slots__ = ("_last_s", "_polled_s", "_proven_s", "_started", "closed", "proven", "when_closed", "when_open")

    def __init__(self, switch: Switch, closed: bool) -> None:
        high_is_proven = switch.proven_when == "high"
        self.when_closed = not high_is_proven  # closed to ground: low
        self.when_open = (switch.pull == "up") is high_is_proven
        self.closed = closed
        self.proven = self.when_closed if closed else self.when_open
        self._proven_s = 0.0
        self._last_s = self._polled_s = 0.0
        self._started = False

    def move(self, closed: bool, at_s: float) -> None:
        if closed is self.closed:
            return
        since_s = max(self._last_s, self._polled_s)
        if self.proven:
            self._proven_s += max(0.0, at_s - since_s)
        self._last_s = at_s
        self.closed = closed
        self.proven = self.when_closed if closed else self.when_open

    def poll(self, now_s: float) -> Reading:
        elapsed_s = now_s - self._polled_s
        if self._last_s <= self._polled_s:
            share = float(self.proven)  # nothing has moved since
        else:
            if self.proven:
                self._proven_s += now_s - self._last_s
            share = self._proven_s / elapsed_s if elapsed_s > 0.0 else float(self.proven)
        if not self._started:
            share, self._started = float(self.proven), True
        self._proven_s, self._polled_s = 0.0, now_s
        return tuple.__new__(Reading, (share, now_s, Code.OK))


class QuickMeter:
    """What a meter's driver would say of a sound turbine: none of its pulses is noise."""

    def __init__(self, meter: PulseMeter, level: bool) -> None:
        self.level = level  # of the wire; before the turbine's first edge it is the pull's
        self._least_s, self._per_litre, self._least_l_min = (
            meter.least_width_s,
            meter.pulses_per_litre,
            meter.least_l_min,
        )
        self._too_many = 1.2 * meter.most_l_min * meter.pulses_per_litre / 60.0 * WINDOW_S + 1
        self._recent: deque[float] = deque()
        self._three: deque[float] = deque(maxlen=3)
        self._risen_s: float | None = None  # a pulse that has not yet held for long enough

    def turned(self, edges: Iterable[tuple[float, bool]]) -> None:
        for at_s, level in edges:
            if level is self.level:
                continue
            self.level = level
            if level:
                self._risen_s = at_s
            elif self._risen_s is not None:
                if at_s - self._risen_s >= self._least_s:
                    self._count(self._risen_s)
                self._risen_s = None

    def _count(self, at_s: float) -> None:
        self._recent.append(at_s)
        self._three.append(at_s)

    def poll(self, now_s: float) -> Reading:
        if self._risen_s is not None and now_s - self._risen_s >= self._least_s:
            self._count(self._risen_s)
            self._risen_s = None
        recent, from_s = self._recent, now_s - WINDOW_S
        while recent and recent[0] <= from_s:
            recent.popleft()
        count = len(recent)
        if count > self._too_many:
            return Reading(None, now_s, Code.NOISE)
        if len(self._three) < 3:
            return Reading(0.0, now_s)
        flow_l_min = 60.0 * min(count / WINDOW_S, 3.0 / max(now_s - self._three[0], 1e-6)) / self._per_litre
        if flow_l_min < self._least_l_min:
            flow_l_min = 0.0
        return tuple.__new__(Reading, (flow_l_min, now_s, Code.OK))


class QuickThermometer:
    """What the nine bytes of a sound sensor would say."""

    def __init__(self, sensor: Sensor, clock: Callable[[], float]) -> None:
        self._sensor, self._clock = sensor, clock

    def read_once(self) -> Reading:
        return Reading(round(max(-55.0, min(125.0, self._sensor.shown)) * 16.0) / 16.0, self._clock())


class QuickConverter:
    """What a sound converter and its driver would say, in their order and at their times."""

    def __init__(
        self, chip: Ads1115, channels: list[Ads1115Channel], board: Ads1115Chip, sample: Callable[[int], float],
        clock: VirtualClock,
    ) -> None:  # fmt: skip
        self._clock, self._known = clock, chip.known
        self._waits_s = _waits_s(chip.data_rate, board.clock_error)
        self._reads = [(self._volts(c.positive, c.negative, c.full_scale_v, sample), c.scale) for c in channels]
        self._known_v = None
        if chip.known is not None:
            self._known_v = self._volts(chip.known.positive, None, chip.known.full_scale_v, sample)

    def _volts(
        self, positive: int, negative: int | None, full_scale_v: float, sample: Callable[[int], float]
    ) -> Callable[[], float]:
        assert negative is None or (positive, negative) in PAIRS

        def volts() -> float:
            difference_v = sample(positive) - (0.0 if negative is None else sample(negative))
            code = round(difference_v / full_scale_v * 32768)
            return float(-32768 if code < -32768 else 32767 if code > 32767 else code) * full_scale_v / 32768.0

        return volts

    def read_once(self) -> tuple[Reading, ...]:
        clock, waits_s = self._clock, self._waits_s
        if self._known is not None and self._known_v is not None:
            for wait_s in waits_s:
                clock.now_s += wait_s
            if not abs(self._known_v() - self._known.volts) <= self._known.tolerance * self._known.volts:
                stamp_s = clock.now_s
                return tuple(Reading(None, stamp_s, Code.REFERENCE_WRONG) for _ in self._reads)
        readings = []
        for volts, scale in self._reads:
            stamp_s = clock.now_s
            for wait_s in waits_s:
                clock.now_s += wait_s
            number, code = scale(volts())
            readings.append(tuple.__new__(Reading, (number, stamp_s, code)))
        return tuple(readings)


def _waits_s(data_rate: int, clock_error: float) -> tuple[float, ...]:
    """How a driver waits for a chip with a clock that is slow by this share: one long wait, then short ones."""
    waits_s = [1.0 / data_rate + 1e-4]
    while sum(waits_s) < (1.0 + clock_error) / data_rate and len(waits_s) < POLLS:
        waits_s.append(max(3e-4, 0.025 / data_rate))
    return tuple(waits_s)


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


class QuickBench(WholeBench):
    """A bench whose sound parts are looked at directly. `through`: parts that are not."""

    def __init__(
        self, wiring: Wiring, clock: VirtualClock, seed: int, behind: PlantBehind, through: frozenset[str]
    ) -> None:
        self.through = through
        self.clock = clock
        self.stale = True  # what the plant is asked may have changed
        self._quick: dict[str, QuickContact] = {}
        self._meters: dict[str, QuickMeter] = {}
        self._meters_before: dict[str, QuickMeter] = {}
        super().__init__(wiring, clock, seed, behind=behind)
        self._prepared = False
        self._asked_inputs = behind.surroundings
        self._around = behind.surroundings
        self._quantities = _Live(behind)

    # --- what the quick instruments ask for

    def contact_on(self, pin: int) -> Contact | None:
        return next((c for c in self.wiring.contact if c.pin == pin), None)

    def quick_contact(self, switch: Switch) -> QuickContact | None:
        """For a contact that is wired to this pin and stays sound below its own state."""
        contact = self.contact_on(switch.pin)
        if contact is None or contact.signal in self.through or f"pin {switch.pin}" in self.through:
            return None
        if contact.of == "button" or contact.signal in self._quick:
            return None
        self._quick[contact.signal] = quick = QuickContact(switch, self._is_closed(contact))
        return quick

    def quick_meter(self, meter: PulseMeter) -> QuickMeter | None:
        wired = next((m for m in self.wiring.meter if m.pin == meter.pin), None)
        if wired is None or wired.signal in self.through or f"pin {meter.pin}" in self.through or wired.uneven < 0.01:
            return None  # an even turbine may look like the mains: its driver must say
        before = self._meters_before.get(wired.signal)
        level = before.level if before is not None else meter.pull == "up"
        self._meters[wired.signal] = quick = QuickMeter(meter, level)
        return quick

    def sampler(self, board: Ads1115Chip, parts: tuple[Part, ...], supply_v: float) -> Callable[[int], float]:
        """Volts at an input, as the chip would sample them now."""
        noise = self._noise["volts"]
        gauss = noise.gauss
        sensors = self.sensors

        def one(part: Part) -> Callable[[], float]:
            if part.signal in self.through:
                return self._volts_of(part, supply_v)
            if not part.of:
                always_v = part.volts(0.0)
                return lambda: always_v + gauss(0.0, part.noise_v) if part.noise_v else always_v
            sensor, volts, noise_v = sensors[part.signal], part.volts, part.noise_v
            if noise_v:
                return lambda: volts(sensor.shown) + gauss(0.0, noise_v)
            return lambda: volts(sensor.shown)

        ways = [one(part) for part in parts]

        def sample(at: int) -> float:
            if at >= len(ways):
                return 0.0
            found_v = ways[at]()
            return -0.3 if found_v < -0.3 else supply_v if found_v > supply_v else found_v

        return sample

    def edge_at_rest(self, pin: int, level: bool) -> bool:
        """An edge to a relay that is closed and stays so: nothing else can move. Whether that was all."""
        power, at_s = self.power, self.clock.now_s
        if power.watchdog.fault or not power.watchdog.closed or power._next_s() <= at_s:
            return False
        self.board._pins[pin].latch = level
        power._pins["edge"] = level
        power.now_s = max(power.now_s, at_s)
        power.watchdog.edge(at_s)
        return True

    def forget(self) -> None:
        """Before the instruments of a new process are made."""
        self._quick, self._meters_before, self._meters, self._prepared = {}, self._meters, {}, False

    # --- one step

    def _prepare(self) -> None:
        """Tables of what has to be looked at in each step; after a swap anew."""
        place = {name: at for at, name in enumerate(Seen._fields)}
        cells = range(self.behind.parameters.cell.cells)
        place |= {f"cell_{n + 1}_v": len(place) + n for n in cells}  # behind what is seen, where anybody looks at them
        self._taps = any(of in place and place[of] >= len(Seen._fields) for of in self._follows.values())
        self._lags = [
            (sensor, place.get(self._follows[signal], -1), sensor._lag_s) for signal, sensor in self.sensors.items()
        ]
        quick = [(c, self._quick[c.signal]) for c in self.wiring.contact if c.signal in self._quick]
        self._by_quantity = [
            (c, q, place[c.of], -1e300 if c.closed_from is None else c.closed_from,
             1e300 if c.closed_to is None else c.closed_to)
            for c, q in quick if c.of in place
        ]  # fmt: skip
        slow = [c for c in self.wiring.contact if c.signal not in self._quick]
        self._slow_contacts = [c for c in slow if c.of != "button"]
        self._buttons = [c for c in slow if c.of == "button"]
        self._chain_contacts = [c for c, _ in quick if c.of == "stop_chain"]
        self._turning = [
            (m, self.turbines[m.signal], self._meters.get(m.signal), place[self._follows[m.signal]])
            for m in self.wiring.meter
        ]
        self._temperature = place["cell_temperature_c"]
        self._chain_seen: bool | None = None
        self._decay_s = 0.0
        self._decays: dict[float, float] = {}
        self._prepared = True

    def swap(self, first: str, second: str) -> None:
        super().swap(first, second)
        self._prepared = False

    def _pin_changed(self, pin: int, level: bool, at_s: float) -> None:
        self.stale = True
        super()._pin_changed(pin, level, at_s)

    def _contact_changed(self, change: Change) -> None:
        self.stale = True
        super()._contact_changed(change)

    def _apply(self, part: str, kind: str, amount: float) -> None:
        self.stale = True
        super()._apply(part, kind, amount)

    def _close(self, contact: Contact, closed: bool, at_s: float) -> None:
        quick = self._quick.get(contact.signal)
        if quick is None:
            super()._close(contact, closed, at_s)
        else:
            quick.move(closed, at_s)

    def _step(self, now_s: float) -> None:
        if not self._prepared:
            self._prepare()
        dt_s, from_s = now_s - self.now_s, self.now_s
        power, behind = self.power, self.behind
        if power._next_s() <= now_s:
            power.advance(now_s)
        elif now_s > power.now_s:
            power.now_s = now_s
        if self.stale or behind.surroundings is not self._around:
            self._asked_inputs = behind._inputs = behind.inputs_for(self._asked())
            self._around = behind.surroundings
            self.stale = False
        behind.state = advance(behind.parameters, behind.state, self._asked_inputs, dt_s)
        self.now_s = now_s
        shown: Any = behind.shown() if behind.script else behind._look(behind.state, self._asked_inputs)
        behind.last = shown
        for meter, turbine, quick, at in self._turning:
            if quick is None or meter.signal in self._faults:
                self._turn_slowly(meter, turbine, quick, shown[at], from_s, now_s)
            else:
                quick.turned(turbine.edges(shown[at], from_s, now_s))
        if dt_s != self._decay_s:
            self._decay_s = dt_s
            self._decays = {lag_s: exp(-dt_s / lag_s) for _, _, lag_s in self._lags if lag_s > 0.0}
        decays = self._decays
        looked = (*shown, *shown.cell_v) if self._taps else shown
        for sensor, at, lag_s in self._lags:
            true = looked[at] if at >= 0 else 0.0
            if sensor.fault is None and sensor._follows is not None:
                if lag_s > 0.0:
                    true = true + (sensor._follows - true) * decays[lag_s]
                sensor._follows = sensor.shown = true
            else:
                sensor.advance(true, now_s, dt_s)
        chain = self.wiring.stop_chain
        if chain is not None and (
            (shown[self._temperature] < chain.thermostat_c) is not self._thermostat_closed
            or (self._thermostat_closed and "stop_button" not in self._faults) is not power.chain_closed
        ):
            self._thermostat()
        for contact, state, at, low, high in self._by_quantity:
            if (low <= shown[at] <= high) is not state.closed:
                self._move(contact, dt_s)
        if power.chain_closed is not self._chain_seen:
            self._chain_seen = power.chain_closed
            for contact in self._chain_contacts:
                self._move(contact, dt_s)
        if self._pressed_until_s:
            for contact in self._buttons:
                self._move(contact, dt_s)
        for contact in self._slow_contacts:
            self._move(contact, dt_s)

    def _turn_slowly(
        self, meter: Meter, turbine: Turbine, quick: QuickMeter | None, flow_l_min: float, from_s: float, to_s: float
    ) -> None:
        edges = turbine.edges(flow_l_min, from_s, to_s, self._faults.get(meter.signal))
        if quick is not None:
            quick.turned(edges)
            return
        for at_s, level in edges:
            self.board.drive(meter.pin, level, at_s)

    def truth(self) -> dict[str, Any]:
        return super().truth() | {"quantities": dict(self.behind.quantities())}


class _Live(dict[str, float]):
    """Quantities by name, as they are now."""

    def __init__(self, behind: PlantBehind) -> None:
        self._behind = behind

    def __getitem__(self, name: str) -> float:
        return looked_at(self._behind.last, name)

    def get(self, name: str, default: Any = None) -> Any:
        return looked_at(self._behind.last, name, default)


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
        sample = bench.sampler(board, wired.inputs, wired.supply_v)
        return QuickConverter(chip, [sources[at] for at in places], board, sample, self._clock_)

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
