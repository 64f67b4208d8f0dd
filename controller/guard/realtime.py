"""Asking the kernel to let nothing stand before a scan: memory kept in place, first in line for a processor.

Both may be refused, on a PC or without the unit's permissions. That is said, not hidden, and the guard runs on.
"""

from __future__ import annotations

import ctypes
import gc
import os

_MCL_CURRENT, _MCL_FUTURE, _MCL_ONFAULT = 1, 2, 4
PRIORITY = 50


def lock_memory() -> str:
    """Empty when granted. On fault: pages that were never touched (most of each stack) are not made resident."""
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.mlockall(_MCL_CURRENT | _MCL_FUTURE | _MCL_ONFAULT) == 0:
        return ""
    return f"memory is not locked ({os.strerror(ctypes.get_errno())}): a scan may wait for the card"


def first_in_line(priority: int = PRIORITY) -> str:
    """Empty when granted. For this thread only: those started later are ordinary again."""
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(priority))
    except OSError as error:
        return f"no real-time priority ({error.strerror}): a busy machine may delay a scan"
    return ""


def settle() -> None:
    """After the start: what is there stays, and no collection ever walks through it again."""
    gc.collect()
    gc.freeze()


def process_began_s() -> float:
    """When this process was made, on the clock of the scan (CLOCK_BOOTTIME): what came before `main` counts too."""
    with open("/proc/self/stat", encoding="ascii") as file:
        after_name = file.read().rpartition(")")[2].split()
    return int(after_name[19]) / os.sysconf("SC_CLK_TCK")  # field 22 of proc(5)


def clock_synchronised() -> bool:
    """The kernel's word on the wall clock, whoever keeps it."""
    unsynchronised = 5  # TIME_ERROR of adjtimex(2)
    return bool(ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(256)) not in (-1, unsynchronised))
