"""The bench's kernel text files as real files, for a guard in another process.

A failed read cannot be made from a plain file: a folder in its place gives one. A read that never returns is a FIFO
that nobody writes to.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from simulator.boards.bench import Bench

CONVERSION_MS = 920  # a 1-Wire read takes most of a second, bus traffic included


class KernelFiles:
    """Rewritten only when something changes; each change appears at once or not at all."""

    def __init__(self, bench: Bench, root: Path) -> None:
        self._bench, self._root = bench, root
        shutil.rmtree(root, ignore_errors=True)
        self._signal_of = {f"bus/w1/devices/{t.id}/w1_slave": t.signal for t in bench.wiring.thermometer}
        self._last: dict[str, str] = {}
        for path in self._signal_of:
            self._write(str(Path(path).parent / "conv_time"), f"{CONVERSION_MS}\n")
        self.refresh()

    def refresh(self) -> None:
        for path in self._bench.kernel.files:
            fault = self._bench.fault_kind(self._signal_of.get(path, ""))
            state = fault if fault in ("absent", "io_error", "hang") else self._bench.kernel.read(path)
            if self._last.get(path) != state:
                self._become(path, state)
                self._last[path] = state

    def _become(self, path: str, state: str) -> None:
        at = self._root / path
        match state:
            case "absent":
                shutil.rmtree(at.parent, ignore_errors=True)
            case "io_error":
                _remove(at)
                at.mkdir(parents=True)
            case "hang":
                _remove(at)
                at.parent.mkdir(parents=True, exist_ok=True)
                os.mkfifo(at)
            case text:
                self._write(path, text)
                if path in self._signal_of:
                    self._write(str(Path(path).parent / "conv_time"), f"{CONVERSION_MS}\n")

    def _write(self, path: str, text: str) -> None:
        at = self._root / path
        at.parent.mkdir(parents=True, exist_ok=True)
        if at.is_dir():
            at.rmdir()
        fresh = at.with_name(at.name + ".new")
        fresh.write_text(text, encoding="ascii")
        os.replace(fresh, at)


def _remove(at: Path) -> None:
    if at.is_dir():
        at.rmdir()
    else:
        at.unlink(missing_ok=True)
