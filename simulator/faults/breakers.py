"""Faults of what breaks the power: contactors, their auxiliary contacts, the watchdog relay, coil pins."""

from __future__ import annotations

from simulator.faults.kinds import Act, FaultKind, Parameter

_SECONDS = Parameter("seconds", 1.5, 0.0, 60.0, "travel, s")
_HZ = Parameter("hz", 5.0, 0.1, 50.0, "times a second")


def _of(part: str, words: str) -> tuple[FaultKind, ...]:
    return (
        FaultKind(
            f"{part}-welded", f"{words} welded", "After an inrush the contacts stick: the coil is off and power "
            "stays on.",
            (Act(part, "welded"),), hidden=True,
        ),
        FaultKind(
            f"{part}-one-pole-welded", f"One pole of the {words.lower()} welded",
            "Armature and auxiliary contact fall, but current still flows.",
            (Act(part, "one_pole_welded"),), hidden=True,
        ),
        FaultKind(
            f"{part}-slow", f"{words} slow", "Dirt on the armature: it opens a second late.",
            (Act(part, "slow", "seconds"),), (_SECONDS,), hidden=True,
        ),
        FaultKind(
            f"{part}-chatters", f"{words} chatters", "A weak coil supply: the armature flutters and the contacts burn.",
            (Act(part, "chatter", "hz"),), (_HZ,),
        ),
        FaultKind(
            f"{part}-contact-says-open", f"Auxiliary of the {words.lower()} says open",
            "Its wire is broken: what is closed reads open.",
            (Act(part, "auxiliary_open"),),
        ),
        FaultKind(
            f"{part}-contact-says-closed", f"Auxiliary of the {words.lower()} says closed",
            "It is bent and never opens: what is open reads closed.",
            (Act(part, "auxiliary_closed"),), hidden=True,
        ),
        FaultKind(
            f"{part}-will-not-close", f"{words} does not close", "The coil is burnt: nothing pulls in.",
            (Act(part, "will_not_close"),), hidden=True,
        ),
    )  # fmt: skip


FAULTS = (
    *_of("main", "Main contactor"),
    *_of("second", "Second contactor"),
    FaultKind(
        "main-recloses", "Main contactor closes by itself",
        "A shock, or a contact that bridges: the current path closes without the coil.",
        (Act("main", "recloses"),), hidden=True,
    ),
    FaultKind(
        "watchdog-welded", "Watchdog relay welded",
        "It never falls, whatever the Pi does. Only the self-test shows it.",
        (Act("watchdog", "welded"),), hidden=True,
    ),
    FaultKind(
        "watchdog-dead", "Watchdog relay dead", "Its coil or its supply has failed: it falls, and everything with it.",
        (Act("watchdog", "dead"),),
    ),
    FaultKind(
        "watchdog-slow", "Watchdog relay slow", "A wrong time is set on it: it falls late.",
        (Act("watchdog", "slow", "seconds"),), (_SECONDS._replace(default=5.0),), hidden=True,
    ),
)  # fmt: skip
