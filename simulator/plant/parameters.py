"""What a bench is made of: every constant of the plant, with its unit and where it comes from.

The boathouse rig is invented, its sizes chosen for round figures. What the plant makes of them with 15 C water and 20 C
air (tests/plant): steady at 30 A with 6.59 V, 62.3 C, 4.3 mbar of hydrogen and 0.3 % hydrogen in the oxygen (1 % at
8.7 A). Without water it warms by 0.25 K/min at first and passes 80 C after 72 min. With the hydrogen outlet shut it
rises by 14 to 15 mbar/s in a gas room of 0.93 L. Heat capacity 8.5 kJ/K; 0.43 W/K to the room, about 0.5 with what
vapour and water carry; a coil of 1.0 W/K.

Levels are above the separator's top edge: filled to 196 mm, reservoir from 60 mm up, electrodes bare from -5 mm down.
Kinetics stay inside the published ranges for plain nickel in 20 to 30 % lye: Zeng and Zhang, Prog. Energy Combust. Sci.
36 (2010) 307 (ranges from memory); the transfer coefficient for hydrogen is that of J. Electrochem. Soc. 1982, doi
10.1149/1.2123588.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from controller.chemistry.lye import Lye


class SupplyKind(Enum):
    """How the supply answers its load."""

    REGULATED = "regulated"  # constant current up to its set-point, constant voltage at its voltage setting
    DROOPING = "drooping"  # a welding source: its volts fall along a straight line to zero at the set current


@dataclass(frozen=True, slots=True)
class CellParameters:
    """The stack: cells in series, each a cathode and an anode plate with a separator between them."""

    cells: int = 3
    electrode_area_m2: float = 0.009  # 90 cm2 a side
    electrode_height_mm: float = 100.0
    separator_overlap_mm: float = 5.0  # how far the separator stands above and below the electrodes
    gap_m: float = 0.005  # lye between the electrodes, both sides of the separator together
    separator_ohm_m2: float = 2.9e-5  # soaked cloth; 0.29 ohm cm2 (common practice, no source)
    reference_c: float = 60.0  # temperature of the two exchange current densities
    hydrogen_transfer: float = 0.54  # doi 10.1149/1.2123588
    hydrogen_exchange_a_m2: float = 1.4  # 1.4e-4 A/cm2; published 1e-6 to 3e-4 A/cm2 on smooth nickel
    hydrogen_activation_j_mol: float = 28_000.0  # from memory: 20 to 40 kJ/mol
    oxygen_transfer: float = 0.82  # 81 mV a decade at 60 C; published 70 (hot) to 120 (cold)
    oxygen_exchange_a_m2: float = 1.0  # 1e-4 A/cm2; published 1e-9 to 1e-4
    oxygen_activation_j_mol: float = 55_320.0  # Cao, J. Electrochem. (Xiamen) 4(4), 40 to 70 C
    joint_ohm: float = 4.0e-4  # each of cells + 1 bolted joints, leads included
    shunt_rest_a: float = 0.005  # below this an electrode pair shows less than the reversible voltage
    film_full_c: float = 59.0  # charge in the oxide film of one cell's anode: it drives the reverse current
    film_full_v: float = 1.47  # open-circuit volts with the film full: 4.4 V for three cells just after a stop
    film_leak_s: float = 1560.0  # the film discharges by itself: 4.4 to 3.0 V in ten minutes
    gap_share_of_bubbles: float = 0.6  # of the bubbles under way, those between the electrodes
    void_largest: float = 0.6


@dataclass(frozen=True, slots=True)
class SupplyParameters:
    kind: SupplyKind = SupplyKind.REGULATED
    settable: bool = True  # False: a knob; the set-point the plant is given is where the knob stands
    largest_a: float = 60.0
    largest_v: float = 7.5
    amps_knob: bool = True  # False: nothing holds the current under largest_a, whatever is asked
    volts_knob: bool = True  # False: the volts are always largest_v
    choke_h: float = 1.0e-3  # smoothing inductance: how fast the current can follow the volts
    rise_s: float = 0.08  # time constants of the current regulator
    fall_s: float = 0.03
    start_lag_s: float = 0.3  # from mains present to current
    off_ohm: float = 2.7  # what a supply that is off looks like to a cell that discharges into it
    ripple_fraction: float = 0.03  # root mean square, of the mean current, at twice the mains frequency


@dataclass(frozen=True, slots=True)
class SideParameters:
    """One hydraulic side: half of the stack, a riser, and a reservoir in which gas leaves the lye."""

    stack_m3: float = 3.5e-4  # lye in this side's half of all cells and their channels, up to the separator's top edge
    riser_m2: float = 4.0e-4  # cross-section of the tubes from that edge to the reservoir
    reservoir_from_mm: float = 60.0  # bottom of the reservoir above the separator's top edge
    reservoir_m2: float = 4.5e-3
    reservoir_to_mm: float = 405.0  # lid
    outlet_mol_s_pa: float = 3.0e-6  # conductance of the outlet line: 2 mbar at 30 A
    seal_mm: float = 25.0  # depth of the water seal (bubbler) at its end
    seal_lift_mm: float = 100.0  # under-pressure, as water, at which air comes back through it


@dataclass(frozen=True, slots=True)
class HydraulicParameters:
    lye: Lye = Lye.KOH
    mass_fraction: float = 0.25
    lye_kg: float = 2.44  # both sides; 2.0 L at 20 C
    hydrogen: SideParameters = SideParameters()
    oxygen: SideParameters = SideParameters(reservoir_to_mm=315.0, outlet_mol_s_pa=1.8e-6)
    equalising_m3_s_pa: float = 5.0e-10  # a 2 mm bore under the stack: narrow, so that the two lyes hardly mix
    separator_exchange_kg_s: float = 1.0e-3  # lye that the three separators exchange by diffusion
    bubble_point_pa: float = 6000.0  # difference at which gas is pressed through the wet cloth
    bubble_through_mol_s_pa: float = 2.0e-6
    uncovered_mol_s_pa: float = 2.0e-5  # gas path over a separator that stands dry along its whole height
    uncovered_mol_s: float = 2.0e-4  # exchange through it without a difference
    crossover_mol_s_bar: float = 6.9e-7  # hydrogen that diffuses and drifts through: 0.3 % of the oxygen at 30 A
    crossover_oxygen_share: float = 0.5  # oxygen goes the other way at about half that rate
    crossover_half_a: float = 0.5  # lye at the separator is saturated with gas well above this current
    crossover_still: float = 0.05  # with no current, gas reaches the separator only down the riser
    bubble_s: float = 1.5  # time a bubble is under way to the surface
    smallest_gas_m3: float = 2.0e-5  # what stays free under the lid of a flooded reservoir
    overflow_s: float = 0.5  # how fast lye above the outlet runs out of it
    steam_carries_kg_mol: float = 0.02  # lye thrown out per mole of steam: a boiling cell froths
    top_up_kg_s: float = 8.3e-4  # 50 mL/min
    burst_pa: float = 40_000.0  # a hose comes off at this gauge pressure, and its gas goes to the room
    burst_mol_s_pa: float = 5.0e-6
    tray_m2: float = 0.1


@dataclass(frozen=True, slots=True)
class HeatParameters:
    stack_j_k: float = 600.0  # plates and frames; the lye between them counts with its side
    reservoir_j_k: float = 120.0  # walls of one side, lye apart
    stack_loss_w_k: float = 0.19  # to the room, insulated
    reservoir_loss_w_k: float = 0.12  # each
    circulation_w_k: float = 4.0  # stack to each reservoir, still
    gas_lift_w_k: float = 60.0  # what rising bubbles can add to that at most
    gas_lift_half_mol: float = 1.3e-3  # bubbles under way on one side that give half of it
    coil_w_k: float = 1.0  # cooling coil through both reservoirs
    coil_j_k: float = 100.0
    coolant_l_min: float = 2.0  # with the valve open
    coolant_s: float = 0.4  # time constant of its flow
    evaporation_mol_s_pa: float = 6.0e-7  # one side; gas that has bubbled through lye leaves it nearly saturated
    steam_mol_s_pa: float = 2.7e-6  # above boiling
    reflux: float = 0.7  # share of the vapour that condenses under the lid on its way out, and runs back with its heat


@dataclass(frozen=True, slots=True)
class CableParameters:
    """The power cable and the bolted joints at its end.

    Copper under PVC is rated for the current at which it stays at 70 C in air of 30 C: IEC 60364-5-52, from memory.
    """

    rated_a: float = 70.0
    rated_k: float = 40.0  # at that current, above the room
    joint_k_w: float = 3.0  # a lug and a hand of strap in still air (estimate, no source)
    joint_j_k: float = 20.0  # 50 g of copper

    @property
    def lag_s(self) -> float:
        """Its heat capacity over what it gives off at the rated current, insulation left out: 41 s at 20 A.

        Copper: 3.45 J/(cm3 K), 2.06e-8 ohm m at 70 C (IEC 60949, from memory).
        """
        return self.rated_k * 3.45e6 * self.section_m2**2 / (2.06e-8 * self.rated_a**2)

    @property
    def section_m2(self) -> float:
        """IEC 60364-5-52 table B.52.4, method C: 1.5 mm2 for 19.5 A, 16 mm2 for 85 A (from memory)."""
        return 1.5e-6 * math.exp(1.6 * math.log(self.rated_a / 19.5))


@dataclass(frozen=True, slots=True)
class RoomParameters:
    """The air that a leak meets first: under the extraction hood over the bench, where the detector hangs."""

    volume_m3: float = 0.7
    ventilation_m3_h: float = 20.0  # five times what keeps all hydrogen of 30 A under 1 %
    draught_m3_h: float = 0.5  # fan off
    fan_s: float = 2.0  # time constant of the fan's speed


@dataclass(frozen=True, slots=True)
class WearParameters:
    rated_a: float = 30.0
    recoverable: float = 0.5  # log of the cathode's activity lost under load and regained at rest: about 30 mV
    recoverable_s: float = 2.0e5
    lasting_s: float = 1.8e7  # the same unit is lost for good every 5000 h at rated current
    reverse_c: float = 2.0e4  # and per this much charge driven backwards
    joint_s: float = 3.6e4  # a loose joint doubles its extra resistance in this time at rated current


@dataclass(frozen=True, slots=True, eq=False)  # compared by identity: the compiled plant is kept per object
class Parameters:
    title: str
    invented: bool = True
    cell: CellParameters = CellParameters()
    supply: SupplyParameters = SupplyParameters()
    hydraulics: HydraulicParameters = HydraulicParameters()
    heat: HeatParameters = HeatParameters()
    cable: CableParameters = CableParameters()
    room: RoomParameters = RoomParameters()
    wear: WearParameters = WearParameters()
    atmosphere_pa: float = 101_325.0


BOATHOUSE = Parameters(title="Boathouse (invented)")
MINIMAL = Parameters(
    title="Minimal (invented)",  # the same stack, fed by a knob-type supply
    supply=SupplyParameters(settable=False),
)
