"""Faults of water, lye, gas, room, stack and supply. They act on the physics; every consequence follows from those."""

from __future__ import annotations

from simulator.faults.kinds import PLANT, Act, FaultKind, Onset, Parameter


def _share(says: str, default: float, name: str = "share", high: float = 1.0) -> Parameter:
    return Parameter(name, default, 0.0, high, says)


def _field(name: str, amount: float | str, neutral: float = 0.0) -> tuple[Act, ...]:
    return (Act(PLANT, name, amount, neutral),)


COOLANT = (
    FaultKind(
        "coolant-lost", "No cooling water",
        "Somebody has shut the tap, or the pump was never plugged in. The meter falls to zero within a second; the lye "
        "then warms by a third of a kelvin a minute.",
        _field("coolant_supply", 0.0, 1.0),
    ),
    FaultKind(
        "coolant-throttled", "Cooling water turned down",
        "A garden hose is opened elsewhere in the house, or grit sits in the valve: less flow, and the lye "
        "settles warmer.",
        _field("coolant_supply", "share", 1.0), (_share("of the normal flow that is left", 0.35),),
    ),
    FaultKind(
        "coolant-warm", "Cooling water warm",
        "Water that has stood in a hose in the sun, or a tank that is used again and again. Flow is as ever.",
        _field("coolant_warmer_k", "kelvin"), (Parameter("kelvin", 25.0, 0.0, 60.0, "warmer than stated"),),
        onset=Onset.RAMP, over_s=120.0,
    ),
    FaultKind(
        "coolant-air-locked", "Air in the cooling coil",
        "After a refill the pump hums and turns, but air stands in the coil: nothing flows.",
        _field("coolant_air", "share"), (_share("of the coil that is full of air", 1.0),),
    ),
    FaultKind(
        "hose-off", "Hose off behind the meter",
        "The hose has come off its nipple: the meter shows more flow than before, while the water runs over the floor.",
        _field("hose_off", "share"), (_share("of the water that goes to the floor", 1.0),),
    ),
    FaultKind(
        "drain-kinked", "Drain hose kinked",
        "A chair stands on the drain: the flow falls to a trickle over seconds.",
        _field("coolant_supply", "share", 1.0), (_share("of the flow that still passes", 0.2),),
        onset=Onset.RAMP, over_s=5.0,
    ),
    FaultKind(
        "coolant-into-cell", "Coolant leaks into the lye",
        "The coil has a hole: tap water runs into the lye, the level rises although nobody tops up, the lye gets thin.",
        _field("coolant_into_lye_l_min", "l_min"), (Parameter("l_min", 0.2, 0.0, 3.0, "through the hole, L/min"),),
    ),
    FaultKind(
        "coolant-frozen", "Cooling water frozen",
        "A cold night: the inlet freezes, then nothing flows.",
        _field("coolant_warmer_k", -20.0), onset=Onset.RAMP, over_s=60.0,
    ),
)  # fmt: skip

LYE = (
    FaultKind(
        "lye-leak", "Lye runs out",
        "A gasket weeps or a nipple has cracked: lye on the floor, both levels sink.",
        _field("lye_leak_ml_s", "ml_s"), (Parameter("ml_s", 3.0, 0.0, 100.0, "of lye, mL/s"),),
    ),
    FaultKind(
        "lye-froths", "Lye froths",
        "Soap or oil got in: bubbles no longer burst, the apparent level climbs and lye goes up the gas line.",
        _field("froth", "times", 1.0), (Parameter("times", 30.0, 1.0, 100.0, "longer that bubbles stay"),),
        onset=Onset.RAMP, over_s=60.0,
    ),
    FaultKind(
        "lye-diluted", "Top-up valve leaks",
        "The water valve does not close: the level rises without anybody topping up, and the lye gets thin.",
        _field("water_into_lye_ml_s", "ml_s"), (Parameter("ml_s", 2.0, 0.0, 50.0, "of water, mL/s"),),
    ),
    FaultKind(
        "top-up-fails", "Top-up gives nothing",
        "The can is empty, or the valve sticks shut: a dose is given and the level does not rise. Nothing is in danger "
        "until the water of the whole account is used.",
        _field("top_up_supply", "share", 1.0), (_share("of a dose that arrives", 0.0),), harmless=True,
    ),
    FaultKind(
        "wrong-fluid", "Wrong or spent lye",
        "Filled with plain or brackish water, or with last year's lye: the volts a cell are far too high.",
        _field("conductivity", "share", 1.0), (_share("of the right conductivity", 0.15),),
    ),
    FaultKind(
        "level-unequal", "One side stands higher",
        "The rig is tilted, or one water seal is fuller than the other: the sides stand at different heights.",
        _field("level_offset_mm", "mm"), (Parameter("mm", 90.0, -200.0, 200.0, "oxygen side higher, mm"),),
        onset=Onset.RAMP, over_s=60.0,
    ),
)  # fmt: skip

GAS = (
    FaultKind(
        "outlet-h-blocked", "Hydrogen outlet blocked",
        "The hose is pinched, the vent iced up or the flame arrestor full of carbonate: pressure climbs 14 mbar "
        "a second.",
        _field("outlet_h_open", "open", 1.0), (_share("of the bore left", 0.0, "open"),),
    ),
    FaultKind(
        "outlet-o-blocked", "Oxygen outlet blocked",
        "As on the hydrogen side, at half the rate: lye is pushed over to the hydrogen side.",
        _field("outlet_o_open", "open", 1.0), (_share("of the bore left", 0.0, "open"),),
    ),
    FaultKind(
        "suck-back", "Seal water is sucked back",
        "A rig that cools, or a pump in the gas line, draws the water of the seal into the cell.",
        _field("suck_back_ml_s", "ml_s"), (Parameter("ml_s", 2.0, 0.0, 20.0, "of water, mL/s"),),
    ),
    FaultKind(
        "seal-dry", "Water seal dry",
        "Nobody filled the bubbler: gas leaves at no pressure and a flame could come back. Without a float in the seal "
        "no reading shows it.",
        _field("seal_h", 0.0, 1.0),
    ),
    FaultKind(
        "store-full", "Hydrogen store full",
        "The bag or gasometer is full while gas is still collected: back pressure on the hydrogen side.",
        _field("store_mbar", "mbar"), (Parameter("mbar", 25.0, 0.0, 200.0, "back pressure, mbar"),),
        onset=Onset.RAMP, over_s=60.0,
    ),
    FaultKind(
        "separator-torn", "Separator torn",
        "A tear in the cloth grows: hydrogen in the oxygen and the other way, while volts and current look as ever.",
        _field("separator_torn", "share"), (_share("of each gas that strays in the end", 0.15),),
        onset=Onset.RAMP, over_s=300.0,
    ),
    FaultKind(
        "hydrogen-leak", "Hydrogen leaks into the room",
        "A hose has slipped off its nipple: gas goes into the room instead of outdoors. Nothing on the cell shows it.",
        _field("hydrogen_to_room", "share"), (_share("of the hydrogen made", 1.0),),
    ),
    FaultKind(
        "ventilation-lost", "Ventilation lost",
        "The fan has stopped, or its shutter is stuck. It alone harms nobody; with a leak it does.",
        _field("ventilation", "share", 1.0), (_share("of the air that still moves", 0.0),),
    ),
    FaultKind(
        "ambient-hot", "Hot day",
        "A heat wave under a tin roof: everything settles warmer.",
        _field("ambient_warmer_k", "kelvin"), (Parameter("kelvin", 20.0, 0.0, 40.0, "warmer than stated"),),
        onset=Onset.RAMP, over_s=600.0, harmless=True,
    ),
)  # fmt: skip

STACK = (
    FaultKind(
        "electrode-worn", "Electrodes worn",
        "After months the cathode has lost its activity: more volts and more heat for the same gas.",
        _field("cathode_activity", "share", 1.0), (Parameter("share", 0.02, 1e-4, 1.0, "of the activity left"),),
        harmless=True,
    ),
    FaultKind(
        "joint-loose", "Joint loose",
        "A strap has worked loose: a few milliohms at 30 A are a hot spot, and it gets worse by itself.",
        (Act(PLANT, "joint_extra_ohm", "ohm"),), (Parameter("ohm", 0.12, 0.0, 1.0, "extra, ohm"),),
    ),
    FaultKind(
        "cell-dry", "One cell dry",
        "The channel of one cell is blocked: its plates stand out of the lye and the volts climb.",
        _field("cell_dry", "share"), (_share("of its plates out of the lye", 0.9),),
        onset=Onset.RAMP, over_s=30.0,
    ),
    FaultKind(
        "cell-shorted", "One cell shorted",
        "A flake of metal bridges two plates: one cell makes no gas, the volts fall by a third.",
        _field("cell_short", "share"), (_share("of the current past the cell", 0.95),),
    ),
)  # fmt: skip

SUPPLY = (
    FaultKind(
        "supply-runs-away", "Supply runs away",
        "Its regulator has failed: the current climbs to whatever the cell takes.",
        (Act(PLANT, "supply_forced_a", "amps", 10.0), Act(PLANT, "supply_forced_v", 12.0, 7.5)),
        (Parameter("amps", 40.0, 0.0, 200.0, "current it climbs to, A"),), onset=Onset.RAMP, over_s=2.0,
    ),
    FaultKind(
        "over-current", "The current leaps above its limit",
        "The regulator fails at once instead of slowly: what supply-runs-away does, in one step.",
        (Act(PLANT, "supply_forced_a", "amps"), Act(PLANT, "supply_forced_v", 12.0)),
        (Parameter("amps", 42.0, 0.0, 200.0, "current it gives, A"),),
    ),
    FaultKind(
        "supply-ignores-setpoint", "Supply ignores its set-point",
        "The wire of the set-point has come off and the supply takes its own knob instead.",
        _field("supply_forced_a", "amps", 30.0), (Parameter("amps", 30.0, 0.0, 200.0, "current it gives, A"),),
    ),
    FaultKind(
        "supply-reversed", "Leads swapped",
        "Plus and minus changed over after a repair: the gases change sides.",
        _field("supply_reversed", 1.0),
    ),
    FaultKind(
        "supply-constant-voltage", "Supply holds volts, not current",
        "The limiter is turned up: at fixed volts the current climbs as the lye warms, which warms it further.",
        (Act(PLANT, "supply_forced_a", 60.0), Act(PLANT, "supply_forced_v", "volts", 6.6)),
        (Parameter("volts", 6.75, 0.0, 20.0, "that it holds, V"),),
    ),
    FaultKind(
        "supply-cuts-out", "Supply cuts out and returns",
        "Its thermal cut-out opens; when it has cooled, the current comes back by itself.",
        _field("supply_cut_out", 1.0), for_s=20.0,
    ),
    FaultKind(
        "mains-dip", "Mains dips",
        "Lightning somewhere: the mains are away for a fraction of a second, coils drop, other things ride through.",
        (Act("mains", "lost"),), for_s=0.18,
    ),
    FaultKind(
        "mains-lost", "Mains lost",
        "The breaker of the shed has fallen: supply, fan, valves and coils are dead; the Pi lives on its battery.",
        (Act("mains", "lost"),),
    ),
    FaultKind(
        "path-left", "Current past the contactors",
        "Salt and lye across the terminals: with everything open the cell still discharges, or is still fed.",
        _field("path_past_contactors_s", "siemens"),
        (Parameter("siemens", 1.0, 0.0, 100.0, "conductance left, S"),), hidden=True,
    ),
)  # fmt: skip

FAULTS = COOLANT + LYE + GAS + STACK + SUPPLY
