"""From a frame to what people are told: the state message, made of the same memory that the decision was made of.

Pure but for the few running sums that a message needs and no frame carries (trend, energy of the run).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from controller.chemistry import faraday
from controller.chemistry.efficiency import HeatingValue, voltage_efficiency
from controller.core.accounts import hours_to_top_up
from controller.core.advice import advice
from controller.core.commands import Source
from controller.core.explain import PLAIN, duration, explain, explain_cause, title
from controller.core.frame import Frame
from controller.core.limits import Effect, TripKind
from controller.core.margins import Margin, Trend, follow, margins, nearest
from controller.core.memory import Memory, gas_may_be_present
from controller.core.outputs import PINS
from controller.core.permissives import permissives
from controller.core.rig import Grade, Rig
from controller.core.sequence import State
from controller.core.signals import Code, Status
from controller.link import messages as m

SAFE_TO_OPEN_C = 40.0
SAFE_TO_OPEN_MBAR = 5.0  # more than a usual water seal leaves standing; a cooled rig draws air, which splashes nobody
# Wear on the person who reads it: a sum over fewer frames than this is not shown as the run's energy.
_LONGEST_GAP_S = 2.0
_STATUS: Mapping[
    Status, Literal["good", "maintenance required", "out of specification", "function check", "failure"]
] = {
    Status.GOOD: "good",
    Status.MAINTENANCE_REQUIRED: "maintenance required",
    Status.OUT_OF_SPECIFICATION: "out of specification",
    Status.FUNCTION_CHECK: "function check",
    Status.FAILURE: "failure",
}
_EFFECT: Mapping[Effect, Literal["alarm", "derate", "stop", "trip"]] = {
    Effect.ALARM: "alarm",
    Effect.DERATE: "derate",
    Effect.STOP: "stop",
    Effect.TRIP: "trip",
}
_KIND: Mapping[TripKind, Literal["resettable", "local", "lock-out"]] = {
    TripKind.RESETTABLE: "resettable",
    TripKind.LOCAL: "local",
    TripKind.LOCK_OUT: "lock-out",
}


def _short(number: float | None) -> float | None:
    """Six digits say more than any sensor knows; the rest is what binary fractions leave."""
    return None if number is None else float(f"{number:.6g}")


class Teller:
    """Makes the state messages of one rig. Feed it every frame that comes; ask for a message when one is due."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self._trend: Trend = ()
        self._energy_j = 0.0
        self._whole_run = False  # every frame of this run has been seen
        self._last: Memory | None = None
        self._number = 0

    def see(self, frame: Frame) -> None:
        """Follow trend and energy."""
        memory, last = frame.memory, self._last
        self._trend = follow(self.rig, self._trend, memory)
        began_s = memory.run.began_s
        if last is None or began_s != last.run.began_s:
            self._energy_j = 0.0
            self._whole_run = last is not None and began_s >= 0.0
        elif memory.now_s - last.now_s > _LONGEST_GAP_S:
            self._whole_run = False
        volts, amps = self._number_of(memory, self.rig.roles.voltage), self._number_of(memory, self.rig.roles.current)
        if last is not None and volts is not None and amps is not None and memory.sequence.powered:
            self._energy_j += volts * amps * min(_LONGEST_GAP_S, memory.now_s - last.now_s)
        self._last = memory

    @staticmethod
    def _number_of(memory: Memory, role: int) -> float | None:
        return memory.values[role].number if role >= 0 else None

    def tell(
        self, frame: Frame, status: Mapping[str, Any], alarms: list[m.AlarmNow], waiting: int, troubles: list[str]
    ) -> m.StateNow:
        """The state message of a frame. status: the guard's figures (challenge, counts); the rest is the link's."""
        rig, memory = self.rig, frame.memory
        found = margins(rig, memory, self._trend)
        near = nearest(rig, found)
        person = memory.person
        self._number += 1

        def unix(mono_s: float) -> float:
            return frame.wall_s - (memory.now_s - mono_s)

        return m.StateNow(
            rig=rig.name,
            boot=frame.boot,
            number=self._number,
            time_s=frame.wall_s,
            clock_synchronised=frame.inputs.clock_synchronised,
            simulated=rig.simulated,
            cells=rig.cells,
            state=memory.sequence.state.name.lower().replace("_", " "),
            since_s=unix(memory.sequence.since_s),
            sentence=explain(rig, memory, found).text,
            nearest=near.limit if near else None,
            signals=[self._signal(memory, at) for at in range(len(rig.signals))],
            margins=[self._margin(at, x) for at, x in enumerate(found)],
            causes=[self._cause(c, unix(c.due_s)) for c in memory.latch.causes],
            alarms=alarms,
            permissives=[
                m.PermissiveNow(name=p.name, title=p.title, met=p.met, why=p.why) for p in permissives(rig, memory)
            ],
            run=self._run(memory, unix),
            gas=self._gas(memory, unix),
            leave=m.LeaveNow(
                grade="unattended" if rig.grade is Grade.UNATTENDED else "attended",
                may_leave=rig.grade is Grade.UNATTENDED and not memory.latch.causes,
                missing=[*rig.missing, *(f"a trip stands: {c.name}" for c in memory.latch.causes[:1])],
            ),
            proven=self._proven(memory),
            outputs={name: bool(getattr(memory.outputs, name)) for name in PINS},
            enabled_until_s=unix(person.enabled_until_s) if person.enabled_until_s > memory.now_s else None,
            held_by=memory.latch.held_by,
            hold_reason=memory.latch.hold_reason,
            remote_may=[
                "stop",
                *sorted(v.name.lower().replace("_", "-") for v, s in rig.permitted if s is Source.REMOTE),
            ],
            challenge=str(status.get("challenge", "")),
            events=memory.events,
            dropped_frames=int(status.get("dropped_frames", 0)),
            late_scans=int(status.get("late_scans", 0)),
            waiting=waiting,
            troubles=troubles,
        )

    def _signal(self, memory: Memory, at: int) -> m.SignalNow:
        signal, value = self.rig.signals[at], memory.values[at]
        age_s = max(0.0, memory.now_s - value.good_stamp_s)
        plain = "good"
        if value.number is None:
            plain = f"sensor lost: {PLAIN[value.code]}, for {duration(age_s)}"
        elif value.code is not Code.OK:
            plain = PLAIN[value.code]
        return m.SignalNow(
            name=signal.name,
            title=signal.title,
            unit=signal.unit,
            value=_short(value.number),
            status=_STATUS[value.status],
            plain=plain,
            age_s=round(age_s, 3),
        )

    def _margin(self, at: int, found: Margin) -> m.MarginNow:
        limit, signal = self.rig.limits[at], self.rig.signals[found.signal]
        return m.MarginNow(
            limit=limit.name,
            title=limit.title,
            signal=signal.name,
            unit=signal.unit,
            value=_short(found.number),
            threshold=limit.threshold,
            rises=limit.rises,
            effect=_EFFECT[limit.effect],
            armed=found.armed,
            left=_short(found.left),
            left_fraction=_short(found.fraction),
            seconds_to_limit=_short(found.seconds),
            standing=found.standing or found.due_in_s is not None,
            bypassed=found.bypassed,
        )

    def _cause(self, cause: Any, time_s: float) -> m.CauseNow:
        said = advice(cause.name)
        return m.CauseNow(
            name=cause.name,
            title=title(self.rig, cause),
            sentence=explain_cause(self.rig, cause).text,
            kind=_KIND[cause.kind],
            time_s=time_s,
            urgency=said.urgency,
            to_do=said.to_do,
            not_to_do=said.not_to_do,
        )

    def _run(self, memory: Memory, unix: Any) -> m.RunNow:
        rig, run = self.rig, memory.run
        volts = self._number_of(memory, rig.roles.voltage)
        amps = self._number_of(memory, rig.roles.current)
        efficiency = None
        if volts is not None and amps is not None and amps > rig.zero_current_a and volts > rig.cells * 1.0:
            efficiency = float(voltage_efficiency(volts / rig.cells, HeatingValue.HHV))
        return m.RunNow(
            began_s=unix(run.began_s) if run.began_s >= 0.0 else None,
            asked_by=Source(run.asked_by).name.lower() if run.asked_by >= 0 else "",
            wanted_a=run.wanted_a,
            setpoint_a=memory.outputs.setpoint_a,
            charge_ah=run.charge_c / 3600.0,
            hydrogen_l=float(faraday.room_litres(faraday.hydrogen_mol(run.charge_c, rig.cells))),
            energy_kwh=self._energy_j / 3.6e6 if self._whole_run and rig.roles.voltage >= 0 else None,
            efficiency_hhv=efficiency,
            water_used_ml=float(faraday.water_g(run.charge_c, rig.cells)),
            hours_to_top_up=hours_to_top_up(rig, memory),
            ends=self._ends(memory),
        )

    def _ends(self, memory: Memory) -> str:
        run = memory.run
        if not memory.sequence.powered:
            return run.ending
        ends = []
        if run.end_charge_c:
            whole_l = float(faraday.room_litres(faraday.hydrogen_mol(run.end_charge_c, self.rig.cells)))
            share = min(1.0, run.charge_c / run.end_charge_c)
            ends.append(f"after {whole_l:.1f} L: {whole_l * (1.0 - share):.1f} L to go")
        if run.end_s:
            left_s = max(0.0, run.end_s - (memory.now_s - run.began_s))
            ends.append(f"after {duration(run.end_s)}: {duration(left_s)} to go")
        return ", or ".join(ends) or "when somebody stops it"

    def _gas(self, memory: Memory, unix: Any) -> m.GasNow:
        rig, run, seq = self.rig, memory.run, memory.sequence
        if run.gas_fit_since_s >= 0.0:
            return m.GasNow(
                fit=True,
                fit_since_s=unix(run.gas_fit_since_s),
                fit_in_s=None,
                sentence=f"Fit to use for {duration(memory.now_s - run.gas_fit_since_s)}.",
            )
        if seq.state in (State.RAMPING, State.VENTING):
            amps = self._number_of(memory, rig.roles.current)
            left_c = max(0.0, rig.vent_charge_c - run.vented_c)
            wait_s = left_c / amps if amps is not None and amps >= rig.supply.minimum_a else None
            when = f", in about {duration(wait_s)}" if wait_s is not None else ""
            return m.GasNow(fit=False, fit_since_s=None, fit_in_s=wait_s, sentence=f"Not fit to use yet{when}.")
        left = gas_may_be_present(memory)
        sentence = "None is made. Gas may still be present." if left else "None is made."
        return m.GasNow(fit=False, fit_since_s=None, fit_in_s=None, sentence=sentence)

    def _proven(self, memory: Memory) -> m.ProvenNow:
        rig = self.rig
        main, second, _ = memory.contacts
        amps = self._number_of(memory, rig.roles.current)
        zero = None if amps is None else abs(amps) < rig.zero_current_a
        safe, why = self._safe_to_open(memory, None if main is None else not main, zero)
        return m.ProvenNow(
            main_open=None if main is None else not main,
            second_open=None if second is None else not second,
            current_zero=zero,
            safe_to_open=safe,
            safe_to_open_why=why,
        )

    def _safe_to_open(self, memory: Memory, main_open: bool | None, zero: bool | None) -> tuple[bool | None, str]:
        """Never no for what is not known, never yes for it either."""
        temperature_c = self._number_of(memory, self.rig.roles.cell_temperature)
        if memory.sequence.powered or main_open is False or zero is False:
            return False, "Power is not proven off."
        if temperature_c is not None and temperature_c >= SAFE_TO_OPEN_C:
            return False, f"The cell is at {temperature_c:.0f} C: wait until it is under {SAFE_TO_OPEN_C:.0f} C."
        pressures = [at for at, signal in enumerate(self.rig.signals) if signal.quantity == "pressure"]
        for at in pressures:
            mbar = memory.values[at].number
            if mbar is not None and mbar >= SAFE_TO_OPEN_MBAR:
                return False, f"{self.rig.signals[at].title}: {mbar:.0f} mbar. Wait until the pressure is gone."
        if gas_may_be_present(memory):
            return False, "Gas may still be present: wait until it is vented."
        if memory.person.bypass >= 0:
            return False, "A limit is bypassed."
        unknown = [
            what
            for what, known in (
                ("the cell's temperature", temperature_c is not None),
                ("the main contactor", main_open is not None),
                ("the current", zero is not None),
                *((self.rig.signals[at].title.lower(), memory.values[at].number is not None) for at in pressures),
            )
            if not known
        ]
        if unknown:
            return None, "Not known: " + ", ".join(unknown) + "."
        return True, "Off, cool and vented. Goggles and gloves all the same: the lye burns, cold or not."
