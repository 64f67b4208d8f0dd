"""What a person should do about each cause: now or in the morning, what to look at, one thing to do, one not to do.

Every text of a kind stands in this one file. They are read half awake, so each is short. They are the usual cautions,
no more: local codes, the makers' sheets and people who are licensed for it rule.
"""

from __future__ import annotations

from typing import Literal, NamedTuple


class Advice(NamedTuple):
    urgency: Literal["now", "morning"]
    look: str
    to_do: str
    not_to_do: str


_GAS = "Do not switch a light or a fan in there: air it first, from outside."
_HANDS = "Do not open the cell: power off does not make it cool or free of gas."
_AGAIN = "Do not reset before you know why."

ADVICE: dict[str, Advice] = {
    # --- the process
    "over-temperature": Advice(
        "morning",
        "Coolant: tap, hose, drain. Has the current been turned up?",
        "Let it cool; then run the coolant by hand and feel the drain.",
        _HANDS,
    ),
    "level low hydrogen side": Advice(
        "morning",
        "Level by eye on both sides, the floor, the drip tray.",
        "Look for a leak before you top up; then deionised water only.",
        "Do not top up a cell that is warm or under power.",
    ),
    "level low oxygen side": Advice(
        "morning",
        "Level by eye on both sides, the floor, the drip tray.",
        "Look for a leak before you top up; then deionised water only.",
        "Do not top up a cell that is warm or under power.",
    ),
    "level high": Advice(
        "morning",
        "Has coolant got into the lye? Foam? Was it overfilled?",
        "Measure the density before use: the lye may be thinner now.",
        "Do not drain into a metal bucket or without goggles and gloves.",
    ),
    "level rising": Advice(
        "morning",
        "Coolant in the lye (the coil, its joints), foam, a top-up valve that stays open.",
        "Shut the tap by hand and measure the density before use.",
        _AGAIN,
    ),
    "coolant flow low": Advice(
        "morning",
        "Tap open? Hose off or kinked? Grit in the meter? Air in the loop?",
        "Put the flow right, wait until the cell is under 45 C, then reset.",
        "Do not send cold water onto a cell over 90 C: the hose bursts.",
    ),
    "coolant flow high": Advice(
        "now",
        "A hose has burst or come off.",
        "Shut the tap by hand, then look at the floor.",
        "Do not stand in the water near the supply or its leads.",
    ),
    "cooling fan lost": Advice(
        "morning", "Fan turning? Dust, plug, fuse.", "Put the fan right and let the cell cool.", _HANDS
    ),
    "coolant outlet hot": Advice(
        "morning",
        "Coolant flow, and the current against what the flow can carry.",
        "Open the tap a little more, or run at less current.",
        "Do not touch the drain hose: it scalds.",
    ),
    "over-current": Advice(
        "morning",
        "The supply's knob, and whether the lye is warmer or stronger than usual.",
        "Turn the current down before the next start.",
        _AGAIN,
    ),
    "short": Advice(
        "now",
        "Leads, clamps, anything lying across the cell; the fuse.",
        "Unplug the supply, then look for what bridges the plates.",
        "Do not close it again to see whether it still does it.",
    ),
    "reversed": Advice(
        "now",
        "Plus and minus at cell and supply.",
        "Unplug the supply, air both gas sides, then swap the leads back.",
        "Do not collect or light anything: the gases have changed sides.",
    ),
    "reversed volts": Advice(
        "now",
        "Plus and minus at cell and supply.",
        "Unplug the supply, air both gas sides, then swap the leads back.",
        "Do not collect or light anything: the gases have changed sides.",
    ),
    "current while off": Advice(
        "now",
        "The contactor has welded, or there is another path.",
        "Pull the supply's plug now; a licensed person replaces the contactor.",
        "Do not rely on the stop button for this one.",
    ),
    "no current": Advice(
        "morning",
        "The supply's own cut-out, its knob, the leads, the level.",
        "Find the open joint with the supply unplugged.",
        "Do not wiggle a lead under load: it arcs.",
    ),
    "minimum current": Advice(
        "morning",
        "Sun gone, knob low, or a tired supply.",
        "Start again when there is current enough.",
        "Do not collect gas made under the minimum: it is not pure.",
    ),
    "cell voltage high": Advice(
        "morning",
        "Level, lye strength, clamps that have worked loose.",
        "Measure the volts at each clamp under a small load.",
        _AGAIN,
    ),
    "cell voltage low": Advice(
        "morning", "A short inside a cell, or a tap that has come off.", "Compare the cells one by one.", _AGAIN
    ),
    "one bad cell": Advice(
        "morning",
        "Lye in that cell, a bridge of flakes, its clamp.",
        "Compare the cells one by one, power off.",
        _AGAIN,
    ),
    "stack off its curve": Advice(
        "morning",
        "More volts: a dry cell, a clamp, thin lye. Less: a bridge inside a cell.",
        "Compare the cells one by one, power off.",
        _AGAIN,
    ),
    "gas pressure hydrogen side": Advice(
        "now",
        "Vent line: kink, ice, water, carbonate; the seal's level.",
        "Free the outlet from outside, wait until the pressure is gone.",
        "Do not open anything under pressure, and no flame near the vent.",
    ),
    "gas pressure oxygen side": Advice(
        "now",
        "Vent line: kink, ice, water, carbonate; the seal's level.",
        "Free the outlet from outside, wait until the pressure is gone.",
        "Do not open anything under pressure; keep oil and cloth away.",
    ),
    "pressure difference": Advice(
        "now",
        "One outlet blocked, or the two seals are not equally deep.",
        "Make both sides alike, then flush both before use.",
        "Do not collect: gas may have crossed the separator.",
    ),
    "under-pressure": Advice(
        "morning",
        "It cooled while shut, and drew in air or seal water.",
        "Open the vent, refill the seal, flush before use.",
        "Do not light or collect what is in there now.",
    ),
    "hydrogen in oxygen": Advice(
        "now",
        "Torn separator, uneven levels, too little current.",
        "Air both sides outdoors before anything else.",
        "Do not collect, compress or light either gas.",
    ),
    "oxygen in hydrogen": Advice(
        "now",
        "Torn separator, uneven levels, too little current.",
        "Air both sides outdoors before anything else.",
        "Do not collect, compress or light either gas.",
    ),
    "room hydrogen": Advice(
        "now", "Joints, hoses, the seal; then the detector.", "Keep people out, open doors from outside, wait.", _GAS
    ),
    "seal dry": Advice(
        "morning",
        "The water seal's level.",
        "Fill it with the power off and the gas vented.",
        "Do not run without it: it is the flame barrier.",
    ),
    "leak": Advice(
        "now",
        "Floor and drip tray: water, or lye?",
        "Shut the tap; goggles and gloves before you wipe anything.",
        "Do not touch it barehanded: lye looks like water.",
    ),
    "ventilation lost": Advice(
        "now", "Fan, shutter, filter, plug.", "Open doors and windows from outside and wait before you go in.", _GAS
    ),
    "stop chain": Advice(
        "morning",
        "Who pressed it, and why? Or the thermostat, or a broken wire.",
        "When the reason is gone, pull the button out and reset here.",
        _AGAIN,
    ),
    "controller supply": Advice(
        "morning",
        "The Pi's own power supply and its cable.",
        "Give it a supply and cable made for it.",
        "Do not run unattended on a sagging supply.",
    ),
    # --- what the controller finds itself
    "scan gap": Advice(
        "morning",
        "Load on the Pi, its supply, its temperature.",
        "Read the log around that time, then reset at the rig.",
        _AGAIN,
    ),
    "time ran backwards": Advice(
        "morning", "The Pi itself: this should never be.", "Restart the Pi with the supply unplugged.", _AGAIN
    ),
    "guard ended while powered": Advice(
        "morning",
        "Power cut, pulled plug, or a crash: the log says which.",
        "Look at the rig, then reset at the rig.",
        _AGAIN,
    ),
    "memory of the last run lost": Advice(
        "morning",
        "The card: is it full, worn, or new?",
        "Look at the rig as if nothing were known, then reset at the rig.",
        "Do not take it for a clean start: nobody knows how it ended.",
    ),
    "output not obeyed": Advice(
        "now",
        "Wiring of the relay board; another program on the same pins.",
        "Unplug the supply before you touch the wiring.",
        _AGAIN,
    ),
    "opened by itself": Advice(
        "morning",
        "Mains dip, coil supply, a loose coil wire, the thermostat.",
        "Find what dropped the contactor, then reset at the rig.",
        _AGAIN,
    ),
    "did not close": Advice(
        "morning",
        "Coil supply, coil wires, the contactor itself, its auxiliary contact.",
        "Try it in service, with the supply unplugged.",
        _AGAIN,
    ),
    "contactor not open": Advice(
        "now",
        "A welded contact, or an auxiliary contact that lies.",
        "Pull the supply's plug now; a licensed person replaces the contactor.",
        "Do not knock on it and carry on.",
    ),
    "self-test failed": Advice(
        "now",
        "The device named beside it.",
        "Unplug the supply until the device is replaced and tested.",
        "Do not bridge it: it is what breaks the power.",
    ),
    "third trip": Advice(
        "morning",
        "What the last three had in common.",
        "Mend the cause, write it down, then release it at the rig.",
        "Do not raise the limit to make it quiet.",
    ),
    "restart loop": Advice(
        "morning", "The guard's log: why it ends again and again.", "Leave it off until the reason is found.", _AGAIN
    ),
    "supply does not obey": Advice(
        "morning",
        "The set-point's wire and the supply's remote input.",
        "Compare what was asked with an ammeter, at a low current.",
        _AGAIN,
    ),
    "top-up not seen": Advice(
        "morning",
        "Water in the can? The valve, its hose, the level by eye on both sides, the floor.",
        "Fill the can, see the level, and say so (topped-up): doses go on then.",
        "Do not fill up to make it true: a level that sinks may be a leak.",
    ),
    "turn down": Advice(
        "now",
        "The supply's knob; the lye takes more current as it warms.",
        "Turn the knob down to what it says.",
        "Do not wait for the trip: the run ends in order when you do it now.",
    ),
    "no current came": Advice(
        "morning",
        "Is the supply on, its knob up? Leads, fuse, level; is the current channel wired?",
        "Find the open joint with the supply unplugged.",
        "Do not wiggle a lead under load: it arcs.",
    ),
    "open lead": Advice(
        "now",
        "Leads, clamps and fuse, with the supply unplugged: scorched, loose, blown?",
        "Find the open joint; see that the room is aired first: it may have sparked.",
        "Do not wiggle a lead under load: it arcs.",
    ),
    "volts do not fit": Advice(
        "morning",
        "Anything bridging the plates; then shunt and divider against the rig file.",
        "Unplug the supply, then measure volts and amps with a meter of your own.",
        _AGAIN,
    ),
    "first power failed": Advice(
        "morning",
        "What has changed in the rig file, or in the wiring since the last run.",
        "Compare volts and amps with a meter of your own, then put the file right.",
        "Do not start again before both agree.",
    ),
    "supply gone": Advice(
        "morning",
        "The supply's thermal cut-out, its fuse, its mains plug.",
        "Unplug it and let it cool; look for what it had too much of.",
        _AGAIN,
    ),
    "supply came back by itself": Advice(
        "morning",
        "The supply's thermal cut-out: dust, fan, too much load.",
        "Let it cool, clean its fan, run it at less.",
        _AGAIN,
    ),
    "temperature does not follow": Advice(
        "morning",
        "The thermometer's probe: is it in its well, and the well in the lye?",
        "Put the probe back and hold it in warm water once, to see it move.",
        _AGAIN,
    ),
    "function check": Advice(
        "morning",
        "A signal was being forced for a test.",
        "End the test, then start again.",
        "Do not test inputs under power.",
    ),
    # --- warnings whose trip has another name, or that have none
    "over-temperature derate": Advice(
        "morning",
        "Coolant: tap, hose, drain. The current has been turned down by itself.",
        "Let it run on at less, and look at the coolant when you pass.",
        _HANDS,
    ),
    "coolant flow warn": Advice(
        "morning",
        "Tap turned down? Grit in the meter?",
        "Put the flow right before the next run.",
        "Do not take the hose off under power.",
    ),
    "coolant outlet warn": Advice(
        "morning",
        "Coolant flow, and the current.",
        "Give it more coolant or less current.",
        "Do not touch the hose: it scalds.",
    ),
    "one bad cell warn": Advice(
        "morning", "Level and clamp of the cell that stands out.", "Look again at the next stop.", _AGAIN
    ),
    "stack off its curve warn": Advice(
        "morning", "Lye strength, clamps, wear.", "Measure the curve anew if all of them are right.", _AGAIN
    ),
    "cell voltage warn": Advice(
        "morning",
        "Lye too cold or too thin? A clamp loose or corroded? Which cell?",
        "Measure the density and feel the clamps once power is off.",
        "Do not tighten a clamp under power.",
    ),
    "scans late": Advice(
        "morning",
        "What else runs on the controller? Its supply voltage, its temperature, its card.",
        "End what else runs there, and see that its supply and its card are good.",
        "Do not leave the rig alone while scans come late: too late is a trip.",
    ),
    "terminal hot": Advice(
        "now",
        "The joint under the probe, once power is proven off: discoloured, loose, soft?",
        "Open it, clean it bright, tighten it to its torque, and replace what has gone soft.",
        "Do not tighten a clamp under power.",
    ),
    "terminal warn": Advice(
        "morning",
        "The clamp that the probe sits on: is it warmer than its neighbours at the same current?",
        "End the run, and tighten and clean that joint with the supply unplugged.",
        "Do not tighten a clamp under power.",
    ),
    "frost warn": Advice(
        "morning",
        "Coolant line, seal and vent: ice bursts the one and plugs the others.",
        "Drain the coolant line or warm the room, and see that the vent is free.",
        "Do not start before the vent is proven free.",
    ),
}

# Endings of the names of alarms about a vote; what stands before them is the limit.
DEGRADED = ": a sensor lost"
DISAGREE = ": sensors disagree"
_OF_A_VOTE = {
    DEGRADED: Advice(
        "morning",
        "The sensor that is named: its plug, its wire, its supply.",
        "Mend or replace it within the 24 h of running that are left to it.",
        "Do not take the other one's wire off to try: that cuts power.",
    ),
    DISAGREE: Advice(
        "morning",
        "Both sensors that are named: does one stick, or stand in another place?",
        "Test each by hand with power off, and replace the one that is wrong.",
        "Do not believe the one that suits you.",
    ),
}

UNKNOWN = Advice(
    "now",
    "The rig itself, from a distance first.",
    "Unplug the supply if you can do so without going near, and wait.",
    "Do not go on before you know what it was.",
)


LOST_DEVICE = Advice(
    "morning",
    "The plug, cable and supply of the board that several sensors hang on.",
    "Reseat it with the supply unplugged; then see all its sensors, and reset.",
    "Do not bridge its sensors: the rig trips on what it cannot see.",
)
_DEVICES = ("converter 0x", "1-Wire bus")  # as the drivers name what several signals share


def advice(cause: str) -> Advice:
    """What to do about a cause, by its name. A limit that the rig file named itself gets caution."""
    known = ADVICE.get(cause) or ADVICE.get(cause.removesuffix(" warn"))
    if known is None and cause.startswith(_DEVICES):
        return LOST_DEVICE
    of_a_vote = next((said for ending, said in _OF_A_VOTE.items() if cause.endswith(ending)), UNKNOWN)
    return known or of_a_vote
