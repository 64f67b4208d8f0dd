"""The page's own key, with which it signs what it asks of a rig. A rig obeys it only once it was enrolled there."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from controller.chemistry import faraday
from controller.chemistry.constants import ROOM_C
from controller.link.messages import CommandAsk


def guard_text(ask: CommandAsk, who: str, cells: int) -> str:
    """The guard's own `do` message, which is what is signed: it is passed on as it stands.

    Raises ValueError where litres are asked for and the number of cells is not known.
    """
    message: dict[str, object] = {"do": ask.verb, "who": who, "text": ask.text, "challenge": ask.challenge}
    if ask.subject:
        message["subject"] = ask.subject
    if ask.number is not None:
        message["number"] = ask.number
    if ask.hours is not None:
        message["seconds"] = ask.hours * 3600.0
    if ask.litres is not None:
        if cells < 1:
            raise ValueError("how many cells the rig has is not known, so litres cannot be asked for; ask for hours")
        message["charge_c"] = float(faraday.charge_c(faraday.gas_mol(ask.litres, ROOM_C), cells))
    return json.dumps(message, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


class PageKey:
    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private
        self.public = private.public_key().public_bytes_raw()
        self.id = hashlib.sha256(self.public).hexdigest()[:16]

    def sign(self, ask: CommandAsk, who: str, cells: int) -> CommandAsk:
        text = guard_text(ask, who, cells)
        signature = self._private.sign(text.encode()).hex()
        return ask.model_copy(update={"key": self.id, "signed": text, "signature": signature})


def write_secret(path: Path, data: bytes) -> None:
    """A file only its owner can read, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    part = path.with_name(path.name + ".part")
    part.unlink(missing_ok=True)
    with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def page_key(folder: Path) -> PageKey:
    """The key in `folder`, made at first use. Raises ValueError for a file that is no Ed25519 key."""
    path = folder / "page-key.pem"
    if not path.exists():
        made = Ed25519PrivateKey.generate()
        write_secret(
            path,
            made.private_bytes(
                serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            ),
        )
    private = serialization.load_pem_private_key(path.read_bytes(), None)
    if not isinstance(private, Ed25519PrivateKey):
        raise ValueError(f"{path} is not an Ed25519 key; move it away and a new one is made, to be enrolled at the rig")
    return PageKey(private)
