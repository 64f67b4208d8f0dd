"""Faults of the controller's own computer, of its network, and of those who send it messages."""

from __future__ import annotations

from simulator.faults.kinds import CONTROLLER, LINK, POST, Act, FaultKind, Parameter

_STALL = Parameter("seconds", 3.0, 0.0, 86_400.0, "that nothing runs, s")


def _process(kind: str, amount: float | str = 0.0) -> tuple[Act, ...]:
    return (Act(CONTROLLER, kind, amount),)


FAULTS = (
    FaultKind(
        "scan-stalled", "A scan takes seconds", "Something held the interpreter or the card: no scan for a while.",
        _process("stall", "seconds"), (_STALL,),
    ),
    FaultKind(
        "guard-killed", "The guard is killed",
        "Out of memory, a crash, a wrong kill: the process is gone at once; systemd starts it again.",
        _process("kill", "back_after_s"), (Parameter("back_after_s", 5.0, 0.0, 3600.0,
        "until it is started again, s"),),
    ),
    FaultKind(
        "guard-frozen", "The guard is stopped and goes on later",
        "Frozen and thawed: it goes on as if no time had passed, but for the clock.",
        _process("stall", "seconds"), (_STALL,),
    ),
    FaultKind(
        "suspended", "The computer sleeps", "A laptop lid, a virtual machine: everything stands still, then goes on.",
        _process("stall", "seconds"), (_STALL._replace(default=60.0),),
    ),
    FaultKind(
        "memory-pressure", "Memory is short", "The system swaps: scans come late, now and then, by a tenth of a "
        "second.",
        _process("late", "seconds"), (_STALL._replace(default=0.12),), for_s=10.0, harmless=True,
    ),
    FaultKind(
        "clock-forward", "Wall clock jumps ahead", "No battery behind the clock: when the network answers, it leaps.",
        _process("clock", "seconds"), (Parameter("seconds", 1_209_600.0, 0.0, 1e9, "ahead, s"),), harmless=True,
    ),
    FaultKind(
        "clock-back", "Wall clock jumps back", "A wrong time server, or somebody sets it by hand.",
        _process("clock", "seconds"), (Parameter("seconds", -5400.0, -1e9, 0.0, "back, s"),), harmless=True,
    ),
    FaultKind(
        "disk-full", "Disk full", "A log has filled the card: nothing can be written any more.",
        _process("disk_full"), harmless=True,
    ),
    FaultKind(
        "disk-read-only", "Disk read-only", "The card is failing and the kernel has made it read-only.",
        _process("disk_read_only"), harmless=True,
    ),
    FaultKind(
        "disk-stalls", "Disk stalls", "The card takes seconds for a write.",
        _process("disk_stall", "seconds"), (_STALL._replace(default=7.0),), harmless=True,
    ),
    FaultKind(
        "under-voltage", "The Pi's supply sags", "A thin cable: the Pi runs at 4.6 V and gets unreliable.",
        (Act("supply_sags", "now"),), harmless=True,
    ),
    FaultKind(
        "broker-gone", "Broker gone", "The broker has stopped. Only the telemetry waits.", (Act(LINK, "broker_gone"),),
        harmless=True,
    ),
    FaultKind(
        "network-cut", "Network cut", "The cable is out. Only the telemetry waits.", (Act(LINK, "network_cut"),),
        harmless=True,
    ),
    FaultKind(
        "client-doubled", "Another client has the link's name", "Each connection throws the other one out.",
        (Act(LINK, "client_doubled"),), harmless=True,
    ),
    FaultKind(
        "command-flood", "Flood of commands", "A script gone wild sends commands as fast as it can.",
        (Act(POST, "flood", "count"),), (Parameter("count", 200.0, 1.0, 10_000.0, "in one scan"),), harmless=True,
    ),
    FaultKind(
        "command-forged", "Forged command", "Somebody signs a start with a key that was never enrolled.",
        (Act(POST, "forged"),), harmless=True,
    ),
    FaultKind(
        "command-stale", "Stale command", "A start that quotes a challenge of hours ago.", (Act(POST, "stale"),),
        harmless=True,
    ),
    FaultKind(
        "command-repeated", "Repeated command", "The same signed message again.", (Act(POST, "repeated"),),
        harmless=True,
    ),
    FaultKind(
        "command-retained", "Retained command", "A start that the broker has kept for hours.", (Act(POST, "retained"),),
        harmless=True,
    ),
)  # fmt: skip
