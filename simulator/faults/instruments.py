"""Faults of sensors, their wires, converters and buses. Each is put on a part: `on` names the signal, chip or bus."""

from __future__ import annotations

from simulator.faults.kinds import Act, FaultKind, Fits, Parameter

_HUGE = 1e6


def _on(kind: str, amount: float | str = 0.0, neutral: float = 0.0) -> tuple[Act, ...]:
    return (Act("{on}", kind, amount, neutral),)


def _amount(default: float, says: str) -> tuple[Parameter, ...]:
    return (Parameter("amount", default, -_HUGE, _HUGE, says),)


def _hz(default: float, says: str) -> tuple[Parameter, ...]:
    return (Parameter("hz", default, 0.01, 10_000.0, says),)


SENSORS = (
    FaultKind(
        "sensor-stuck", "Sensor stuck", "It keeps showing what it showed, freshly stamped.",
        _on("stuck"), fits=Fits.MEASURED, hidden=True,
    ),
    FaultKind(
        "sensor-offset", "Sensor reads wrong by a fixed amount",
        "A probe that has slipped out of its well, a zero that moved.",
        _on("offset", "amount"), _amount(-10.0, "shown too much, in the signal's unit"), Fits.MEASURED, hidden=True,
    ),
    FaultKind(
        "sensor-drifts", "Sensor drifts", "Wet electronics: the reading creeps, a little more every minute.",
        _on("drift", "amount"), _amount(1.0, "more every minute, in the signal's unit"), Fits.MEASURED, hidden=True,
    ),
    FaultKind(
        "sensor-noisy", "Sensor noisy", "A lead beside the power cable, or an earth lost.",
        _on("noise", "amount"), _amount(1.0, "standard deviation, in the signal's unit"), Fits.MEASURED, hidden=True,
    ),
    FaultKind(
        "sensor-spikes", "Sensor spikes", "A relay switches nearby: one sample in ten is far off.",
        _on("spike", "amount"), _amount(5.0, "height, in the signal's unit"), Fits.MEASURED, hidden=True,
    ),
    FaultKind(
        "sensor-wrong-scale", "Sensor scaled wrongly",
        "A shunt of another size was built in, and nobody told the rig file.",
        _on("gain", "factor", 1.0), (Parameter("factor", 0.5, -10.0, 10.0, "on what it shows"),), Fits.MEASURED,
        hidden=True,
    ),
    FaultKind(
        "wire-open", "Sensor wire broken", "A wire has come off its terminal.",
        _on("open"), fits=Fits.ANALOGUE,
    ),
    FaultKind(
        "wire-shorted", "Sensor wire shorted", "A wire is squeezed under the lid, against ground.",
        _on("short"), fits=Fits.ANALOGUE,
    ),
    FaultKind(
        "sensor-saturated", "Sensor at its end", "The amplifier stands at its upper end, whatever flows.",
        _on("saturated"), fits=Fits.ANALOGUE,
    ),
    FaultKind(
        "sensors-swapped", "Two sensors changed over", "Two plugs fit both sockets.",
        (Act("{on}", "swapped"),), fits=Fits.MEASURED, hidden=True,
    ),
    FaultKind(
        "over-temperature", "The lye reads hotter and hotter",
        "The thermometer's reading climbs a kelvin a second: what the guard sees when the lye really overheats, "
        "but fast. "
        "The true way takes an hour: coolant-lost with its limit bypassed.",
        (Act("cell_temperature", "drift", "per_min"),),
        (Parameter("per_min", 60.0, 0.0, 600.0, "kelvin a minute"),),
    ),
)  # fmt: skip

ONE_WIRE = (
    FaultKind(
        "thermometer-gone", "Thermometer gone from its bus",
        "The sensor's folder vanishes, for minutes or until its power is pulled.",
        _on("absent"), fits=Fits.THERMOMETER,
    ),
    FaultKind(
        "thermometer-power-on", "Thermometer shows its power-on value",
        "It lost power for a moment and says 85.0 C with a valid checksum.",
        _on("power_on"), fits=Fits.THERMOMETER,
    ),
    FaultKind(
        "thermometer-all-zero", "1-Wire line shorted",
        "Nine zeros have a valid checksum and would read 0.0 C.",
        _on("all_zeros"), fits=Fits.THERMOMETER,
    ),
    FaultKind(
        "thermometer-garbled", "1-Wire line disturbed",
        "A motor starts: the checksum is wrong, for one reading or for many.",
        _on("bad_checksum"), fits=Fits.THERMOMETER,
    ),
    FaultKind(
        "thermometer-empty", "Thermometer's file empty",
        "The kernel's file is there, but nothing stands in it.",
        _on("empty"), fits=Fits.THERMOMETER,
    ),
    FaultKind(
        "thermometer-hangs", "A read of the thermometer never returns",
        "The kernel waits for a sensor that does not answer: whoever reads it stands still.",
        _on("hang"), fits=Fits.THERMOMETER,
    ),
    FaultKind(
        "thermometer-clone", "Thermometer is a copy",
        "A copy of the chip shows the byte of the power-on value at any temperature; it measures all the same.",
        _on("clone"), fits=Fits.THERMOMETER, harmless=True,
    ),
)  # fmt: skip

CONVERTERS = (
    FaultKind(
        "bus-errors", "I2C bus disturbed",
        "A motor switches: a share of the transfers fails with remote I/O errors.",
        _on("errors", "share"), (Parameter("share", 0.3, 0.0, 1.0, "of the transfers that fail"),), Fits.BUS,
        hidden=True,
    ),
    FaultKind(
        "bus-dead", "I2C bus dead", "Every transfer fails.", _on("dead"), fits=Fits.BUS,
    ),
    FaultKind(
        "bus-hangs", "I2C bus hangs", "A chip holds the data line and nobody gets the bus.", _on("held"), fits=Fits.BUS,
    ),
    FaultKind(
        "bus-one-error", "One I2C error", "A single transfer fails with errno 5.",
        _on("one_error"), fits=Fits.BUS, harmless=True,
    ),
    FaultKind(
        "converter-absent", "Converter does not answer", "It has lost its supply, or a wire is off.",
        _on("absent"), fits=Fits.CONVERTER,
    ),
    FaultKind(
        "converter-never-ready", "Conversion never ends",
        "The chip's oscillator has stopped: the ready bit never comes.",
        _on("never_ready"), fits=Fits.CONVERTER,
    ),
    FaultKind(
        "converter-wrong-channel", "Converter shows another input",
        "The multiplexer is stuck: every channel shows the input it last converted.",
        _on("mux_stuck"), fits=Fits.CONVERTER,
    ),
    FaultKind(
        "converter-dead-reference", "Converter's reference is off",
        "Everything is read by the same wrong factor. A known voltage on one input shows it.",
        _on("reference", "factor", 1.0), (Parameter("factor", 0.9, 0.0, 2.0, "on all it converts"),), Fits.CONVERTER,
    ),
    FaultKind(
        "converter-brown-out", "Converter browns out once", "It loses its registers in the middle of a conversion.",
        _on("brown_out"), fits=Fits.CONVERTER, harmless=True,
    ),
    FaultKind(
        "converter-all-zero", "Data line shorted low", "Everything on the chip reads zero, and seems to be read well.",
        _on("all_zeros"), fits=Fits.CONVERTER,
    ),
)  # fmt: skip

METERS = (
    FaultKind(
        "meter-blocked", "Flow meter blocked", "Grit holds the turbine: water flows, but no pulse comes.",
        _on("stuck"), fits=Fits.METER,
    ),
    FaultKind(
        "meter-phantom", "Pulses without flow",
        "A motor's noise counts as flow: short spikes at random, while nothing flows.",
        _on("spikes", "hz"), _hz(12.0, "spikes a second"), Fits.METER,
    ),
    FaultKind(
        "meter-hums", "Meter counts the mains", "Pulses of 5 ms at exactly twice the mains frequency, and none "
        "from flow.",
        _on("hum", "hz"), _hz(100.0, "pulses a second"), Fits.METER,
    ),
    FaultKind(
        "meter-burst", "A burst of edges on the meter's wire", "A relay switches: forty edges within milliseconds.",
        _on("burst", 40.0), fits=Fits.METER, harmless=True, for_s=1.0,
    ),
    FaultKind(
        "meter-loses-pulses", "Meter loses pulses", "A weak magnet: a share of the pulses does not come.",
        _on("loses", "share"), (Parameter("share", 0.7, 0.0, 1.0, "of the pulses that are lost"),), Fits.METER,
    ),
)  # fmt: skip

CONTACTS = (
    FaultKind(
        "contact-open", "Contact never closes", "A broken wire, a float that hangs low: it says that something "
        "is wrong.",
        _on("stuck_open"), fits=Fits.CONTACT,
    ),
    FaultKind(
        "contact-closed", "Contact never opens",
        "A float held up by dirt or a cable crushed together: it says that all is well, whatever is.",
        _on("stuck_closed"), fits=Fits.CONTACT, hidden=True,
    ),
    FaultKind(
        "contact-bounces", "Contact bounces", "Waves at the float's height: open 45 % of the time, many times a "
        "second.",
        _on("chatter", "hz"), _hz(1.5, "times a second"), Fits.CONTACT, harmless=True,
    ),
    FaultKind(
        "contact-lost-edges", "Edges of a contact are lost", "The pin follows, but no edge is reported.",
        _on("lost_edges"), fits=Fits.CONTACT, harmless=True,
    ),
    FaultKind(
        "level-low", "The hydrogen side's float falls",
        "The lye has sunk to the float, or its wire is broken: both look the same.",
        (Act("level_hydrogen", "stuck_open"),),
    ),
    FaultKind(
        "stop-pressed", "Stop button pressed", "Somebody hits the mushroom button, or its wire breaks.",
        (Act("stop_button", "pressed"),),
    ),
)  # fmt: skip

FAULTS = SENSORS + ONE_WIRE + CONVERTERS + METERS + CONTACTS
