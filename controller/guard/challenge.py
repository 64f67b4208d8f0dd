"""Challenges for commands that could switch power on from afar, and the signatures that answer them.

A challenge is made each second, is good for one command within ten seconds of the guard's own time, and dies with the
guard: no wall clock is believed and nothing recorded can be played again. Keys are enrolled at the rig, as files.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

EVERY_S = 1.0
GOOD_FOR_S = 10.0
SUFFIX = ".pub"  # one file a key in the folder: its name, 64 hexadecimal digits inside


class Issued(NamedTuple):
    text: str
    at_s: float


class Challenges:
    def __init__(self, boot: str, draw: Callable[[], bytes] = lambda: os.urandom(12)) -> None:
        self._boot = boot
        self._draw = draw
        self._count = 0
        self._good: deque[Issued] = deque(maxlen=int(GOOD_FOR_S / EVERY_S) + 1)

    def newest(self, now_s: float) -> str:
        """The one to show now; a new one each second."""
        if not self._good or now_s - self._good[-1].at_s >= EVERY_S:
            self._count += 1
            self._good.append(Issued(f"{self._boot}-{self._count}-{self._draw().hex()}", now_s))
        return self._good[-1].text

    def take(self, text: str, now_s: float) -> str:
        """Empty when the challenge was good, which it is no longer; else why it was not."""
        for issued in self._good:
            if issued.text == text:
                self._good.remove(issued)
                if now_s - issued.at_s < GOOD_FOR_S:
                    return ""
                return "the challenge is too old: quote a newer one"
        if not text:
            return "quotes no challenge"
        return "the challenge is not known, is too old, or was used before"


class Keys:
    """Enrolled keys. The library is loaded here, at start, and only when there is a key: never on a trip's way.

    A key whose file is gone is obeyed no more, at once; a new one is read at the next start.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._keys = {}
        self.bad: list[str] = []
        texts = sorted(folder.glob(f"*{SUFFIX}")) if folder.is_dir() else []
        if not texts:
            return
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

        self._invalid = InvalidSignature
        for path in texts:
            try:
                key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(path.read_text().strip()))
                self._keys[path.name.removesuffix(SUFFIX)] = key
            except (ValueError, OSError) as error:
                self.bad.append(f"{path}: not a key of 64 hexadecimal digits ({error})")

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self._keys)

    def verify(self, name: str, text: str, signature: bytes) -> str:
        """Empty when the key is enrolled and its signature good; else why not. 0.1 ms on a PC, 0.5 ms on a Pi."""
        key = self._keys.get(name)
        if key is None:
            return f"no key {name!r} is enrolled"
        if not os.path.exists(self._folder / f"{name}{SUFFIX}"):  # asked of the kernel's memory, not of the card
            return f"key {name!r} is no longer enrolled: it was revoked at the rig"
        try:
            key.verify(signature, text.encode())
        except self._invalid:
            return f"the signature is not that of key {name!r}"
        return ""
