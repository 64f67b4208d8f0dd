"""The shipped rigs with a few words of their text changed, loaded or refused."""

from __future__ import annotations

from datetime import date

from controller.config import rigs
from controller.config.load import CompiledRig, compile_text
from controller.config.problems import Problem, RigFileError

TODAY = date(2026, 6, 1)


def text(*changes: tuple[str, str], rig: str = "boathouse") -> str:
    """The rig file with each first text, which must stand there exactly once, replaced by the second."""
    out = rigs.shipped(rig).read_text(encoding="utf-8")
    for old, new in changes:
        assert out.count(old) == 1, f"{old!r} stands {out.count(old)} times in {rig}"
        out = out.replace(old, new)
    return out


def table(header: str, rig: str = "boathouse") -> str:
    """One table of a rig file, from its header to the next one."""
    out = rigs.shipped(rig).read_text(encoding="utf-8")
    start = out.index(f"\n[{header}]") + 1
    end = out.find("\n[", start)
    return out[start : end + 1] if end >= 0 else out[start:]


def loaded(*changes: tuple[str, str], rig: str = "boathouse", today: date = TODAY) -> CompiledRig:
    return compile_text(text(*changes, rig=rig).encode(), "my.toml", today)


def refused(*changes: tuple[str, str], rig: str = "boathouse") -> tuple[Problem, ...]:
    """Everything that is wrong with the changed file. Fails the test when nothing is."""
    try:
        loaded(*changes, rig=rig)
    except RigFileError as error:
        return error.problems
    raise AssertionError("accepted")


def line_of(written: str, changed_text: str) -> int:
    """Line of the only place where `written` stands."""
    assert changed_text.count(written) == 1
    return changed_text[: changed_text.index(written)].count("\n") + 1
