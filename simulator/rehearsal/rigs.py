"""Rigs to rehearse on: the rig file, the wiring of its bench, and a plant of its size.

A rig that ships has a wiring file of its own, written apart. Somebody's own rig may have one beside it,
`my.wiring.toml` beside `my.toml`. Without one the bench is worked out from the rig file; then a wrong scaling or a
swapped pin in that file cannot show, and the rehearsal says so.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from controller.config.load import CompiledRig, load
from controller.config.rigs import shipped
from simulator.boards.wiring import read_wiring, shipped_wiring
from simulator.plant.inputs import RUN30
from simulator.plant.observe import observer
from simulator.plant.parameters import BOATHOUSE, MINIMAL, Parameters, SupplyKind
from simulator.plant.start import steady_state
from simulator.rehearsal.described import wiring_as_described
from simulator.rehearsal.world import Physical, allowed_a

AS_DESCRIBED = (
    "there is no wiring file beside it, so the bench is wired as the rig file says: a wrong scaling cannot show"
)
HOLDS_VOLTS = ("voltage knob", "fixed voltage")
CABLE_ALLOWANCE = 2.0  # where the rig file does not say what its cable is made for: common practice, no source
HEAT_ALLOWANCE = 1.6  # how far a power supply's ceiling may lie above the rated current


def find(rig: str, today: date | None = None) -> Physical:
    """By name or path. Raises RigFileError or WiringError."""
    path = shipped(rig)
    compiled = load(path, today)
    if path != Path(rig) or path == shipped(path.stem):
        return Physical(compiled, shipped_wiring(path.stem), plant_of(compiled, path.stem))
    beside = path.with_suffix(".wiring.toml")
    if beside.exists():
        return Physical(compiled, read_wiring(beside), plant_of(compiled))
    return Physical(compiled, wiring_as_described(compiled), plant_of(compiled), AS_DESCRIBED)


def plant_of(compiled: CompiledRig, name: str = "") -> Parameters:
    """A plant of the rig's size. The ones that ship have their own; any other is the boathouse's cell, scaled by
    electrode area and number of cells, with a coil and a mains of its own size: an estimate, not a measurement."""
    file = compiled.file
    settable = file.supply.kind == "settable"
    if name in ("boathouse", "minimal"):
        return BOATHOUSE if settable else MINIMAL
    base = BOATHOUSE
    area = file.cell.electrode_area_cm2 / (base.cell.electrode_area_m2 * 1e4)
    size = area * file.cell.cells_in_series / base.cell.cells
    y, heat, supply = base.hydraulics, base.heat, base.supply
    sides = [
        replace(
            side,
            stack_m3=side.stack_m3 * size,
            riser_m2=side.riser_m2 * size,
            reservoir_m2=side.reservoir_m2 * size,
            outlet_mol_s_pa=side.outlet_mol_s_pa * size,
            seal_mm=side.seal_mm if file.gas.water_seal_mm is None else file.gas.water_seal_mm,
        )
        for side in (y.hydrogen, y.oxygen)
    ]
    plant = replace(
        base,
        title=f"{file.title}, estimated from its rig file",
        cell=replace(base.cell, cells=file.cell.cells_in_series, electrode_area_m2=file.cell.electrode_area_cm2 * 1e-4),
        supply=replace(
            supply,
            settable=settable,
            volts_knob=False,
            largest_a=max(file.supply.fuse_A or 0.0, HEAT_ALLOWANCE * file.supply.rated_A),
            largest_v=file.supply.open_circuit_V,
            kind=SupplyKind.DROOPING if file.supply.kind == "drooping" else SupplyKind.REGULATED,
            off_ohm=supply.off_ohm / area,
        ),
        cable=replace(base.cable, rated_a=file.supply.cable_A or CABLE_ALLOWANCE * file.supply.rated_A),
        hydraulics=replace(
            y,
            hydrogen=sides[0],
            oxygen=sides[1],
            lye_kg=y.lye_kg * size,
            mass_fraction=file.cell.mass_percent / 100.0,
            crossover_mol_s_bar=y.crossover_mol_s_bar * area * file.cell.cells_in_series / base.cell.cells,
            separator_exchange_kg_s=y.separator_exchange_kg_s * size,
        ),
        heat=replace(
            heat,
            stack_j_k=heat.stack_j_k * size,
            reservoir_j_k=heat.reservoir_j_k * size,
            stack_loss_w_k=heat.stack_loss_w_k * size,
            reservoir_loss_w_k=heat.reservoir_loss_w_k * size,
            circulation_w_k=heat.circulation_w_k * size,
            coil_w_k=0.0 if file.cooling.kind == "none" else heat.coil_w_k * size,
            coil_j_k=heat.coil_j_k * size,
            coolant_l_min=file.cooling.normal_L_min or heat.coolant_l_min,
        ),
    )
    return plant if file.supply.kind not in HOLDS_VOLTS else _holding_volts(plant, allowed_a(compiled))


def _holding_volts(plant: Parameters, at_a: float) -> Parameters:
    """The same with nothing that holds the current: its volts are those at which it flows, once it is warm."""
    inputs = RUN30._replace(setpoint_a=at_a)
    volts = observer(plant)(steady_state(plant, inputs), inputs).stack_voltage_v
    return replace(plant, supply=replace(plant.supply, amps_knob=False, largest_v=volts))
