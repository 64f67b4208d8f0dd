"""The bench: a plant, the instruments on it, and the boards they are wired to, advanced together.

What a driver sees of it is a bus, pins and kernel files; what a judge sees is `truth`. Faults are named by the part
they sit in. The seed decides every byte.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from random import Random
from typing import Any, NamedTuple, Protocol

from simulator.boards import onewire
from simulator.boards.ads1115 import CHIP_FAULTS, Ads1115Chip
from simulator.boards.contactor import CONTACTOR_FAULTS, Contactor
from simulator.boards.gpio import SimFactory
from simulator.boards.i2c import BUS_FAULTS, SimBus
from simulator.boards.pins import PinBoard
from simulator.boards.power_path import Change, PowerPath
from simulator.boards.watchdog_relay import RELAY_FAULTS, WatchdogRelay
from simulator.boards.wiring import Contact, Converter, Meter, Thermometer, Wiring
from simulator.instruments.parts import WIRE_FAULTS, Part
from simulator.instruments.sensor import SENSOR_FAULTS, Fault, Sensor
from simulator.instruments.turbine import METER_FAULTS, Turbine

STEP_S = 0.1  # longest of the plant
THERMOSTAT_BACK_K = 10.0
PRESS_S = 0.3

CONTACT_FAULTS = {
    "stuck_open": "never closes, or the wire is broken",
    "stuck_closed": "never opens",
    "chatter": "opens and closes this many times a second, open 45 % of the time",
    "lost_edges": "the pin follows, but no edge is reported",
}
PIN_FAULTS = {"held_high": "shorted to the supply", "held_low": "shorted to ground"}
STOP_FAULTS = {"pressed": "somebody has pressed it and left it in", "broken": "a wire of the chain is broken"}
MAINS_FAULTS = {"lost": "no mains: supply, coils and fan"}
CHATTER_OPEN = 0.45  # of the time


class Asked(NamedTuple):
    """What reaches the plant from the guard's pins, relay and contactors in between."""

    main_closed: bool = False
    second_closed: bool = False  # true where none is wired
    mains: bool = True
    setpoint_a: float | None = None  # None: the supply has a knob
    on: Mapping[str, bool] = {}  # loads by the name of their output: coolant, ventilation, collect, top_up ...


class Plant(Protocol):
    """What the bench needs of the physics behind it."""

    def advance(self, asked: Asked, dt_s: float) -> None: ...
    def quantities(self) -> Mapping[str, float]: ...  # by name, unit in the name


class FaultError(ValueError):
    """A fault that this bench does not know. The text lists what it does."""


class BenchKernel:
    """Kernel text files of an emulated Pi, by path below /sys."""

    def __init__(self) -> None:
        self.files: dict[str, Callable[[], str]] = {}

    def read(self, path: str) -> str:
        if path not in self.files:
            raise FileNotFoundError(2, "no such file or directory", path)
        return self.files[path]()

    def names(self, folder: str) -> tuple[str, ...]:
        inside = folder.rstrip("/") + "/"
        return tuple(sorted({path[len(inside) :].split("/")[0] for path in self.files if path.startswith(inside)}))


class BenchPorts(NamedTuple):
    """What drivers are plugged into."""

    i2c: Mapping[int, SimBus]
    pins: SimFactory
    kernel: BenchKernel
    simulated: bool = True

    def close(self) -> None:
        self.pins.close()


class Bench:
    def __init__(
        self, wiring: Wiring, plant: Plant, clock: Callable[[], float], seed: int = 1, keeps_outputs: bool = True
    ) -> None:
        self.wiring, self.plant, self._clock = wiring, plant, clock
        self.now_s = clock()
        self._quantities = plant.quantities()
        self._noise = {name: Random(f"{seed} {name}") for name in ("bus", "volts", "sensors", "turbines")}
        self._faults: dict[str, Fault] = {}
        self._pressed_until_s: dict[str, float] = {}
        self.kernel = BenchKernel()
        self.board = PinBoard(clock, keeps_outputs)
        self.board.changed = self._pin_changed
        self._output_of = {output.pin: name for name, output in wiring.pins.items()}
        self._contact_of = {contact.of: contact for contact in wiring.contact}
        self._make_power()
        self._make_sensors()
        self._make_kernel()
        self._check_quantities()
        self._thermostat_closed = True
        self._settle(0.0)

    # --- making

    def _make_power(self) -> None:
        power = self.wiring.power
        main = Contactor(power.main.opens_in_s, power.main.closes_in_s)
        second = power.second and Contactor(power.second.opens_in_s, power.second.closes_in_s)
        self.power = PowerPath(main, second or None, WatchdogRelay(power.watchdog_s), power.seal_in)
        self.power.changed = self._contact_changed

    def _make_sensors(self) -> None:
        wiring = self.wiring
        self._parts: dict[str, tuple[Part, Converter]] = {}
        self._follows: dict[str, str] = {}  # which quantity each signal is looking at
        self.sensors: dict[str, Sensor] = {}
        self.buses: dict[int, SimBus] = {}
        self.chips: dict[str, Ads1115Chip] = {}
        for converter in wiring.converter:
            bus = self.buses.setdefault(converter.bus, SimBus(self._noise["bus"]))
            volts = tuple(self._volts_of(part, converter.supply_v) for part in converter.inputs)
            chip = Ads1115Chip(_inputs(volts), self._clock, converter.supply_v, converter.clock_error)
            bus.chips[converter.address] = self.chips[converter.name] = chip
            for part in converter.inputs:
                self._parts[part.signal] = (part, converter)
                self._add_sensor(part.signal, part.of, part.lag_s)
        for thermometer in wiring.thermometer:
            self._add_sensor(thermometer.signal, thermometer.of, thermometer.lag_s)
        self.turbines: dict[str, Turbine] = {}
        for meter in wiring.meter:
            self._follows[meter.signal] = meter.of
            self.turbines[meter.signal] = Turbine(meter.pulses_per_litre, meter.uneven, self._noise["turbines"])

    def _add_sensor(self, signal: str, of: str, lag_s: float) -> None:
        self._follows[signal] = of
        self.sensors[signal] = Sensor(lag_s, self._noise["sensors"])

    def _volts_of(self, part: Part, supply_v: float) -> Callable[[], float]:
        noise = self._noise["volts"]

        def volts() -> float:
            fault = self._faults.get(part.signal)
            match fault.kind if fault else "":
                case "open":
                    return part.open_v()
                case "short":
                    return 0.0
                case "saturated":
                    return supply_v
            shown = part.volts(self.sensors[part.signal].shown)
            return shown + noise.gauss(0.0, part.noise_v) if part.noise_v else shown

        return volts

    def _make_kernel(self) -> None:
        files = self.kernel.files
        files["module/pinctrl_bcm2835/parameters/persist_gpio_outputs"] = lambda: (
            "Y\n" if self.board.keeps_outputs else "N\n"
        )
        files["class/hwmon/hwmon0/name"] = lambda: "rpi_volt\n"
        files["class/hwmon/hwmon0/in0_lcrit_alarm"] = lambda: f"{int('supply_sags' in self._faults)}\n"
        files["class/thermal/thermal_zone0/temp"] = lambda: "48312\n"
        for thermometer in self.wiring.thermometer:
            files[f"bus/w1/devices/{thermometer.id}/w1_slave"] = self._slave(thermometer)
        for meter in self.wiring.meter:
            if meter.counter:
                files[meter.counter] = self._count(meter)

    def _slave(self, thermometer: Thermometer) -> Callable[[], str]:
        return lambda: onewire.slave_text(self.sensors[thermometer.signal].shown, self.fault_kind(thermometer.signal))

    def _count(self, meter: Meter) -> Callable[[], str]:
        return lambda: f"{self.turbines[meter.signal].pulses}\n"

    def _check_quantities(self) -> None:
        given = {"", "main", "second", "watchdog", "stop_chain", "button", *self._quantities}
        wanted = set(self._follows.values()) | {contact.of for contact in self.wiring.contact}
        if unknown := sorted(wanted - given):
            raise ValueError(f"the plant has no {', '.join(unknown)}; it has: {', '.join(sorted(self._quantities))}")

    # --- what drivers are plugged into

    def ports(self) -> BenchPorts:
        """A new pin factory each time, as a new process would have; bus and pins are the same ones."""
        return BenchPorts(self.buses, SimFactory(self.board, self._clock), self.kernel)

    # --- time

    def advance(self, now_s: float) -> None:
        """Plant, instruments and boards up to a time. The clock given at the start must not be behind it."""
        while now_s - self.now_s > 1e-9:
            self._step(min(now_s, self.now_s + STEP_S))

    def touch(self, now_s: float) -> None:
        """Contacts and relays up to a time, the plant left where it is: before a pin is read in between."""
        self.power.advance(now_s)

    def _step(self, now_s: float) -> None:
        dt_s, from_s = now_s - self.now_s, self.now_s
        self.power.advance(now_s)
        self.plant.advance(self._asked(), dt_s)
        self._quantities = self.plant.quantities()
        self.now_s = now_s
        for meter in self.wiring.meter:
            self._turn(meter, from_s, now_s)
        self._settle(dt_s)

    def _asked(self) -> Asked:
        relay, pins = self.power.relay, self.wiring.pins
        on = {
            name: (self.board.read(output.pin) is (output.active == "high")) and (relay or not output.behind_watchdog)
            for name, output in pins.items()
        }
        setpoint_a = None
        if (given := pins.get("set_point")) is not None:
            setpoint_a = self.board.share(given.pin) * given.full_scale_a if relay else 0.0
        second = self.power.second
        return Asked(self.power.main.path, second is None or second.path, self.power.mains, setpoint_a, on)

    def _settle(self, dt_s: float) -> None:
        """Instruments and contacts follow the plant."""
        for signal, sensor in self.sensors.items():
            sensor.advance(self._quantities.get(self._follows[signal], 0.0), self.now_s, dt_s)
        self._thermostat()
        for contact in self.wiring.contact:
            self._move(contact, dt_s)

    def _thermostat(self) -> None:
        chain = self.wiring.stop_chain
        if chain is not None and (celsius := self._quantities.get("cell_temperature_c")) is not None:
            opens_at_c = chain.thermostat_c if self._thermostat_closed else chain.thermostat_c - THERMOSTAT_BACK_K
            self._thermostat_closed = celsius < opens_at_c
        self.power.set_chain(self._thermostat_closed and "stop_button" not in self._faults, self.now_s)

    def _turn(self, meter: Meter, from_s: float, to_s: float) -> None:
        flow_l_min = self._quantities[self._follows[meter.signal]]
        edges = self.turbines[meter.signal].edges(flow_l_min, from_s, to_s, self._faults.get(meter.signal))
        for at_s, level in edges:
            self.board.drive(meter.pin, level, at_s)

    # --- contacts

    def _move(self, contact: Contact, dt_s: float) -> None:
        fault = self._faults.get(contact.signal)
        if fault is not None and fault.kind == "chatter":
            self._chatter(contact, fault, dt_s)
        else:
            self._close(contact, self._is_closed(contact), self.now_s)

    def _is_closed(self, contact: Contact) -> bool:
        kind = self.fault_kind(contact.signal)
        if kind in ("stuck_open", "stuck_closed"):
            return kind == "stuck_closed"
        match contact.of:
            case "main":
                return self.power.main.auxiliary
            case "second":
                return self.power.second is not None and self.power.second.auxiliary
            case "watchdog":
                return self.power.watchdog.closed  # a pole of its own, apart from the one that feeds the coils
            case "stop_chain":
                return self.power.chain_closed
            case "button":
                return self.now_s < self._pressed_until_s.get(contact.signal, float("-inf"))
            case quantity:
                return contact.closed(self._quantities[quantity])

    def _close(self, contact: Contact, closed: bool, at_s: float) -> None:
        self.board.drive(contact.pin, False if closed else None, at_s)

    def _chatter(self, contact: Contact, fault: Fault, dt_s: float) -> None:
        period_s = 1.0 / fault.amount
        from_s = self.now_s - dt_s
        first = int((from_s - fault.since_s) / period_s)
        for number in range(max(first, 0), int((self.now_s - fault.since_s) / period_s) + 1):
            opens_s = fault.since_s + number * period_s
            for at_s, closed in ((opens_s, False), (opens_s + CHATTER_OPEN * period_s, True)):
                if from_s < at_s <= self.now_s:
                    self._close(contact, closed, at_s)

    def _contact_changed(self, change: Change) -> None:
        """A contact of the power path moved: the pin that reads it follows at that very time."""
        of = {"main_contact": "main", "second_contact": "second", "watchdog": "watchdog"}.get(change.name)
        contact = self._contact_of.get(of) if of else None
        if contact is not None and self.fault_kind(contact.signal) not in CONTACT_FAULTS:
            self._close(contact, change.closed, change.at_s)

    def _pin_changed(self, pin: int, level: bool, at_s: float) -> None:
        name = self._output_of.get(pin)
        if name is not None:
            self.power.drive(name, level is (self.wiring.pins[name].active == "high"), at_s)

    # --- hands and faults

    def press(self, button: str, seconds: float = PRESS_S) -> None:
        """A finger on a button, for a while."""
        contact = next((c for c in self.wiring.contact if c.signal == button and c.of == "button"), None)
        if contact is None:
            raise FaultError(f"no button {button!r}")
        self._pressed_until_s[button] = self.now_s + seconds
        self._close(contact, True, self.now_s)

    def swap(self, first: str, second: str) -> None:
        """Two sensors wired to each other's place. Swapping again undoes it."""
        self._follows[first], self._follows[second] = self._follows[second], self._follows[first]

    def known_faults(self) -> dict[str, dict[str, str]]:
        """Kinds by the part they can sit in, each with what its amount means."""
        known: dict[str, dict[str, str]] = {}
        known |= dict.fromkeys(self._parts, WIRE_FAULTS | SENSOR_FAULTS)
        known |= {t.signal: onewire.LINE_FAULTS | SENSOR_FAULTS for t in self.wiring.thermometer}
        known |= {meter.signal: METER_FAULTS for meter in self.wiring.meter}
        known |= {contact.signal: CONTACT_FAULTS for contact in self.wiring.contact}
        known |= dict.fromkeys(self.chips, CHIP_FAULTS)
        known |= {f"bus {number}": BUS_FAULTS for number in self.buses}
        known |= {f"pin {pin}": PIN_FAULTS for pin in range(28)}
        known |= {"main": CONTACTOR_FAULTS, "watchdog": RELAY_FAULTS, "stop_button": STOP_FAULTS, "mains": MAINS_FAULTS}
        if self.power.second is not None:
            known["second"] = CONTACTOR_FAULTS
        return known | {"supply_sags": {"now": "the Pi's own supply is too low"}}

    def fault_kind(self, part: str) -> str:
        fault = self._faults.get(part)
        return fault.kind if fault else ""

    def fault(self, part: str, kind: str, amount: float = 0.0) -> None:
        """Something goes wrong now. Raises FaultError with what is known."""
        known = self.known_faults()
        if part not in known:
            raise FaultError(f"nothing here is called {part!r}; known: {', '.join(known)}")
        if kind not in known[part]:
            raise FaultError(f"{part} has no fault {kind!r}; known: {', '.join(known[part])}")
        self._faults[part] = Fault(kind, amount, self.now_s)
        self._apply(part, kind, amount)

    def clear(self, part: str = "") -> None:
        """One part is well again, or all of them."""
        for well in [part] if part else list(self._faults):
            if self._faults.pop(well, None) is not None:
                self._apply(well, "", 0.0)

    def _apply(self, part: str, kind: str, amount: float) -> None:
        at_s = max(self.now_s, self.power.now_s)
        if part in self.sensors:
            self.sensors[part].fault = self._faults.get(part)
        device: Any = self.chips.get(part)
        if part.startswith("bus "):
            device = self.buses[int(part[4:])]
        if device is not None:
            device.fault, device.amount = kind, amount
        if part.startswith("pin "):
            self.board.hold(int(part[4:]), {"held_high": True, "held_low": False}.get(kind))
        for contact in self.wiring.contact:
            if contact.signal == part:
                self.board.lose_edges(contact.pin, kind == "lost_edges")
        breaker = {"main": self.power.main, "second": self.power.second, "watchdog": self.power.watchdog}.get(part)
        if breaker is not None:
            self.power.advance(at_s)
            breaker.set_fault(kind, amount, at_s)
            self.power.refresh(at_s)
        if part == "mains":
            self.power.set_mains(kind != "lost", at_s)
        self._settle(0.0)

    # --- what a judge sees

    def truth(self) -> dict[str, Any]:
        """Contacts, relay, quantities, pulses made, faults that stand: what is, whatever anybody reads."""
        return {
            "now_s": self.now_s,
            "closed": self.power.closed,
            "main": self.power.main.path,
            "second": self.power.second.path if self.power.second is not None else None,
            "watchdog": self.power.watchdog.closed,
            "chain": self.power.chain_closed,
            "quantities": dict(self._quantities),
            "loads": dict(self._asked().on),
            "pulses": {signal: turbine.pulses for signal, turbine in self.turbines.items()},
            "faults": {part: fault.kind for part, fault in self._faults.items()},
        }

    @property
    def trace(self) -> tuple[Change, ...]:
        """Everything that contacts, coils and relays have done, in order."""
        return tuple(self.power.trace)


def _inputs(volts: tuple[Callable[[], float], ...]) -> Callable[[int], float]:
    return lambda at: volts[at]() if at < len(volts) else 0.0
