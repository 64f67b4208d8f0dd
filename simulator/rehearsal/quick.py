"""The bench of the signal level of a rehearsal: the same plant, sensors, contactors and random numbers, without chips.

A part that the scenario breaks below the sensor (a chip, a bus, a line, edges of a pin) is asked through its own driver
for the whole rehearsal: `through` names those. So both levels read the same numbers at the same times, and a test over
the whole library says so.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp
from typing import Any

from controller.hardware.description import PulseMeter, Switch
from simulator.boards.clock import VirtualClock
from simulator.boards.physics import looked_at
from simulator.boards.power_path import Change
from simulator.boards.wiring import Contact, Meter, Wiring
from simulator.instruments.parts import Part
from simulator.instruments.turbine import Turbine
from simulator.plant.observe import Seen
from simulator.rehearsal.quick_parts import QuickContact, QuickMeter, Sample, SampleOf
from simulator.whole import PlantBehind, WholeBench


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

    def sampler(self, parts: tuple[Part, ...], supply_v: float) -> SampleOf:
        """For each input of a chip, the volts as it would sample them now."""
        gauss = self._noise["volts"].gauss

        def sample_of(at: int) -> Sample | float:
            if at >= len(parts):
                return 0.0
            part = parts[at]
            if part.signal in self.through or not part.of:
                wired = self._volts_of(part, supply_v) if part.signal in self.through else _always(part, gauss)
                if isinstance(wired, float):
                    return min(max(wired, -0.3), supply_v)
                return lambda: min(max(wired(), -0.3), supply_v)
            sensor, volts, noise_v = self.sensors[part.signal], part.volts, part.noise_v

            def sample() -> float:
                found_v = volts(sensor.shown) + gauss(0.0, noise_v) if noise_v else volts(sensor.shown)
                return -0.3 if found_v < -0.3 else supply_v if found_v > supply_v else found_v

            return sample

        return sample_of

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
        behind.state = behind._step(behind.state, self._asked_inputs, dt_s)
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


def _always(part: Part, gauss: Callable[[float, float], float]) -> Sample | float:
    """A part that follows nothing."""
    always_v, noise_v = part.volts(0.0), part.noise_v
    return (lambda: always_v + gauss(0.0, noise_v)) if noise_v else always_v
