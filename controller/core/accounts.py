"""What is counted instead of measured: the water that a run has used, and whether the cell answers as it must.

A float says only that there is enough, and the likeliest dangerous failure is one that says so for ever. The account
goes on from the last time that somebody has seen the level; it outlives the process with the latch.
"""

from __future__ import annotations

from controller.core.events import Happened
from controller.core.findings import found
from controller.core.memory import NOT_SEEN, Memory
from controller.core.rig import Rig
from controller.core.scan import Scan
from controller.core.sequence import State

GRAM_PER_C = 18.01528 / (2.0 * 96485.33212)  # of water split, for each cell: 0.336 g/Ah
ALARM_SHARE = 0.8
WRITTEN_SHARE = 0.05  # of the usable water: so much of a run may be lost with the process
# Grams that leave as vapour with each gram split, by the lye's temperature in C: gas saturated over pure water at one
# atmosphere, 1.5 p / (P - p), p from steam tables. Lye holds water back and lids drip, so it is an upper estimate.
VAPOUR = ((0.0, 0.009), (20.0, 0.036), (40.0, 0.118), (60.0, 0.368), (70.0, 0.667), (80.0, 1.32), (90.0, 3.38))
UNKNOWN_C = 60.0
COLD_START_C = 30.0  # a warmer cell may be near its end temperature already
WARMS_K = 2.0
BUBBLES_S = 60.0  # after closing the bubbles themselves raise the level
RISE_MM = 15.0
RISE_FOR_S = 5.0
POURS_S = 600.0  # after somebody has said that water goes in, the level may rise
_GAS_IS_MADE = frozenset({State.VENTING, State.RUNNING})


def vapour_share(celsius: float) -> float:
    """Grams that evaporate with each gram split, straight between the points of the table and shut at its ends."""
    low_c, low = VAPOUR[0]
    for high_c, high in VAPOUR:
        if celsius <= high_c:
            return high if high_c == low_c else low + (high - low) * max(0.0, celsius - low_c) / (high_c - low_c)
        low_c, low = high_c, high
    return low


def water_used_g(memory: Memory) -> float:
    """Since the level was last seen."""
    return memory.latch.water_used_g + memory.run.water_g


def hours_to_top_up(rig: Rig, memory: Memory) -> float | None:
    """Until the account is used up, at the present current and temperature; None while nothing is used or counted."""
    role = rig.roles.current
    current_a = memory.values[role].number if role >= 0 else None
    if not rig.usable_water_g or not memory.sequence.powered or current_a is None or current_a < rig.zero_current_a:
        return None
    celsius_at = rig.roles.cell_temperature
    celsius = memory.values[celsius_at].number if celsius_at >= 0 else None
    g_per_h = 3600.0 * _grams(rig, current_a, celsius)
    return max(0.0, rig.usable_water_g - water_used_g(memory)) / g_per_h


def mass_percent(rig: Rig, memory: Memory) -> float | None:
    """Hydroxide in the lye, percent by mass, by the account alone; None where the amount of lye is not given."""
    if not rig.lye_g:
        return None
    return 100.0 * rig.hydroxide_g / (rig.lye_g - min(water_used_g(memory), 0.9 * (rig.lye_g - rig.hydroxide_g)))


def _grams(rig: Rig, charge_c: float, celsius: float | None) -> float:
    return charge_c * rig.cells * GRAM_PER_C * (1.0 + vapour_share(UNKNOWN_C if celsius is None else celsius))


def follow(scan: Scan, charge_c: float) -> None:
    """Book the charge of this scan, and ask whether level and temperature answer to it."""
    rig = scan.rig
    celsius = scan.number(rig.roles.cell_temperature)
    if rig.usable_water_g:
        _book(scan, _grams(rig, charge_c, celsius))
    if rig.warm_charge_c:
        _warms(scan, celsius)
    if rig.roles.level >= 0:
        _rises(scan)


def _book(scan: Scan, grams: float) -> None:
    rig, run, before_g = scan.rig, scan.run, water_used_now_g(scan)
    alarm_g = ALARM_SHARE * rig.usable_water_g
    if before_g < alarm_g <= before_g + grams:
        scan.say(Happened.ALARM, "water low", "four fifths of the water are used", seen=before_g + grams, limit=alarm_g)
    scan.run = run._replace(water_g=run.water_g + grams)
    if scan.run.water_g >= WRITTEN_SHARE * rig.usable_water_g:
        write_down(scan)


def write_down(scan: Scan) -> None:
    """What this run has used goes to the latch, and with it to the disk."""
    if scan.run.water_g > 0.0:
        latch = scan.latch
        scan.latch = latch._replace(number=latch.number + 1, water_used_g=latch.water_used_g + scan.run.water_g)
        scan.run = scan.run._replace(water_g=0.0)


def used_up(rig: Rig, memory_g: float) -> bool:
    return 0.0 < rig.usable_water_g <= memory_g


def topped_up(scan: Scan, litres: float | None) -> str:
    """A person has seen the level: full, or so much added. Why not, if not."""
    if not scan.rig.usable_water_g:
        return "this rig keeps no water account: say in its file how much is usable ([water] usable_L)"
    if litres is not None and not 0.0 < litres <= 100.0:
        return "between 0 and 100 litres"
    filled(scan, water_used_now_g(scan) if litres is None else 1000.0 * litres)
    scan.run = scan.run._replace(rises_since_s=scan.now_s + POURS_S)
    return ""


def water_used_now_g(scan: Scan) -> float:
    return scan.latch.water_used_g + scan.run.water_g


def filled(scan: Scan, grams: float) -> None:
    """So much water has come in, and was seen to."""
    before_g = water_used_now_g(scan)
    left_g = max(0.0, before_g - grams)
    scan.run = scan.run._replace(water_g=0.0)
    scan.latch = scan.latch._replace(number=scan.latch.number + 1, water_used_g=left_g)
    alarm_g = ALARM_SHARE * scan.rig.usable_water_g
    if left_g < alarm_g <= before_g:
        scan.say(Happened.ALARM_CLEARED, "water low", "topped up", seen=left_g, limit=alarm_g)


def _warms(scan: Scan, celsius: float | None) -> None:
    """A cold cell warms once enough charge has gone through; a probe that hangs in the air does not see it.

    Judged once a run, in the first scan after that charge in which the temperature is seen.
    """
    run = scan.run
    if celsius is None or run.warmed:
        return
    if run.start_c == NOT_SEEN:
        scan.run = run._replace(start_c=celsius)
        return
    if run.charge_c < scan.rig.warm_charge_c:
        return
    scan.run = run._replace(warmed=True)
    rise_k = celsius - run.start_c
    if run.start_c < COLD_START_C and rise_k < WARMS_K:
        scan.causes.append(found(scan, "temperature does not follow", run.began_s, rise_k, WARMS_K))


def _rises(scan: Scan) -> None:
    """A level that rises without a top-up is coolant in the lye."""
    run, now_s = scan.run, scan.now_s
    level_mm = scan.number(scan.rig.roles.level)
    if level_mm is None or scan.seq.state not in _GAS_IS_MADE or now_s - run.began_s < BUBBLES_S:
        return
    since_s = run.rises_since_s
    pours = since_s > now_s or scan.before.outputs.top_up
    low_mm = level_mm if run.level_low_mm == NOT_SEEN or pours else min(run.level_low_mm, level_mm)
    if since_s > now_s:
        pass
    elif level_mm - low_mm < RISE_MM:
        since_s = -1.0
    elif since_s < 0.0:
        since_s = now_s
    elif now_s - since_s >= RISE_FOR_S:
        scan.causes.append(found(scan, "level rising", since_s, level_mm, low_mm + RISE_MM))
    if (low_mm, since_s) != (run.level_low_mm, run.rises_since_s):
        scan.run = run._replace(level_low_mm=low_mm, rises_since_s=since_s)
