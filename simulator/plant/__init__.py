"""The physics of a small alkaline electrolyser bench: `advance(parameters, state, inputs, dt_s)`, pure.

    parameters  what the bench is made of; BOATHOUSE and MINIMAL are invented
    inputs      what acts on it: contactors, supply, valves, weather, and Disturbances
    state       what it remembers, running totals included
    start       cold_start, steady_state
    advance     one step of up to a second
    observe     what instruments in the right places would read
    ledger      whether every balance closes
    curves      polarisation and efficiency, as numbers and as a picture

Inside: contents (what a state amounts to), the flows by their physics (cell and supply; gases, liquids, sides; cooling;
surroundings; trouble for those that a sound bench does not have), and rates, the right-hand side in which they meet.
Properties of the lye come from controller.chemistry as fits.
"""

from .advance import advance
from .inputs import NEUTRAL, OFF, RUN30, Disturbances, Inputs
from .observe import Seen, observe
from .parameters import BOATHOUSE, MINIMAL, Parameters
from .start import cold_start, steady_state
from .state import State

__all__ = [
    "BOATHOUSE",
    "MINIMAL",
    "NEUTRAL",
    "OFF",
    "RUN30",
    "Disturbances",
    "Inputs",
    "Parameters",
    "Seen",
    "State",
    "advance",
    "cold_start",
    "observe",
    "steady_state",
]
