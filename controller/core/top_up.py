"""Water that the rig adds by itself: a dose at a time, only where its level shows that it is wanted and that it came.

Never more goes in than the charge has used since the level was last seen, so a top-up cannot feed a leak. A dose is in
the latch, and on disk, before the valve opens: a guard that restarts forgets none. Hours are those of running. The
floats that trip are no part of the control; any of them that is not clear shuts the valve.
"""

from __future__ import annotations

from controller.core.accounts import filled, water_used_now_g
from controller.core.events import Happened
from controller.core.limits import is_clear
from controller.core.rig import TopUp
from controller.core.scan import Scan

UNSEEN = "top-up not seen"  # the alarm's name
SEEN_WITHIN_S = 60.0  # after the valve has shut
DAY_H = 24.0


def dose(scan: Scan, may: bool) -> bool:
    """Whether the valve is open until the next scan. may: the state allows it at all."""
    top_up, run = scan.rig.top_up, scan.run
    if top_up is None:
        return False
    level_mm = scan.number(top_up.level)
    if run.dose_number < 0:
        if may and level_mm is not None and level_mm <= top_up.from_mm and _clear(scan, top_up):
            _book(scan, top_up, level_mm)
        return False
    if not may:
        _end(scan)  # it was never judged, and stays booked
        return False
    if run.dose_ended_s >= 0.0:
        if level_mm is not None:
            _judge(scan, top_up, level_mm)
        return False
    if level_mm is None or not _clear(scan, top_up):
        scan.say(Happened.NOTE, "top-up", "cut short: the level is not known, or a limit is not clear", seen=level_mm)
        _end(scan)
        return False
    if scan.inputs.latch_on_disk < run.dose_number:
        return False
    if run.dose_began_s < 0.0:
        scan.run = run = run._replace(dose_began_s=scan.now_s)
    if level_mm >= top_up.to_mm or scan.now_s - run.dose_began_s >= top_up.dose_g / top_up.g_per_s:
        scan.run = run._replace(dose_ended_s=scan.now_s)
        return False
    return True


def seen_by_somebody(scan: Scan) -> None:
    """A person has looked at the level: doses may go on."""
    if scan.latch.dose_unseen:
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, dose_unseen=False)
        scan.say(Happened.ALARM_CLEARED, UNSEEN, "the level was seen")


def _clear(scan: Scan, top_up: TopUp) -> bool:
    limits = scan.rig.limits
    return all(not scan.limits[at].standing and is_clear(limits[at], scan.values) for at in top_up.clear)


def _book(scan: Scan, top_up: TopUp, level_mm: float) -> None:
    """The next dose, unless one of its limits says no."""
    latch, hours = scan.latch, scan.running_h()
    last = tuple(h for h in latch.doses_h if hours - h < DAY_H)
    too_soon = bool(last) and hours - last[-1] < top_up.pause_h
    too_much = (len(last) + 1) * top_up.dose_g > top_up.most_g
    if latch.dose_unseen or too_soon or too_much or water_used_now_g(scan) < top_up.dose_g:
        return
    scan.latch = latch._replace(number=latch.number + 1, doses_h=(*last, hours))
    scan.run = scan.run._replace(
        dose_number=scan.latch.number, dose_from_mm=level_mm, dose_began_s=-1.0, dose_ended_s=-1.0
    )


def _judge(scan: Scan, top_up: TopUp, level_mm: float) -> None:
    rise_mm = level_mm - scan.run.dose_from_mm
    if rise_mm >= top_up.shows_mm:
        scan.say(Happened.NOTE, "top-up", f"{top_up.dose_g:.0f} g of water, the level rose by {rise_mm:.0f} mm")
        filled(scan, top_up.dose_g)
        _end(scan)
    elif scan.now_s - scan.run.dose_ended_s >= SEEN_WITHIN_S:
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, dose_unseen=True)
        words = f"a dose of {top_up.dose_g:.0f} g did not show at the level: can empty, valve stuck, or a leak?"
        scan.say(Happened.ALARM, UNSEEN, words, seen=rise_mm, limit=top_up.shows_mm)
        _end(scan)


def _end(scan: Scan) -> None:
    scan.run = scan.run._replace(dose_number=-1, dose_began_s=-1.0, dose_ended_s=-1.0)
