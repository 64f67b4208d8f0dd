"""A bench wired exactly as a rig file describes it, for rigs that have no wiring file of their own."""

from __future__ import annotations

from controller.config import measured, models
from controller.config.load import CompiledRig
from controller.hardware import description as hw
from simulator.boards.physics import TAP
from simulator.boards.wiring import Contact, Converter, Meter, Output, Power, StopChain, Thermometer, Travel, Wiring
from simulator.instruments.parts import (
    Amplifier,
    Divider,
    Fixed,
    Linear,
    Loop,
    Ntc,
    NtcThreeCoefficients,
    Part,
    Platinum,
    Shunt,
)

# What each standard signal looks at, and for contacts from where or up to where they are closed.
LOOKS_AT: dict[str, str] = {
    "current": "current_a",
    "voltage": "stack_voltage_v",
    "cell_temperature": "cell_temperature_c",
    "cell_temperature_2": "cell_temperature_c",
    "terminal_temperature": "terminal_c",
    "coolant_outlet": "coolant_outlet_c",
    "coolant_inlet": "coolant_inlet_c",
    "coolant_flow": "coolant_flow_l_min",
    "pressure_hydrogen": "pressure_h_mbar",
    "pressure_oxygen": "pressure_o_mbar",
    "room_hydrogen": "room_h2_percent",
    "hydrogen_in_oxygen": "h2_in_o2_percent",
    "oxygen_in_hydrogen": "o2_in_h2_percent",
}
CONTACTS: dict[str, tuple[str, float | None, float | None]] = {
    "level_hydrogen": ("level_h_mm", 100.0, None),
    "level_oxygen": ("level_o_mm", 100.0, None),
    "level_not_high": ("level_h_mm", None, 260.0),
    "dry_floor": ("tray_mm", None, 2.0),
    "air_flow": ("air_flow_m3_h", 12.0, None),
    "cooling_air": ("coolant_flow_l_min", 0.75, None),  # the plant's coil stands for the fan's air
    "seal_filled": ("seal_h_mm", 10.0, None),
    "stop_chain": ("stop_chain", None, None),
}
OTHERWISE = "ambient_c"  # a signal nobody here knows looks at something that hardly moves


def wiring_as_described(compiled: CompiledRig) -> Wiring:
    file, hardware = compiled.file, compiled.hardware
    power = file.power
    travel = Travel(opens_in_s=0.4 * power.main.opening_s, closes_in_s=0.5 * power.main.closing_s)
    second = power.second and Travel(0.4 * power.second.opening_s, 0.5 * power.second.closing_s)
    contacts = [
        Contact(name, source.pin, *CONTACTS.get(name, (OTHERWISE, None, None)))
        for name, source in hardware.signals
        if isinstance(source, hw.Switch)
    ]
    for name, of, switch in (
        ("main_contact", "main", hardware.main_contact),
        ("second_contact", "second", hardware.second_contact),
        ("relay_contact", "watchdog", hardware.relay_contact),
    ):
        if switch is not None:
            contacts.append(Contact(name, switch.pin, of))
    contacts += [Contact(f"{name}_button", button.pin, "button") for name, button in hardware.buttons]
    thermostat_c = power.thermostat_C
    return Wiring(
        title=f"{file.title}, wired as its rig file says",
        power=Power(travel, power.watchdog.drops_after_s, power.main.close_pin is not None, second or None),
        pins=_pins(file, hardware),
        converter=_converters(file, hardware),
        thermometer=tuple(
            Thermometer(name, source.sensor_id, LOOKS_AT.get(name, OTHERWISE), 15.0)
            for name, source in hardware.signals
            if isinstance(source, hw.Ds18b20)
        ),
        meter=tuple(
            Meter(name, source.pin, LOOKS_AT.get(name, OTHERWISE), source.pulses_per_litre, 0.02)
            for name, source in hardware.signals
            if isinstance(source, hw.PulseMeter)
        ),
        contact=tuple(contacts),
        stop_chain=StopChain(1000.0 if thermostat_c is None else thermostat_c),
        invented=file.invented,
    )


def _pins(file: models.RigFile, hardware: hw.Hardware) -> dict[str, Output]:
    pins = {
        name: Output(out.pin, "high" if out.active_high else "low", _behind(file, name))
        for name, out in hardware.outputs
    }
    if hardware.heartbeat is not None:
        pins["edge"] = Output(hardware.heartbeat.pin)
    if hardware.set_point is not None:
        point = hardware.set_point
        pins["set_point"] = Output(point.pin, "high", _behind(file, "set_point"), point.full_scale_a)
    return pins


def _behind(file: models.RigFile, name: str) -> bool:
    if name == "set_point":
        return file.set_point is not None and file.set_point.behind_watchdog
    output = file.outputs.get(name)  # type: ignore[call-overload]
    return output is not None and output.behind_watchdog


def _converters(file: models.RigFile, hardware: hw.Hardware) -> tuple[Converter, ...]:
    supply_v = {(c.bus, c.address): c.supply_V for c in file.converters.values()}
    chips: dict[hw.Ads1115, dict[int, Part]] = {}
    for name, source in hardware.signals:
        if not isinstance(source, hw.Ads1115Channel):
            continue
        inputs = chips.setdefault(source.chip, {})
        signal = file.signals[name]
        middle_v = getattr(signal, "middle_V", None) or 0.0
        chip_v = supply_v.get((source.chip.bus, source.chip.address), 3.3)
        inputs[source.positive] = _part(name, signal, middle_v, chip_v)
        if source.negative is not None:
            inputs.setdefault(source.negative, Fixed("fixed", f"{name} middle", volts_always=middle_v))
    for chip, inputs in chips.items():
        if chip.known is not None:
            reference = f"reference {chip.address:#04x}"
            inputs[chip.known.positive] = Fixed("fixed", reference, volts_always=chip.known.volts)
    return tuple(
        Converter(
            chip.bus,
            chip.address,
            supply_v.get((chip.bus, chip.address), 3.3),
            tuple(
                inputs.get(at) or Fixed("fixed", f"unused {chip.address:#04x} {at}", volts_always=0.0)
                for at in range(4)
            ),
        )
        for chip, inputs in chips.items()
    )


def _part(name: str, signal: object, middle_v: float, supply_v: float) -> Part:
    of = f"{name}_v" if TAP.fullmatch(f"{name}_v") else LOOKS_AT.get(name, OTHERWISE)
    if isinstance(signal, measured.Channel):
        if signal.V_per_A is not None:
            return Shunt("shunt", name, of, 75.0, 50.0, signal.V_per_A * 50.0 / 0.075, middle_v, noise_v=3e-5)
        if signal.hall is not None:
            at_rest_v = middle_v if signal.minus is not None else signal.hall.rail_V / 2.0
            return Linear(
                "linear", name, of, at_rest_v, at_rest_v + 10.0 * signal.hall.V_per_A, 0.0, 10.0, noise_v=2e-4
            )
        if signal.V_per_V is not None:
            return Amplifier("amplifier", name, of, signal.V_per_V, middle_v, noise_v=2e-4)
        if signal.divider is not None:
            return Divider("divider", name, of, signal.divider.top_ohm, signal.divider.bottom_ohm)
        if signal.loop is not None:
            low, high = signal.loop.means
            return Loop("loop", name, of, signal.loop.ohm, low, high, lag_s=8.0)
        if signal.thermistor is not None:
            ntc = signal.thermistor
            return Ntc(
                "ntc", name, of, ntc.ohm_at_25_C, ntc.beta_K,
                pull_up_ohm=ntc.pull_up_ohm, pull_up_v=supply_v, lag_s=10.0,
            )  # fmt: skip
        if signal.steinhart_hart is not None:
            by = signal.steinhart_hart
            return NtcThreeCoefficients(
                "ntc by three", name, of, by.a, by.b, by.c, pull_up_ohm=by.pull_up_ohm, pull_up_v=supply_v, lag_s=10.0
            )
        if signal.platinum is not None:
            wire = signal.platinum
            return Platinum(
                "platinum", name, of, wire.ohm_at_0_C, pull_up_ohm=wire.pull_up_ohm, pull_up_v=supply_v, lag_s=10.0
            )
        if signal.two_points is not None:
            (low_v, high_v), (low, high) = signal.two_points.at_V, signal.two_points.means
            return Linear("linear", name, of, low_v, high_v, low, high, noise_v=1e-4)
    if isinstance(signal, measured.SupervisedChannel):
        return Fixed("fixed", name, volts_always=signal.supervised.closed_V)
    raise ValueError(f"{name}: a bench cannot be worked out for this sensor; write a wiring file beside the rig file")
