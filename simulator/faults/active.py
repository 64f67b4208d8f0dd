"""Faults under way on one bench: when each begins, how it comes on, and what it does there now.

The same object serves a rehearsal on a virtual clock and a bench in real time. Where two faults act on the same thing,
the one that began last counts; when it ends, the other is felt again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from random import Random
from typing import Any, NamedTuple, Protocol

from simulator.faults.kinds import CONTROLLER, LINK, ON, PLANT, POST, Act, FaultKind, Onset
from simulator.faults.library import fault_kind
from simulator.plant.inputs import NEUTRAL, Disturbances

BEYOND = frozenset({CONTROLLER, POST, LINK})
SWAPPED = "swapped"


class Behind(Protocol):
    disturbances: Disturbances


class Breakable(Protocol):
    """What faults need of a bench."""

    @property
    def behind(self) -> Behind: ...
    def fault(self, part: str, kind: str, amount: float = 0.0) -> None: ...
    def clear(self, part: str = "") -> None: ...
    def swap(self, first: str, second: str) -> None: ...


class Come(NamedTuple):
    """How a fault comes on, where it is put, and with which numbers. None: as the library says."""

    name: str
    numbers: Mapping[str, float] = {}
    on: str = ""
    other: str = ""  # the second part of a swap
    onset: Onset | None = None
    over_s: float | None = None
    on_s: float | None = None
    off_s: float | None = None
    for_s: float | None = None


Elsewhere = Callable[[str, str, float, bool], None]  # target, kind, amount, begins: beyond the bench


def nowhere(target: str, kind: str, amount: float, begins: bool) -> None:
    raise ValueError(f"a fault of the {target} ({kind}) cannot be made on a bench alone")


@dataclass(slots=True)
class _Fault:
    kind: FaultKind
    come: Come
    acts: tuple[tuple[Act, str, float], ...]  # with target and full amount
    began_s: float
    ends_s: float
    onset: Onset
    over_s: float
    noise: Random
    number: int
    felt: bool = True
    toggles_s: float = float("inf")
    times: tuple[float, float] = field(default=(1.0, 1.0))

    def share(self, now_s: float) -> float:
        if self.onset is not Onset.RAMP or self.over_s <= 0.0:
            return 1.0
        return min(1.0, (now_s - self.began_s) / self.over_s)

    def next_s(self, now_s: float) -> float:
        """When this one has to be looked at again."""
        ramping = self.onset is Onset.RAMP and now_s < self.began_s + self.over_s
        return now_s if ramping else min(self.ends_s, self.toggles_s)


class Active:
    def __init__(self, bench: Breakable, seed: int, elsewhere: Elsewhere = nowhere) -> None:
        self._bench, self._seed, self._elsewhere = bench, seed, elsewhere
        self._under_way: list[_Fault] = []
        self._applied: dict[tuple[str, str], tuple[str, float]] = {}
        self._next_s = float("inf")
        self._count = 0

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(fault.kind.name for fault in self._under_way)

    def begin(self, come: Come, now_s: float) -> None:
        """Raises ValueError where the fault, a number or a part is not known."""
        kind = fault_kind(come.name)
        numbers = kind.given(come.numbers)
        needs_part = any("{on}" in act.target for act in kind.acts)
        if needs_part and not come.on:
            raise ValueError(f'{kind.name} needs a part: {ON} = "..." ({kind.fits.value})')
        acts = tuple(
            (act, act.target.format(on=come.on), act.amount if isinstance(act.amount, float) else numbers[act.amount])
            for act in kind.acts
        )
        for_s = come.for_s if come.for_s is not None else kind.for_s
        self._count += 1
        fault = _Fault(
            kind, come, acts, now_s, float("inf") if for_s is None else now_s + for_s,
            come.onset or kind.onset, come.over_s if come.over_s is not None else kind.over_s,
            Random(f"{self._seed} fault {self._count}"),
            self._count,
            times=(come.on_s or kind.on_s, come.off_s or kind.off_s),
        )  # fmt: skip
        if fault.onset is Onset.INTERMITTENT:
            fault.toggles_s = now_s + _about(fault.noise, fault.times[0])
        self._under_way.append(fault)
        self._settle(now_s)

    def clear(self, name: str, on: str = "", now_s: float = 0.0) -> None:
        """Ends a fault by name, or all of them (an empty name)."""
        going = [f for f in self._under_way if name in ("", f.kind.name) and on in ("", f.come.on)]
        if name and not going:
            raise ValueError(f"{name!r} is not under way; under way: {', '.join(self.names) or 'nothing'}")
        self._under_way = [f for f in self._under_way if f not in going]
        self._settle(now_s)

    def update(self, now_s: float) -> None:
        """Before each step of the bench."""
        if now_s >= self._next_s:
            self._settle(now_s)

    def _settle(self, now_s: float) -> None:
        wanted: dict[tuple[str, str], tuple[str, float]] = {}
        self._under_way = [fault for fault in self._under_way if now_s < fault.ends_s]
        for fault in self._under_way:
            while now_s >= fault.toggles_s:
                fault.felt = not fault.felt
                fault.toggles_s += _about(fault.noise, fault.times[0 if fault.felt else 1])
            if not fault.felt:
                continue
            share = fault.share(now_s)
            for act, target, amount in fault.acts:
                now = act.neutral + (amount - act.neutral) * share if fault.onset is Onset.RAMP else amount
                if target in BEYOND:
                    wanted[target, f"{act.kind} {fault.number}"] = (act.kind, now)  # each one happens
                elif target == PLANT:
                    wanted[target, act.kind] = (act.kind, now)
                elif act.kind == SWAPPED:
                    wanted[target, fault.come.other] = (f"{SWAPPED} {fault.come.other}", 1.0)
                else:
                    wanted[target, ""] = (act.kind, now)
        self._apply(wanted)
        self._next_s = min((fault.next_s(now_s) for fault in self._under_way), default=float("inf"))

    def _apply(self, wanted: dict[tuple[str, str], tuple[str, float]]) -> None:
        fields: dict[str, Any] = {}
        for key in [k for k in self._applied if k not in wanted]:
            target, _ = key
            kind, amount = self._applied.pop(key)
            if target == PLANT:
                fields[kind] = getattr(NEUTRAL, kind)
            elif kind.startswith(SWAPPED):
                self._bench.swap(target, kind.partition(" ")[2])
            elif target in BEYOND:
                self._elsewhere(target, kind, amount, False)
            else:
                self._bench.clear(target)
        for key, (kind, amount) in wanted.items():
            if self._applied.get(key) == (kind, amount):
                continue
            target, _ = key
            if target == PLANT:
                fields[kind] = _as_field(kind, amount)
            elif kind.startswith(SWAPPED):
                self._bench.swap(target, kind.partition(" ")[2])
            elif target in BEYOND:
                self._elsewhere(target, kind, amount, True)
            else:
                self._bench.fault(target, kind, amount)
            self._applied[key] = (kind, amount)
        if fields:
            self._bench.behind.disturbances = self._bench.behind.disturbances._replace(**fields)


def _as_field(name: str, amount: float) -> Any:
    """An amount as the plant's field of that name takes it."""
    neutral = getattr(NEUTRAL, name)
    if isinstance(neutral, bool):
        return amount > 0.0
    return (amount,) if isinstance(neutral, tuple) else amount


def _about(noise: Random, mean_s: float) -> float:
    return mean_s * noise.uniform(0.5, 1.5)
