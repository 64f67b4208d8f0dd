"""`lyewatch demo`: a whole rig on this machine, simulated below the drivers, every part a process of its own.

With --fault it judges: whether power went off, and when, is the bench's own word; what the guard says is compared with
it afterwards, never believed beforehand.
"""

from __future__ import annotations

import os
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

from controller.cli.bench import control
from controller.cli.faults import FAULTS, Named
from controller.cli.problems import Problem, examples
from controller.cli.watch import show
from controller.config.load import load
from controller.config.problems import RigFileError
from controller.config.rigs import names, shipped
from controller.core.commands import Verb
from controller.guard.client import Client, NoGuard

PATIENCE_S = 30.0
POWER_WITHIN_S = 90.0
MQTT_V5 = """id = 0
[router]
id = 0
max_connections = 100
max_outgoing_packet_count = 200
max_segment_size = 1048576
max_segment_count = 10
[v5.1]
name = "demo"
listen = "127.0.0.1:{port}"
next_connection_delay_ms = 1
[v5.1.connections]
connection_timeout_ms = 60000
max_payload_size = 262144
max_inflight_count = 100
dynamic_filters = true
"""


def wait_for(what: str, so: Callable[[], Any], within_s: float = PATIENCE_S) -> Any:
    until_s = time.monotonic() + within_s
    while not (found := so()):
        if time.monotonic() > until_s:
            raise Problem(f"the demo did not get there: no {what} within {within_s:g} s")
        time.sleep(0.05)
    return found


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    return port


class Company:
    """The processes of one demo, ended together whatever happens."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, name: str, *command: str) -> None:
        log = (self.folder / f"{name}.log").open("ab")
        self._running[name] = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True
        )
        log.close()

    def lyewatch(self, name: str, *arguments: str) -> None:
        self.start(name, sys.executable, "-m", "controller.cli", *arguments)

    def alive(self, name: str) -> bool:
        """Raises Problem with its last words when it has ended by itself."""
        if self._running[name].poll() is None:
            return True
        words = (self.folder / f"{name}.log").read_text(errors="replace").strip().splitlines()
        raise Problem(f"the {name} ended: " + (words[-1] if words else f"code {self._running[name].returncode}"))

    def kill(self, name: str) -> None:
        self._running[name].kill()
        self._running.pop(name).wait()

    def end(self) -> None:
        """The guard first, in order; the bench last, so that it sees everything off."""
        for name in sorted(self._running, key=lambda n: {"guard": 0, "bench": 2}.get(n, 1)):
            process = self._running[name]
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
            try:
                process.wait(10.0)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self._running.clear()


class Demo:
    def __init__(self, company: Company, rig: str) -> None:
        self.company, self.rig, self.folder = company, rig, company.folder
        self.page = ""

    def truth(self) -> dict[str, Any]:
        truth: dict[str, Any] = control(self.folder, "truth")
        return truth

    def powered(self) -> bool:
        truth = self.truth()
        return bool(truth["closed"]) and truth["quantities"]["current_a"] > 1.0

    def dead(self) -> bool:
        truth = self.truth()
        return not truth["closed"] and abs(truth["quantities"]["current_a"]) < 0.05

    def start_guard(self) -> dict[str, Any]:
        self.company.lyewatch("guard", "guard", self.rig, "--bench", str(self.folder))
        return self.guard_answers()

    def guard_answers(self) -> dict[str, Any]:
        """What a guard that was just started says of itself; waits for its first answer."""

        def answers() -> dict[str, Any] | None:
            self.company.alive("guard")
            try:
                with Client(self.folder / "local.sock") as client:
                    return client.status()
            except NoGuard:
                return None

        status: dict[str, Any] = wait_for("guard", answers)
        return status

    def start(self, lye_c: float = 20.0) -> list[str]:
        """Bench, broker, guard, link; what is left out, and why."""
        left_out: list[str] = []
        self.company.lyewatch("bench", "bench", self.rig, "--dir", str(self.folder), "--at", str(lye_c))
        wait_for("bench", lambda: self.company.alive("bench") and (self.folder / "control").exists())
        self.start_guard()
        port = self._broker()
        if port is None:
            return [*left_out, "telemetry and phone page: neither mosquitto nor iotcore is installed"]
        self.company.lyewatch("link", "link", self.rig, "--bench", str(self.folder), "--broker-port", str(port))
        if all(find_spec(package) for package in ("uvicorn", "starlette", "argon2", "segno")):
            self._page(port)
        else:
            left_out.append("phone page: its packages are not installed (lyewatch[page])")
        return left_out

    def _page(self, broker_port: int) -> None:
        port = free_port()
        self.company.lyewatch(
            "page", "page", "--broker-port", str(broker_port), "--port", str(port), "--open-view", "--open-faults",
            "--bench", f"{load(shipped(self.rig)).core.name}={self.folder}", "--state", str(self.folder / "page"),
        )  # fmt: skip
        self.page = f"http://127.0.0.1:{port}/"

    def _broker(self) -> int | None:
        port = free_port()
        mosquitto = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin")
        settings = self.folder / "broker.conf"
        if mosquitto:
            settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
            self.company.start("broker", mosquitto, "-c", str(settings))
        elif find_spec("iotcore"):
            settings.write_text(MQTT_V5.format(port=port))
            self.company.start("broker", sys.executable, "-m", "iotcore", "--config", str(settings))
        else:
            return None
        return port

    def to_power(self) -> None:
        """What a person does on the first day: reset the first start, then start. Returns once current flows."""

        why = "it was never asked"

        def step() -> bool:
            nonlocal why
            with Client(self.folder / "local.sock") as client:
                state = client.status()["state"]
                if state == "tripped":
                    why = client.do(Verb.RESET, who="demo").why
                elif state in ("off", "cooling"):
                    why = client.do(Verb.START, who="demo", seconds=1500.0).why or client.status()["run"]["ending"]
            time.sleep(0.5)  # a rig that has just come up has not seen all its sensors yet
            return self.powered()

        try:
            wait_for("current", step, POWER_WITHIN_S)
        except Problem as problem:
            raise Problem(f"{problem} ({why})") from None

    def judge(self, name: str) -> bool:
        """Cause the fault, see what the bench's contacts do, then hear the guard."""
        named = FAULTS[name]
        if not self.powered():
            raise Problem("power was off before the fault: nothing can be judged")
        began_s = self.truth()["now_s"]
        self._cause(named)
        click.echo(f"Fault: {named.title}.")
        until_s = time.monotonic() + named.within_s + PATIENCE_S
        while not self.dead() and time.monotonic() < until_s:
            time.sleep(0.02)
        opened_s = self._opened_s(began_s)
        if opened_s is None or not self.dead():
            click.echo(f"Bench:  power is still on after {named.within_s + PATIENCE_S:g} s. FAILED")
            return False
        took_s = opened_s - began_s
        in_time = took_s <= named.within_s
        within = f"within {named.within_s:g} s" if in_time else f"later than {named.within_s:g} s: FAILED"
        click.echo(f"Bench:  contacts open {took_s:.2f} s after the fault, no current flows; {within}.")
        standing = set(self.truth()["named"])
        caused = named.kills_guard or standing == {part for part, _, _ in named.parts}
        agrees = self._guard_agrees(named)
        return in_time and caused and agrees and self.dead()

    def _cause(self, named: Named) -> None:
        if named.kills_guard:
            self.company.kill("guard")
        for part, kind, amount in named.parts:
            control(self.folder, "fault", part=part, kind=kind, amount=amount)

    def _opened_s(self, since_s: float) -> float | None:
        """When the path first opened, by the bench's trace."""
        changes = control(self.folder, "trace", since_s=since_s)["changes"]
        return next((at_s for at_s, name, closed in changes if name in ("main", "second") and not closed), None)

    def _guard_agrees(self, named: Named) -> bool:
        if named.kills_guard:
            self.start_guard()
        with Client(self.folder / "local.sock") as client:
            causes = [cause["name"] for cause in client.status()["causes"]]
        if causes and causes[0] in named.causes:
            click.echo(f"Guard:  says the same: {causes[0]}.")
            return True
        click.echo(
            f"Guard:  names {causes[0] if causes else 'nothing'}, not {' or '.join(sorted(named.causes))}. FAILED"
        )
        return False


@click.command(epilog=examples("demo", "demo --fault coolant-lost", "demo --seconds 30 --plain"))
@click.option("--rig", default="boathouse", show_default=True, help=f"A rig file, or one of {', '.join(names())}.")
@click.option("--fault", "fault", type=click.Choice(sorted(FAULTS)), help="Cause this once it runs, and judge.")
@click.option("--seconds", type=click.FloatRange(min=0, min_open=True), help="End after so long.")
@click.option("--plain", "as_lines", is_flag=True, help="Lines instead of a screen.")
@click.option("--dir", "folder", type=click.Path(path_type=Path, file_okay=False), help="Keep everything here.")
def demo(rig: str, fault: str | None, seconds: float | None, as_lines: bool, folder: Path | None) -> None:
    """A whole rig on this machine, simulated below its drivers: bench, guard, broker, link.

    Ends with Ctrl-C. With --fault it causes one and ends with 0 only if the bench itself saw power go off in time, and
    the guard then named the right cause.
    """
    try:
        compiled = load(shipped(rig))
    except RigFileError as error:
        raise Problem(str(error), 2) from None
    if not compiled.core.simulated:
        raise Problem(f'{rig} drives real pins: put drivers = "bench" into a copy of it, and try that', 2)
    if fault and FAULTS[fault].needs_cooling and compiled.file.cooling.kind == "none":
        raise Problem(f"nothing cools {rig}, so there is nothing to lose: try another fault", 2)
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # both are an orderly end
    if folder is None:
        with tempfile.TemporaryDirectory(prefix="lyewatch-demo-") as made:
            good = _run(rig, fault, seconds, as_lines, Path(made))
    else:
        good = _run(rig, fault, seconds, as_lines, folder)
    if not good:
        raise click.exceptions.Exit(1)


def _run(rig: str, fault: str | None, seconds: float | None, as_lines: bool, folder: Path) -> bool:
    folder.mkdir(parents=True, exist_ok=True)
    company = Company(folder)
    demo = Demo(company, rig)
    try:
        for line in demo.start(FAULTS[fault].lye_c if fault else 20.0):
            click.echo(f"Left out: {line}.")
        here = for_another_terminal(folder)
        click.echo(f"Everything is simulated. Sockets and logs are in {folder}; from another terminal:")
        click.echo(f"  . {here}")
        click.echo("  lyewatch status; lyewatch fault coolant-lost; lyewatch fault --clear; lyewatch reset")
        if demo.page:
            click.echo(f"Phone page: {demo.page}")
        if fault is None:
            return _show(demo, here, seconds, as_lines)
        click.echo("Reset the first start, self-test, power ...")
        demo.to_power()
        return demo.judge(fault)
    except KeyboardInterrupt:
        return fault is None
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # a second Ctrl-C must not leave processes behind
        company.end()
        click.echo("Everything has ended.")


def for_another_terminal(folder: Path) -> Path:
    """A file for a shell to read: which rig is meant, and where this program is, which the other may not know."""
    found = Path(sys.executable).parent
    here = folder / "here"
    here.write_text(
        f"export LYEWATCH_RUN_DIR={shlex.quote(str(folder))} LYEWATCH_BENCH={shlex.quote(str(folder))}\n"
        f"export PATH={shlex.quote(str(found))}:$PATH\n"
    )
    return here


def _show(demo: Demo, here: Path, seconds: float | None, as_lines: bool) -> bool:
    """The screen, while somebody else presses the buttons; whether current flowed."""
    page = f"Phone page: {demo.page}\n" if demo.page else ""
    hint = (
        f"{page}From another terminal:  . {here}\n"
        "lyewatch fault coolant-lost   (also: --list, --clear)   lyewatch reset   Ctrl-C ends"
    )
    flowed = threading.Event()

    def press() -> None:
        try:
            demo.to_power()
        except (Problem, NoGuard):
            return
        flowed.set()

    threading.Thread(target=press, daemon=True).start()
    show(demo.folder, as_lines or not sys.stdout.isatty(), seconds, hint)
    return flowed.is_set() or seconds is None
