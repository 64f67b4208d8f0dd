"""What the drivers are told about the shipped benches, written apart from the wiring files."""

from __future__ import annotations

from controller.hardware.description import (
    Ads1115,
    Ads1115Channel,
    CoreTemperature,
    Ds18b20,
    Hardware,
    Heartbeat,
    KnownVoltage,
    OutputPin,
    PulseMeter,
    SetPoint,
    SupplyGood,
    Switch,
)
from controller.hardware.scales import CurrentLoop, TwoPoint, shunt_amplifier

_FIRST = Ads1115(1, 0x48, known=KnownVoltage(3, 1.65, 4.096))
_SECOND = Ads1115(1, 0x49, known=KnownVoltage(3, 2.5, 4.096))
_PRESSURE = TwoPoint(0.5, -50.0, 2.5, 150.0)

BOATHOUSE = Hardware(
    signals=(
        ("current", Ads1115Channel(_FIRST, 0, 0.512, shunt_amplifier(0.010), negative=3)),
        ("voltage", Ads1115Channel(_FIRST, 2, 2.048, TwoPoint(0.0, 0.0, 0.1, 1.0), negative=3)),
        ("hydrogen_in_oxygen", Ads1115Channel(_FIRST, 1, 4.096, CurrentLoop(100.0, 0.0, 4.0))),
        ("pressure_hydrogen", Ads1115Channel(_SECOND, 0, 4.096, _PRESSURE)),
        ("pressure_oxygen", Ads1115Channel(_SECOND, 1, 4.096, _PRESSURE)),
        ("room_hydrogen", Ads1115Channel(_SECOND, 2, 4.096, TwoPoint(0.4, 0.0, 2.0, 2.0))),
        ("cell_temperature", Ds18b20("28-0b0a7e110001")),
        ("coolant_outlet", Ds18b20("28-0b0a7e110002")),
        ("coolant_flow", PulseMeter(5, 450.0, 0.4, 8.0)),
        ("level_hydrogen", Switch(6)),
        ("level_oxygen", Switch(16)),
        ("dry_floor", Switch(21)),
        ("stop_chain", Switch(26)),
        ("supply", SupplyGood()),
        ("core_temperature", CoreTemperature()),
    ),
    outputs=(
        ("main_hold", OutputPin(27)),
        ("main_close", OutputPin(22)),
        ("second", OutputPin(23)),
        ("coolant", OutputPin(10)),
        ("ventilation", OutputPin(9, active_high=False, safe_on=True)),
        ("collect", OutputPin(25)),
        ("top_up", OutputPin(12)),
    ),
    heartbeat=Heartbeat(17),
    set_point=SetPoint(18, 40.0),
    main_contact=Switch(7),
    second_contact=Switch(8),
    relay_contact=Switch(24),
    buttons=(("start", Switch(15)), ("reset", Switch(14))),
)
