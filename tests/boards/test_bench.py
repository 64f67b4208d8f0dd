"""The bench with the real drivers on a virtual clock: what they see, what is true, and that a seed decides it all."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any

import pytest

from controller.core.outputs import Outputs
from controller.core.signals import Code, Reading
from controller.hardware.description import Hardware
from controller.hardware.instruments import open_instruments
from simulator.boards.bench import Bench, FaultError
from simulator.boards.clock import VirtualClock
from simulator.boards.wiring import shipped_wiring

from .rigs import BOATHOUSE
from .still_plant import StillPlant

RUNNING = Outputs(main_hold=True, second=True, coolant=True, ventilation=True, setpoint_a=30.0)


class Run:
    """Scans at 10 Hz, drivers and all."""

    def __init__(self, seed: int = 1, hardware: Hardware = BOATHOUSE, **quantities: float) -> None:
        self.clock = VirtualClock()
        self.plant = StillPlant(**quantities)
        self.bench = Bench(shipped_wiring("boathouse"), self.plant, self.clock, seed)
        self.instruments = open_instruments(hardware, self.bench.ports(), self.clock, self.clock.wait)
        self.readings: tuple[Reading, ...] = ()
        self.scan_s = 0.1
        self.beating = True

    def scan(self, outputs: Outputs) -> tuple[Reading, ...]:
        self.clock.now_s = max(self.clock.now_s, self.bench.now_s + self.scan_s)
        self.bench.advance(self.clock.now_s)
        for group in self.instruments.slow_groups:
            group.step(self.clock.now_s)
        self.readings = self.instruments.read_all(self.clock.now_s)
        self.instruments.drives.write(outputs)
        if self.beating:
            self.instruments.drives.edge()
        return self.readings

    def scans(self, number: int, outputs: Outputs = RUNNING) -> None:
        for _ in range(number):
            self.scan(outputs)

    def start(self) -> None:
        """Relay up, second closed, main pulsed in."""
        self.scans(5, Outputs(ventilation=True))
        self.scans(3, RUNNING._replace(main_close=True))
        self.scans(30)

    def reading(self, name: str) -> Reading:
        return self.readings[self.instruments.names.index(name)]

    def number(self, name: str) -> float:
        number, _, code = self.reading(name)
        assert code is Code.OK
        assert number is not None
        return number


def test_a_running_bench_reads_as_its_plant_is() -> None:
    run = Run()
    run.start()
    assert run.instruments.contacts() == (True, True, True)
    assert run.bench.truth()["closed"]
    for name, true, allowed in [
        ("current", 30.0, 0.02),
        ("voltage", 6.6, 0.01),
        ("hydrogen_in_oxygen", 0.3, 0.001),
        ("pressure_hydrogen", 5.0, 0.05),
        ("room_hydrogen", 0.0, 0.01),
        ("cell_temperature", 62.0, 0.0),
        ("coolant_flow", 2.0, 0.15),
        ("level_hydrogen", 1.0, 0.0),
        ("level_oxygen", 1.0, 0.0),
        ("dry_floor", 1.0, 0.0),
        ("stop_chain", 1.0, 0.0),
        ("supply", 1.0, 0.0),
    ]:
        assert run.number(name) == pytest.approx(true, abs=allowed), name


def test_the_same_seed_gives_the_same_bytes_and_another_does_not() -> None:
    def everything(seed: int) -> str:
        run = Run(seed)
        run.bench.fault("bus 1", "errors", 0.02)
        run.start()
        seen = [repr(run.scan(RUNNING)) for _ in range(100)]
        return "\n".join(seen) + repr(run.bench.trace) + repr(run.bench.truth())

    assert everything(5) == everything(5)
    assert everything(5) != everything(6)


def test_uneven_scans_read_the_same_plant() -> None:
    """Late, missed and double scans; no reading is ever stamped in the future."""
    run, random = Run(), Random(3)
    run.start()
    for _ in range(300):
        run.scan_s = random.choice([0.05, 0.1, 0.1, 0.1, 0.25, 0.9])
        for reading in run.scan(RUNNING):
            assert reading.stamp_s <= run.clock.now_s
        assert run.number("coolant_flow") == pytest.approx(2.0, abs=0.15)
        assert run.number("current") == pytest.approx(30.0, abs=0.02)
        assert run.number("level_hydrogen") == 1.0
    assert run.instruments.flow_meters["coolant_flow"].total == pytest.approx(
        run.bench.truth()["pulses"]["coolant_flow"], abs=1
    )


def test_without_edges_power_is_off_a_second_and_an_opening_time_later() -> None:
    run = Run()
    run.start()
    last_edge_s = run.clock.now_s
    run.beating = False
    run.scans(20)
    opened_s = next(c.at_s for c in reversed(run.bench.trace) if c.name == "main" and not c.closed)
    assert opened_s == pytest.approx(last_edge_s + 1.0 + 0.04, abs=0.002)
    assert run.instruments.contacts() == (False, False, False)
    assert run.number("current") == pytest.approx(0.0, abs=0.02)
    run.beating = True
    run.scans(20)
    assert run.instruments.contacts() == (False, True, True)  # sealed out; the second alone has no seal


@pytest.mark.parametrize("keeps", [True, False])
def test_when_the_process_dies_the_relay_or_the_kernel_ends_it(keeps: bool) -> None:
    """Case A28."""
    clock = VirtualClock()
    bench = Bench(shipped_wiring("boathouse"), StillPlant(), clock, keeps_outputs=keeps)
    instruments = open_instruments(BOATHOUSE, bench.ports(), clock, clock.wait)
    for scan in range(20):
        clock.now_s = bench.now_s + 0.1
        bench.advance(clock.now_s)
        instruments.drives.write(RUNNING._replace(main_close=4 < scan < 8, top_up=True))
        instruments.drives.edge()
    assert bench.truth()["closed"]
    assert bench.truth()["loads"]["top_up"]
    died_s = clock.now_s
    bench.board.process_died()
    clock.now_s += 2.0
    bench.advance(clock.now_s)
    opened_s = next(c.at_s for c in reversed(bench.trace) if c.name == "main" and not c.closed)
    assert opened_s == pytest.approx(died_s + (1.0 if keeps else 0.0) + 0.04, abs=0.002)
    assert bench.truth()["loads"]["ventilation"]  # wired to run without anybody
    assert not bench.truth()["loads"]["collect"]
    assert not bench.truth()["loads"]["top_up"]


def test_loads_behind_the_relay_stop_with_it_whatever_their_pin_says() -> None:
    run = Run()
    run.start()
    both = RUNNING._replace(collect=True, top_up=True)
    run.scans(5, both)
    assert run.bench.truth()["loads"]["collect"]
    assert run.bench.truth()["loads"]["top_up"]
    run.beating = False
    run.scans(15, both)
    assert not run.bench.truth()["loads"]["collect"]
    assert not run.bench.truth()["loads"]["top_up"]
    assert run.plant.asked.setpoint_a == 0.0


def test_a_press_of_a_button_is_one_press() -> None:
    run = Run()
    run.scans(5)
    run.bench.press("start_button")
    pressed = [name for _ in range(10) for name in (run.scan(RUNNING), run.instruments.presses(run.clock.now_s))[1]]
    assert pressed == ["start"]


def test_the_thermostat_opens_the_chain_by_itself_and_closes_ten_kelvin_lower() -> None:
    run = Run()
    run.start()
    run.plant.now["cell_temperature_c"] = 85.0
    run.scans(2)
    assert run.instruments.contacts() == (False, False, True)  # the relay itself is held by edges
    assert run.number("stop_chain") == pytest.approx(0.0, abs=0.01)
    run.plant.now["cell_temperature_c"] = 76.0
    run.scans(2)
    assert not run.bench.truth()["chain"]
    run.plant.now["cell_temperature_c"] = 74.0
    run.scans(2)
    assert run.bench.truth()["chain"]


Seen = Callable[[Run], bool]

FAULTS: list[tuple[str, str, float, Seen]] = [
    ("current", "offset", 3.0, lambda run: abs(run.number("current") - 33.0) < 0.02),
    ("current", "gain", 0.5, lambda run: abs(run.number("current") - 15.0) < 0.02),
    ("current", "saturated", 0.0, lambda run: abs(run.number("current") - 51.198) < 0.01),
    ("current", "open", 0.0, lambda run: abs(run.number("current")) < 0.01),
    ("current", "scripted", -30.0, lambda run: abs(run.number("current") + 30.0) < 0.02),
    ("pressure_hydrogen", "short", 0.0, lambda run: run.number("pressure_hydrogen") < -99.0),
    ("hydrogen_in_oxygen", "open", 0.0, lambda run: run.reading("hydrogen_in_oxygen").code is Code.WIRE_FAULT),
    ("cell_temperature", "absent", 0.0, lambda run: run.reading("cell_temperature").code is Code.ABSENT),
    ("cell_temperature", "all_zeros", 0.0, lambda run: run.reading("cell_temperature").code is Code.ALL_ZERO),
    ("cell_temperature", "power_on", 0.0, lambda run: run.reading("cell_temperature").code is Code.POWER_ON_VALUE),
    ("cell_temperature", "bad_checksum", 0.0, lambda run: run.reading("cell_temperature").code is Code.BAD_CHECKSUM),
    ("cell_temperature", "io_error", 0.0, lambda run: run.reading("cell_temperature").code is Code.BUS_ERROR),
    ("cell_temperature", "offset", 10.0, lambda run: run.number("cell_temperature") == 72.0),
    ("coolant_flow", "stuck", 0.0, lambda run: run.number("coolant_flow") == 0.0),
    ("coolant_flow", "hum", 50.0, lambda run: run.reading("coolant_flow").code is Code.NOISE),
    ("level_hydrogen", "stuck_open", 0.0, lambda run: run.number("level_hydrogen") == 0.0),
    ("level_hydrogen", "chatter", 10.0, lambda run: 0.5 <= run.number("level_hydrogen") <= 0.6),
    ("converter 0x48", "never_ready", 0.0, lambda run: run.reading("current").code is Code.TIMED_OUT),
    ("converter 0x48", "absent", 0.0, lambda run: run.reading("current").code is Code.ABSENT),
    ("converter 0x49", "reference", 1.05, lambda run: run.reading("room_hydrogen").code is Code.REFERENCE_WRONG),
    ("bus 1", "dead", 0.0, lambda run: run.reading("current").code is Code.ABSENT),
    ("main", "auxiliary_open", 0.0, lambda run: run.instruments.contacts()[0] is False),
    ("main_contact", "stuck_open", 0.0, lambda run: run.instruments.contacts()[0] is False),
    ("pin 27", "held_low", 0.0, lambda run: not run.bench.truth()["main"]),
    ("stop_button", "pressed", 0.0, lambda run: run.number("stop_chain") == 0.0 and not run.bench.truth()["main"]),
    ("mains", "lost", 0.0, lambda run: not run.bench.truth()["main"]),
    ("watchdog", "dead", 0.0, lambda run: not run.bench.truth()["closed"]),
    ("supply_sags", "now", 0.0, lambda run: run.number("supply") == 0.0),
]


@pytest.mark.parametrize(("part", "kind", "amount", "seen"), FAULTS, ids=[f"{p}-{k}" for p, k, _, _ in FAULTS])
def test_a_fault_is_seen_by_the_drivers_and_is_gone_when_cleared(
    part: str, kind: str, amount: float, seen: Seen
) -> None:
    run = Run()
    run.start()
    assert not seen(run)
    run.bench.fault(part, kind, amount)
    run.scans(35)
    assert seen(run)
    assert run.bench.truth()["faults"] == {part: kind}
    run.bench.clear(part)
    run.scans(5, RUNNING._replace(main_close=True))
    run.scans(35)
    assert not seen(run)


def test_noise_and_spikes_scatter_about_the_truth() -> None:
    run = Run()
    run.start()
    run.bench.fault("current", "noise", 1.0)
    numbers = [(run.scan(RUNNING), run.number("current"))[1] for _ in range(300)]
    assert sum(numbers) / len(numbers) == pytest.approx(30.0, abs=0.2)
    assert 0.8 < (sum((n - 30.0) ** 2 for n in numbers) / len(numbers)) ** 0.5 < 1.2
    run.bench.fault("current", "spike", 20.0)
    spikes = sum((run.scan(RUNNING), run.number("current") > 45.0)[1] for _ in range(300))
    assert 10 < spikes < 60


def test_a_stuck_sensor_stays_where_it_was_and_a_drifting_one_walks() -> None:
    run = Run()
    run.start()
    run.bench.fault("pressure_hydrogen", "stuck")
    run.bench.fault("pressure_oxygen", "drift", 6.0)  # a minute
    run.plant.now |= {"pressure_h_mbar": 30.0}
    run.scans(100)
    assert run.number("pressure_hydrogen") == pytest.approx(5.0, abs=0.1)
    assert run.number("pressure_oxygen") == pytest.approx(6.0, abs=0.1)


def test_a_sensor_that_lags_follows_by_its_time_constant() -> None:
    """After one time constant of 15 s a step is 63 % there; the reading itself is up to 3 s old."""
    run = Run()
    run.start()
    run.plant.now["cell_temperature_c"] = 72.0
    run.scans(150 + 30)
    assert 67.5 < run.number("cell_temperature") < 69.3


def test_swapped_sensors_show_each_others_quantity_until_swapped_back() -> None:
    run = Run()
    run.start()
    run.bench.swap("cell_temperature", "coolant_outlet")
    run.scans(1500)
    assert run.number("cell_temperature") == pytest.approx(15.5, abs=0.07)
    assert run.number("coolant_outlet") == pytest.approx(62.0, abs=0.07)


def test_a_lost_edge_of_a_float_does_not_hide_that_it_has_opened() -> None:
    """Case A24 (c)."""
    run = Run()
    run.start()
    run.bench.fault("level_hydrogen", "lost_edges")
    run.plant.now["level_h_mm"] = 90.0
    run.scans(2)
    assert run.number("level_hydrogen") == 0.0


def test_what_is_not_known_is_answered_with_what_is() -> None:
    bench = Run().bench
    with pytest.raises(FaultError, match=r"nothing here is called 'curent'; known: current"):
        bench.fault("curent", "offset")
    with pytest.raises(FaultError, match=r"current has no fault 'sad'; known: open"):
        bench.fault("current", "sad")
    with pytest.raises(FaultError, match="no button 'level_hydrogen'"):
        bench.press("level_hydrogen")


def test_every_known_fault_can_be_set_and_cleared_without_leaving_a_trace() -> None:
    run = Run()
    for part, kinds in run.bench.known_faults().items():
        for kind in kinds:
            run.bench.fault(part, kind, 5.0)
            run.scan(RUNNING)
            run.bench.clear()
    run.start()
    assert run.bench.truth()["faults"] == {}
    assert run.number("current") == pytest.approx(30.0, abs=0.02)
    assert run.number("coolant_flow") == pytest.approx(2.0, abs=0.15)


def test_a_plant_without_what_is_wired_is_refused() -> None:
    plant = StillPlant()
    del plant.now["tray_mm"]
    with pytest.raises(ValueError, match="the plant has no tray_mm"):
        Bench(shipped_wiring("boathouse"), plant, VirtualClock())


def test_a_frozen_frame_of_inputs_costs_no_thread() -> None:
    import threading

    before = threading.active_count()
    run: Any = Run()
    run.start()
    assert threading.active_count() == before
