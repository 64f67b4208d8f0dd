"""Lines of the logbook on their way to the database, one file each.

The link alone writes the database. Whoever writes a line drops a file here instead, whether the link runs or not; the
link takes it in, and removes it only after it is stored. Every line has its own id, so one taken in twice is one.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from controller.record.logbook import Entry, WrongEntry, loads

FOLDER = "logbook.d"
_READY = ".entry.json"


def drop(folder: Path, entry: Entry) -> Path:
    """Put a line down, whole or not at all, on the disk when this returns. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    temporary = folder / f".{entry.id}.part"
    ready = folder / f"{entry.id}{_READY}"
    with open(temporary, "w", encoding="utf-8") as file:
        file.write(entry.dumps())
        file.flush()
        os.fsync(file.fileno())
    os.replace(temporary, ready)
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
    return ready


def waiting(folder: Path) -> Iterator[tuple[Path, Entry | WrongEntry]]:
    """Lines that wait, oldest first; an unreadable one as the error that says why."""
    try:
        files = sorted(folder.glob(f"*{_READY}"), key=lambda path: (path.stat().st_mtime, path.name))
    except OSError:
        return
    for path in files:
        try:
            yield path, loads(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError) as error:
            yield path, WrongEntry(f"{path}: {error}")
        except WrongEntry as error:
            yield path, WrongEntry(f"{path}: {error}")


def taken(path: Path) -> None:
    """The line is stored: its file goes."""
    with suppress(OSError):
        path.unlink()


def refused(path: Path) -> None:
    """The line cannot be taken: its file stays under another name, for a person to look at."""
    with suppress(OSError):
        path.rename(path.with_suffix(".refused"))
