"""From the power path, outputs and contacts of a rig file to what is driven, and who has which pin."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from controller.config import measured, models
from controller.config.lines import Path
from controller.config.problems import Problems
from controller.config.signals import Fitted, refused
from controller.hardware import description as hw

T = TypeVar("T")

THREE_WAYS = (
    "A relay board that pulls in on low has three ways out: feed its input side from 3.3 V with the jumper off and "
    "drive it through one transistor, so that high means on; put a second transistor stage before it; or use it only "
    "for outputs behind the watchdog relay and take a board with active-high inputs for the coils."
)
DRIVERS = (
    "One word at the top of the file holds for the whole rig: real and emulated parts are never mixed, or a real coil "
    "could close on pretended readings."
)


def _made(make: Callable[[], T], path: Path, problems: Problems) -> T | None:
    try:
        return make()
    except ValueError as refusal:
        refused(refusal, path, problems)
        return None


def _coil(pin: int, active: str, path: Path, problems: Problems) -> bool:
    """Whether a coil may hang on this pin: low must mean off, and so must a Pi that boots."""
    if active == "low":
        problems.add((*path, "active"), "a coil that is energised by low is on whenever the Pi is dead", THREE_WAYS)
        return False
    if pin in (14, 15):
        problems.add((*path, "pin"), f"pin {pin} is the console and toggles while the Pi boots", _FREE)
        return False
    if pin <= 8:
        problems.add(
            (*path, "pin"),
            f"pin {pin} is pulled up from reset until the guard takes it, which energises the coil",
            _FREE,
        )
        return False
    return True


_FREE = "Give one of 9 to 13 or 16 to 27: these are pulled down."


def compile_hardware(file: models.RigFile, signals: dict[str, Fitted], problems: Problems) -> hw.Hardware | None:
    """Everything that is opened at start, or None with the reasons reported."""
    power = file.power
    coils: list[tuple[str, Path, int, str]] = [("main_hold", ("power", "main"), power.main.pin, power.main.active)]
    if power.main.close_pin is not None:
        coils.append(("main_close", ("power", "main"), power.main.close_pin, "high"))
    if power.second is not None:
        coils.append(("second", ("power", "second"), power.second.pin, power.second.active))
    outputs: list[tuple[str, hw.OutputPin]] = []
    for name, path, pin, active in coils:
        if _coil(pin, active, path, problems):
            outputs.append((name, hw.OutputPin(pin)))
    heartbeat = None
    if _coil(power.watchdog.pin, "high", ("power", "watchdog"), problems):
        heartbeat = hw.Heartbeat(power.watchdog.pin)
    for name, output in file.outputs.items():
        made = _output(name, output, problems)
        if made is not None:
            outputs.append((name, made))
    set_point = None
    if file.set_point is not None:
        table = file.set_point
        path = ("set_point",)
        if not table.behind_watchdog:
            wrong = "the set-point would stay at its last pulse width when the Pi dies"
            problems.add(
                (*path, "behind_watchdog"), wrong, "Feed its interface through the watchdog relay and say true."
            )
        set_point = _made(lambda: hw.SetPoint(table.pin, table.full_scale_A, table.frequency_Hz), path, problems)
    second_contact = power.second.contact if power.second else None
    contacts = {
        "main_contact": _contact(power.main.contact, ("power", "main", "contact"), problems),
        "second_contact": _contact(second_contact, ("power", "second", "contact"), problems),
        "relay_contact": _contact(power.watchdog.contact, ("power", "watchdog", "contact"), problems),
    }
    buttons = [(name, _contact(contact, ("buttons", name), problems)) for name, contact in file.buttons.items()]
    _one_each(file, problems)
    if problems.found:
        return None
    return _made(
        lambda: hw.Hardware(
            signals=tuple((name, fitted.source) for name, fitted in signals.items()),
            outputs=tuple(outputs),
            heartbeat=heartbeat,
            set_point=set_point,
            buttons=tuple((name, switch) for name, switch in buttons if switch is not None),
            **contacts,
        ),
        (),
        problems,
    )


def _output(name: str, output: models.Output, problems: Problems) -> hw.OutputPin | None:
    path: Path = ("outputs", name)
    wanted = SAFE[name]
    if output.safe != wanted:
        problems.add((*path, "safe"), f"{name} must be {wanted} when the Pi is dead", f'Give safe = "{wanted}".')
        return None
    if output.safe == "on" and output.wiring is None:
        problems.add(
            (*path, "wiring"),
            "is missing, and a dead Pi switches nothing on",
            "Say how the wiring keeps it on by itself, for instance: on the mains, through a relay's break contact.",
        )
        return None
    if name in BEHIND_WATCHDOG and not output.behind_watchdog:
        wrong = f"{name} would stay as it is when the guard dies: a Pi keeps its output levels"
        problems.add((*path, "behind_watchdog"), wrong, "Feed it through the watchdog relay and say true.")
        return None
    return _made(lambda: hw.OutputPin(output.pin, output.active == "high", output.safe == "on"), path, problems)


# What an output must be with the Pi dead: air goes on, everything else is off.
SAFE = {"coolant": "off", "ventilation": "on", "collect": "off", "top_up": "off", "horn": "off", "lamp": "off"}
BEHIND_WATCHDOG = frozenset({"collect", "top_up"})


def _contact(contact: models.Contact | None, path: Path, problems: Problems) -> hw.Switch | None:
    if contact is None:
        return None
    return _made(lambda: hw.Switch(contact.pin, contact.pull, contact.proven_when), path, problems)


def _pins(file: models.RigFile) -> list[tuple[Path, int]]:
    power = file.power
    pins: list[tuple[Path, int]] = [(("power", "main", "pin"), power.main.pin)]
    if power.main.close_pin is not None:
        pins.append((("power", "main", "close_pin"), power.main.close_pin))
    if power.second is not None:
        pins.append((("power", "second", "pin"), power.second.pin))
    pins.append((("power", "watchdog", "pin"), power.watchdog.pin))
    for part in ("main", "second", "watchdog"):
        contact = getattr(getattr(power, part), "contact", None)
        if contact is not None:
            pins.append((("power", part, "contact", "pin"), contact.pin))
    pins += [(("outputs", name, "pin"), output.pin) for name, output in file.outputs.items()]
    if file.set_point is not None:
        pins.append((("set_point", "pin"), file.set_point.pin))
    pins += [(("buttons", name, "pin"), button.pin) for name, button in file.buttons.items()]
    for name, signal in file.fitted.items():
        if isinstance(signal, measured.PulseMeter | measured.Switch):
            pins.append((("signals", name, "pin"), signal.pin))
    return pins


def _one_each(file: models.RigFile, problems: Problems) -> None:
    """No pin, converter input or sensor is asked for twice."""
    taken: dict[object, Path] = {}

    def take(thing: object, words: str, path: Path, right: str) -> None:
        if thing in taken:
            problems.add(path, f"{words} is taken by {'.'.join(map(str, taken[thing]))}", right)
        else:
            taken[thing] = path

    if file.converters:
        taken[("pin", 2)], taken[("pin", 3)] = ("I2C data",), ("I2C clock",)
    if any(isinstance(s, measured.Ds18b20) for s in file.fitted.values()):
        taken[("pin", 4)] = ("1-Wire",)
    for path, pin in _pins(file):
        take(("pin", pin), f"pin {pin}", path, "Give each its own pin.")
    for name, chip in file.converters.items():
        words = f"converter {chip.address:#04x} on bus {chip.bus}"
        take((chip.bus, chip.address), words, ("converters", name, "address"), "Set another address with its ADDR pin.")
        if chip.reference is not None:
            words = f"input {chip.reference.input} of {name}"
            take((name, chip.reference.input), words, ("converters", name, "reference", "input"), "Give another input.")
    for name, signal in file.fitted.items():
        here: Path = ("signals", name)
        if isinstance(signal, measured.Channel | measured.SupervisedChannel):
            words = f"input {signal.plus} of {signal.converter}"
            take((signal.converter, signal.plus), words, (*here, "plus"), "Give each signal an input of its own.")
        elif isinstance(signal, measured.Ds18b20):
            take(("1-Wire", signal.id), f"sensor {signal.id}", (*here, "id"), "Give each signal a sensor of its own.")
        elif isinstance(signal, measured.KernelCounter):
            take(("counter", signal.path), f"counter {signal.path}", (*here, "path"), "Give each its own.")
        elif isinstance(signal, measured.ControllerSupply | measured.ControllerTemperature):
            take(signal.sensor, f"the {signal.sensor}", (*here, "sensor"), "Once is enough.")
