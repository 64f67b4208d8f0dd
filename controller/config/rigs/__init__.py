"""The rigs that ship, by name, so that `boathouse` may be given wherever the path of a rig file is asked for."""

from __future__ import annotations

from pathlib import Path

_FOLDER = Path(__file__).parent


def names() -> tuple[str, ...]:
    """Names of the rigs that ship."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.toml")))


def shipped(name: str) -> Path:
    """Path of a rig file: of the one that ships under this name, else the name itself taken as a path.

    A file of that name in the working directory wins only when it is given with its ending or a folder.
    """
    return _FOLDER / f"{name}.toml" if name in names() else Path(name)
