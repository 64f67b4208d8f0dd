"""What the service manager is told."""

from __future__ import annotations

import socket
from pathlib import Path

from controller.guard.notify import Notify


def test_systemd_hears_it(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(str(tmp_path / "notify"))
        systemd.settimeout(5.0)
        notify = Notify(str(tmp_path / "notify"))
        notify.ready("off")
        notify.scan_proof()
        assert systemd.recv(100) == b"READY=1\nSTATUS=off"
        assert systemd.recv(100) == b"WATCHDOG=1"
        notify.close()


def test_a_full_queue_is_counted_and_waits_for_nobody(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(str(tmp_path / "notify"))
        notify = Notify(str(tmp_path / "notify"))
        for _ in range(10_000):
            notify.scan_proof()
        assert notify.dropped > 9_000
        notify.close()


def test_nobody_there_is_no_error(tmp_path: Path) -> None:
    notify = Notify(str(tmp_path / "gone"))
    notify.scan_proof()
    assert notify.dropped == 1
    notify.close()
    Notify("").scan_proof()
