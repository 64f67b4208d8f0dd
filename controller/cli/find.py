"""`lyewatch find`: which chip, probe and wire is which, by touching them one after the other."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import click

from controller.cli.problems import Problem, examples
from controller.config.load import CompiledRig
from controller.guard.lock import LOCKS, Locks, Taken, names_of
from controller.hardware.description import Ads1115Channel, PulseMeter, Switch
from controller.hardware.find import Finder, Moved, Seen, moved
from controller.hardware.ports import Ports

EVERY_S = 0.5
GESTURES = {
    "cell_temperature": "warm the probe of the lye in your hand",
    "cell_temperature_2": "warm the second probe of the lye in your hand",
    "coolant_outlet": "warm the probe on the return hose in your hand",
    "coolant_inlet": "warm the probe on the inlet in your hand",
    "ambient": "warm the probe of the room in your hand",
    "coolant_flow": "open the tap for some seconds",
    "cooling_air": "stop the cooling fan with a card, or start it",
    "air_flow": "move the vane in the duct",
    "level_hydrogen": "lift or lower the float of the hydrogen side",
    "level_oxygen": "lift or lower the float of the oxygen side",
    "level_not_high": "lift the upper float",
    "dry_floor": "wet the leak sensor",
    "stop_chain": "press the stop button",
    "pressure_hydrogen": "blow gently into the hydrogen side's line",
    "pressure_oxygen": "blow gently into the oxygen side's line",
}


def clock() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@click.command(epilog=examples("find", "find shed.toml", "find boathouse --bench /tmp/lyewatch-bench --once"))
@click.argument("rig", required=False)
@click.option("--bench", type=click.Path(path_type=Path), help="Folder of a running bench, instead of real hardware.")
@click.option("--bus", "buses", type=click.IntRange(0, 20), multiple=True, default=(1,), show_default=True)
@click.option("--once", is_flag=True, help="List what is there, and ask for no touch.")
@click.option("--seconds", default=30.0, show_default=True, type=click.FloatRange(0.5, 600), help="For each touch.")
def find(rig: str | None, bench: Path | None, buses: tuple[int, ...], once: bool, seconds: float) -> None:
    """List converters and thermometers, and name each by touch.

    With RIG, a rig file, it asks for each of its signals and says whether what moved is what the file names. Pins are
    only looked at, and only those that RIG names as inputs. Stop the guard first.
    """
    from controller.cli.rigs import load

    compiled = None if rig is None else load(rig)
    with opened(bench, buses) as ports:
        finder = Finder(ports, _inputs(compiled), clock, time.sleep)
        try:
            click.echo(listed(finder.look(), finder, compiled))
            if not once:
                _touch(finder, compiled, seconds)
        finally:
            finder.close()


@contextmanager
def opened(bench: Path | None, buses: tuple[int, ...]) -> Iterator[Ports]:
    """Real ports, or a bench's. Raises Problem where a guard has them."""
    with ExitStack() as undo:
        ports: Ports
        try:
            if bench is None:
                from controller.hardware.linux_ports import LinuxPorts

                undo.callback(Locks(LOCKS, names_of(buses, "pins")).release)
                ports = LinuxPorts(buses, Path(undo.enter_context(tempfile.TemporaryDirectory())))
            else:
                from simulator.boards.client import LinkPorts

                undo.callback(Locks(bench, ("bench",)).release)
                ports = LinkPorts(bench, clock)
        except Taken as error:
            raise Problem(str(error)) from None
        except OSError as error:
            raise Problem(f"nothing can be looked at: {error.strerror or error}", 2) from None
        undo.callback(ports.close)
        yield ports


def _inputs(compiled: CompiledRig | None) -> dict[int, str]:
    if compiled is None:
        return {}
    return {s.pin: s.pull for _, s in compiled.hardware.signals if isinstance(s, Switch | PulseMeter)}


def listed(seen: Seen, finder: Finder, compiled: CompiledRig | None) -> str:
    """What is there, each with the signal that the rig file has on it."""
    signals = {} if compiled is None else {_name_of(source): name for name, source in compiled.hardware.signals}
    lines = []
    for bus, address in finder.chips():
        lines.append(f"converter {address:#x} on bus {bus}")
        for number in range(4):
            volts = seen.volts.get((bus, address, number))
            if volts is not None:
                signal = signals.get(f"input {number} of {address:#x} on bus {bus}", "")
                lines.append(f"  input {number}   {round(volts, 3) + 0.0:.3f} V   {signal}".rstrip())
    for name, celsius in seen.celsius.items():
        lines.append(f"thermometer {name}   {celsius:.1f} C   {signals.get(name, '')}".rstrip())
    lines += [f"thermometer {name}   cannot be read: check its wires and pull-up" for name in seen.silent]
    for pin, level in sorted(seen.levels.items()):
        lines.append(f"pin {pin}   {'high' if level else 'low'}   {signals.get(f'pin {pin}', '')}".rstrip())
    return "\n".join(lines) or (
        "Nothing answers: no converter at 0x48 to 0x4b, no thermometer. Are I2C and 1-Wire on (raspi-config)?"
    )


def _touch(finder: Finder, compiled: CompiledRig | None, seconds: float) -> None:
    if compiled is None:
        click.echo(f"\nTouch one thing: warm a probe in your hand. What moves is named, for {seconds:g} s.")
        _report(_what_moves(finder, seconds, ()), None)
        return
    taken: list[str] = []
    for signal, source in compiled.hardware.signals:
        gesture = GESTURES.get(signal)
        if gesture is None:
            continue
        expected = _name_of(source)
        click.echo(f"\n{signal}: {gesture} ...")
        found = _what_moves(finder, seconds, taken)
        _report(found, expected)
        taken += [m.name for m in found[:1]]


def _name_of(source: object) -> str:
    if isinstance(source, Ads1115Channel):
        return f"input {source.positive} of {source.chip.address:#x} on bus {source.chip.bus}"
    pin = getattr(source, "pin", None)
    return f"pin {pin}" if pin is not None else str(getattr(source, "sensor_id", ""))


def _what_moves(finder: Finder, seconds: float, taken: Iterable[str]) -> list[Moved]:
    """What moves first, or nothing when the time is over."""
    before = finder.look()
    until_s = clock() + seconds
    while clock() < until_s:
        time.sleep(EVERY_S)
        found = moved(before, finder.look(), taken)
        if found:
            return found
    return []


def _report(found: list[Moved], expected: str | None) -> None:
    if not found:
        click.echo("  nothing moved: is it wired, and is it the one you touched?")
        return
    first = found[0]
    if expected is None or first.name == expected:
        click.echo(f"  {first.what}" + ("" if expected is None else "   as the rig file says"))
    else:
        click.echo(f"  {first.what}, but the rig file says {expected}: change the file, or the plug")
    for other in found[1:]:
        click.echo(f"  moved too: {other.what}")

