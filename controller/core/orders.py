"""Commands: each is answered, accepted or refused with the reason in words, and leaves an event.

What a source may ask stands in `commands.MAY_ASK`; what the rig file grants besides in `Rig.permitted`. A handler
returns an empty text when it has done what was asked, else why not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from controller.core.accounts import topped_up
from controller.core.commands import AT_THE_RIG, MAY_ASK, Command, Source, Verb
from controller.core.events import Happened
from controller.core.limits import Effect, TripKind
from controller.core.memory import Run
from controller.core.outputs import PINS
from controller.core.permissives import missing
from controller.core.scan import Scan
from controller.core.sequence import POWERED_STATES, On, State
from controller.core.top_up import seen_by_somebody

_STARTS_FROM = frozenset({State.OFF, State.COOLING})
_UNPOWERED = frozenset({State.OFF, State.COOLING, State.TRIPPED, State.OUT_OF_SERVICE, State.LOCKED_OUT})
_NEEDS_GRANT = {
    Source.PLAN: frozenset({Verb.START}),
    Source.REMOTE: frozenset({Verb.START, Verb.RESET, Verb.SET_CURRENT}),
}


def _missing(scan: Scan, source: Source) -> str:
    return missing(scan.rig, scan.memory(scan.before.outputs), source)


def obey(scan: Scan, commands: Iterable[Command]) -> None:
    """Answer every command of this scan, each as things stand after the one before."""
    for command in commands:
        why = _refused_by_policy(scan, command) or _HANDLERS[command.verb](scan, command)
        what = Happened.REFUSED if why else Happened.ACCEPTED
        detail = why or " ".join(x for x in (command.subject, command.text, command.who) if x)
        scan.say(what, command.verb.name, detail, command.source.name, command.ticket, seen=command.number)


def _refused_by_policy(scan: Scan, command: Command) -> str:
    if command.retained:
        return "retained messages are never obeyed: publish it without the retain flag"
    if command.source not in MAY_ASK[command.verb]:
        return f"{command.verb.name.lower().replace('_', ' ')} is not for {command.source.name.lower()}"
    if (
        command.verb in _NEEDS_GRANT.get(command.source, ())
        and (command.verb, command.source) not in scan.rig.permitted
    ):
        return "the rig file does not grant this"
    return ""


def _start(scan: Scan, command: Command) -> str:
    rig, state = scan.rig, scan.seq.state
    if On.START in scan.wishes:
        return "a start has just been asked for"
    why = "" if state in _STARTS_FROM else f"not from {state.name.lower().replace('_', ' ')}"
    if state is State.CHECKING or state in POWERED_STATES:
        return why
    why = "; ".join(x for x in (why, _missing(scan, command.source)) if x)
    if why:
        return why
    unlimited = command.seconds is None and command.charge_c is None
    if unlimited and command.source not in AT_THE_RIG:
        return "a start from elsewhere names its end: litres, hours or a time"
    most_a = rig.most_a
    wanted_a = most_a if command.number is None else command.number
    if not 0.0 < wanted_a <= most_a:
        return f"{wanted_a:g} A is not within 0 and {most_a:g} A"
    if rig.supply.settable and wanted_a < rig.supply.minimum_a <= most_a:
        return f"{wanted_a:g} A is under the minimum of {rig.supply.minimum_a:g} A: the gas would not be pure"
    for given in (command.seconds, command.charge_c):
        if given is not None and not 0.0 < given < float("inf"):
            return "the end of the run must be ahead"
    now_s = scan.now_s
    scan.run = Run(
        asked_by=int(command.source),
        wanted_a=wanted_a,
        end_charge_c=command.charge_c or 0.0,
        end_s=command.seconds or 0.0,
        lease_until_s=now_s + rig.timing.lease_s if command.source in (Source.PLAN, Source.REMOTE) else 0.0,
    )
    if command.source in AT_THE_RIG:
        scan.person = scan.person._replace(present_s=now_s, stopped=False, failed_starts=0)
    scan.starts_s = (*[s for s in scan.starts_s if now_s - s < 3600.0], now_s)
    scan.wish(On.START)
    return ""


def _stop(scan: Scan, command: Command) -> str:
    if command.source is not Source.PLAN:
        scan.person = scan.person._replace(stopped=True)
    if scan.seq.state in POWERED_STATES or scan.seq.state is State.CHECKING:
        scan.run = scan.run._replace(ending=f"stopped by {command.source.name.lower()}")
        if command.source in AT_THE_RIG:
            scan.seq = scan.seq._replace(stop_now=True)
    scan.wish(On.STOP)
    return ""


def _reset(scan: Scan, command: Command) -> str:
    latch = scan.latch
    if scan.seq.state is State.LOCKED_OUT or latch.locked_out:
        return "locked out: leave it at the rig with a written reason (release)"
    if not latch.causes:
        return "no trip stands"
    if latch.kind is not TripKind.RESETTABLE and command.source not in AT_THE_RIG:
        return "this kind of trip is reset at the rig"
    why = _still_there(scan)
    if why:
        return why
    scan.latch = latch._replace(number=latch.number + 1, causes=())
    scan.seq = scan.seq._replace(coolant_shut=False)
    scan.person = scan.person._replace(silenced=False)
    scan.say(Happened.RESET, latch.causes[0].name, source=command.source.name)
    scan.wish(On.RESET)
    return ""


def _still_there(scan: Scan) -> str:
    """Why a trip cannot be left yet; empty when it can."""
    if scan.inputs.latch_on_disk < scan.latch.number:
        return "the trip is not on disk yet"
    if scan.seq.powered:
        return "power is not proven off yet"
    for limit, state in zip(scan.rig.limits, scan.limits, strict=True):
        if limit.effect is Effect.TRIP and (state.standing or state.due):
            return f"{limit.title} still stands"
    if scan.causes:
        return f"{scan.causes[0].name} still stands"
    bypassed = scan.person.bypass
    if bypassed >= 0 and any(c.name == scan.rig.limits[bypassed].name for c in scan.latch.causes):
        return "its cause is bypassed: end the bypass first"
    return ""


def _release(scan: Scan, command: Command) -> str:
    if scan.seq.state is not State.LOCKED_OUT:
        return "not locked out"
    if scan.latch.held_by:
        return f"out of service by {scan.latch.held_by}: the self-test would move the contactors"
    if not command.text.strip():
        return "a written reason is needed: what was found, what was done"
    why = _still_there(scan)
    if why:
        return why
    scan.run = Run(asked_by=int(command.source), wanted_a=scan.rig.supply.minimum_a)  # for the self-test's probe
    scan.wish(On.RELEASE)
    return ""


def _present(scan: Scan, _command: Command) -> str:
    scan.person = scan.person._replace(present_s=scan.now_s)
    return ""


def _enable(scan: Scan, command: Command) -> str:
    most_s = scan.rig.timing.enable_at_most_s
    seconds = most_s if command.number is None else command.number * 3600.0
    if not 0.0 < seconds <= most_s:
        return f"between 0 and {most_s / 3600:g} hours"
    # whoever enables at the rig also lifts what a stop or failed starts have held off
    scan.person = scan.person._replace(enabled_until_s=scan.now_s + seconds, stopped=False, failed_starts=0)
    return ""


def _disable(scan: Scan, _command: Command) -> str:
    scan.person = scan.person._replace(enabled_until_s=-1.0)
    return ""


def _confirm(scan: Scan, _command: Command) -> str:
    scan.person = scan.person._replace(card_s=scan.now_s)
    return ""


def _hold(scan: Scan, command: Command) -> str:
    if not command.who.strip() or not command.text.strip():
        return "a hold needs a name and a reason"
    if scan.seq.state not in _UNPOWERED:
        return "stop the rig first"
    if scan.latch.held_by:
        return f"already held by {scan.latch.held_by}"
    scan.latch = scan.latch._replace(
        number=scan.latch.number + 1, held_by=command.who.strip(), hold_reason=command.text.strip()
    )
    if scan.seq.state in (State.OFF, State.COOLING):
        scan.wish(On.HOLD)
    return ""


def _lift(scan: Scan, command: Command) -> str:
    held_by = scan.latch.held_by
    if not held_by:
        return "not held"
    if command.who.strip() != held_by:
        return f"only {held_by} lifts this hold"
    scan.latch = scan.latch._replace(number=scan.latch.number + 1, held_by="", hold_reason="")
    if scan.seq.state is State.OUT_OF_SERVICE:
        scan.wish(On.LIFT)
    return ""


def _bypass(scan: Scan, command: Command) -> str:
    person, limits = scan.person, scan.rig.limits
    at = next((i for i, x in enumerate(limits) if x.name == command.subject), -1)
    if at < 0:
        return f"no limit {command.subject!r}"
    if not limits[at].bypassable:
        return "this limit is never bypassed"
    if command.number == 0.0:
        return _end_bypass(scan, at)
    if not command.text.strip():
        return "a bypass needs a reason"
    if person.bypass >= 0:
        return "one bypass at a time"
    if scan.now_s < person.bypass_again_s:
        return f"not again for {(person.bypass_again_s - scan.now_s) / 3600:.1f} h"
    until_s = scan.now_s + scan.rig.timing.bypass_s
    scan.person = person._replace(bypass=at, bypass_until_s=until_s, bypass_again_s=until_s + 8 * 3600.0)
    scan.say(Happened.BYPASSED, limits[at].name, command.text, command.source.name)
    return ""


def _end_bypass(scan: Scan, at: int) -> str:
    if scan.person.bypass != at:
        return "it is not bypassed"
    scan.say(Happened.BYPASS_ENDED, scan.rig.limits[at].name)
    scan.person = scan.person._replace(bypass=-1)
    return ""


def _set_current(scan: Scan, command: Command) -> str:
    supply = scan.rig.supply
    most_a = scan.rig.most_a
    if not supply.settable:
        return "the current of this supply is set by hand"
    if command.source not in AT_THE_RIG and scan.now_s > scan.person.enabled_until_s:
        return "the local enable is off"
    if command.number is None or not supply.minimum_a <= command.number <= most_a:
        return f"between {supply.minimum_a:g} and {most_a:g} A"
    scan.run = scan.run._replace(wanted_a=command.number)
    return ""


def _renew(scan: Scan, command: Command) -> str:
    if scan.run.asked_by != int(command.source):
        return "the run was asked for by somebody else"
    if scan.now_s > scan.person.enabled_until_s:
        return "the local enable is off"
    scan.run = scan.run._replace(lease_until_s=scan.now_s + scan.rig.timing.lease_s)
    return ""


def _silence(scan: Scan, _command: Command) -> str:
    scan.person = scan.person._replace(silenced=True)
    return ""


def _accept_settings(scan: Scan, _command: Command) -> str:
    if scan.seq.state not in _UNPOWERED:
        return "stop the rig first"
    if not scan.latch.settings_accepted:
        scan.latch = scan.latch._replace(number=scan.latch.number + 1, settings_accepted=True)
    return ""


def _service(scan: Scan, command: Command) -> str:
    if scan.seq.state is not State.OFF:
        return "only from off"
    if not command.text.strip():
        return "say how the supply is isolated: cell volts linger and prove nothing"
    scan.wish(On.SERVICE)
    return ""


def _leave_service(scan: Scan, _command: Command) -> str:
    if scan.seq.state is not State.SERVICE:
        return "not in service"
    scan.wish(On.LEAVE_SERVICE)
    return ""


_DRIVABLE = frozenset(PINS) - {"main_hold", "main_close", "second", "edge"}


def _drive(scan: Scan, command: Command) -> str:
    if scan.seq.state is not State.SERVICE:
        return "only in service"
    if command.subject not in _DRIVABLE:
        return f"one of {', '.join(sorted(_DRIVABLE))}; the power path is proven at each start"
    scan.person = scan.person._replace(driven=command.subject if command.number else "")
    return ""


def _topped_up(scan: Scan, command: Command) -> str:
    why = topped_up(scan, command.number)
    if not why:
        seen_by_somebody(scan)
    return why


_HANDLERS: dict[Verb, Callable[[Scan, Command], str]] = {
    Verb.START: _start,
    Verb.STOP: _stop,
    Verb.RESET: _reset,
    Verb.RELEASE: _release,
    Verb.PRESENT: _present,
    Verb.ENABLE: _enable,
    Verb.DISABLE: _disable,
    Verb.CONFIRM: _confirm,
    Verb.HOLD: _hold,
    Verb.LIFT: _lift,
    Verb.BYPASS: _bypass,
    Verb.SET_CURRENT: _set_current,
    Verb.RENEW: _renew,
    Verb.SILENCE: _silence,
    Verb.ACCEPT_SETTINGS: _accept_settings,
    Verb.SERVICE: _service,
    Verb.LEAVE_SERVICE: _leave_service,
    Verb.DRIVE: _drive,
    Verb.TOPPED_UP: _topped_up,
}
