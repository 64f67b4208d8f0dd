"""The plant behind the boards: pins make it run, and its quantities come back through the converters."""

from __future__ import annotations

import pytest

from controller.core.outputs import Outputs
from controller.hardware.instruments import Instruments, open_instruments
from simulator.boards.bench import Bench
from simulator.boards.clock import VirtualClock
from simulator.boards.physics import Physics
from simulator.boards.wiring import shipped_wiring
from simulator.plant.inputs import RUN30
from simulator.plant.parameters import BOATHOUSE as BOATHOUSE_PLANT
from simulator.plant.parameters import MINIMAL
from simulator.plant.start import cold_start, steady_state

from .rigs import BOATHOUSE

RUNNING = Outputs(main_hold=True, second=True, coolant=True, ventilation=True, setpoint_a=30.0)


def scans(
    bench: Bench, clock: VirtualClock, instruments: Instruments, number: int, outputs: Outputs
) -> dict[str, float | None]:
    numbers: dict[str, float | None] = {}
    for _ in range(number):
        clock.now_s = bench.now_s + 0.1
        bench.advance(clock.now_s)
        for group in instruments.slow_groups:
            group.step(clock.now_s)
        readings = instruments.read_all(clock.now_s)
        numbers = {name: reading.number for name, reading in zip(instruments.names, readings, strict=True)}
        instruments.drives.write(outputs)
        instruments.drives.edge()
    return numbers


def test_a_settled_plant_reads_through_the_boards_as_it_is_and_stops_when_its_pins_say_so() -> None:
    clock = VirtualClock()
    plant = Physics(BOATHOUSE_PLANT, steady_state(BOATHOUSE_PLANT, RUN30))
    bench = Bench(shipped_wiring("boathouse"), plant, clock)
    instruments = open_instruments(BOATHOUSE, bench.ports(), clock, clock.wait)
    scans(bench, clock, instruments, 5, Outputs(ventilation=True, coolant=True))
    scans(bench, clock, instruments, 4, RUNNING._replace(main_close=True))
    seen = scans(bench, clock, instruments, 100, RUNNING)
    true = plant.quantities()
    assert seen["current"] == pytest.approx(true["current_a"], abs=0.02)
    assert true["current_a"] == pytest.approx(30.0, abs=0.3)
    assert seen["voltage"] == pytest.approx(true["stack_voltage_v"], abs=0.01)
    assert seen["cell_temperature"] == pytest.approx(true["cell_temperature_c"], abs=0.2)
    assert seen["coolant_flow"] == pytest.approx(2.0, abs=0.15)
    assert seen["pressure_hydrogen"] == pytest.approx(true["pressure_h_mbar"], abs=0.1)
    assert (seen["level_hydrogen"], seen["level_oxygen"], seen["stop_chain"]) == (1.0, 1.0, 1.0)
    seen = scans(bench, clock, instruments, 10, Outputs(ventilation=True))
    assert seen["current"] == pytest.approx(0.0, abs=0.02)


def test_a_disturbance_of_the_plant_comes_through_the_pins() -> None:
    clock = VirtualClock()
    plant = Physics(BOATHOUSE_PLANT, cold_start(BOATHOUSE_PLANT))
    bench = Bench(shipped_wiring("boathouse"), plant, clock)
    instruments = open_instruments(BOATHOUSE, bench.ports(), clock, clock.wait)
    outputs = Outputs(ventilation=True, coolant=True)
    assert scans(bench, clock, instruments, 100, outputs)["coolant_flow"] == pytest.approx(2.0, abs=0.2)
    neutral = plant.surroundings.disturbances
    plant.surroundings = plant.surroundings._replace(disturbances=neutral._replace(coolant_supply=0.0))
    assert scans(bench, clock, instruments, 100, outputs)["coolant_flow"] == 0.0


def test_the_minimal_bench_has_every_quantity_it_is_wired_to() -> None:
    clock = VirtualClock()
    bench = Bench(shipped_wiring("minimal"), Physics(MINIMAL, cold_start(MINIMAL)), clock)
    clock.now_s += 1.0
    bench.advance(clock.now_s)
    assert bench.truth()["second"] is None
    assert not bench.truth()["closed"]
