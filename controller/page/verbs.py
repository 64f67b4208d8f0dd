"""What each role may ask from a phone. Rig file, local enable and guard decide after that, and have the last word."""

from __future__ import annotations

from typing import Final, NamedTuple

from controller.page.api import CommandWanted
from controller.page.people import Role


class Ask(NamedTuple):
    role: Role
    reason: bool = False  # must be given in words
    subject: bool = False
    number: tuple[float, float] | None = None
    ends: bool = False  # must say where it ends: litres or hours


VERBS: Final[dict[str, Ask]] = {
    "stop": Ask(Role.VIEWER),  # obeyed from anyone: more power to stop never hurts
    "start": Ask(Role.OPERATOR, reason=True, number=(0.1, 1000.0), ends=True),
    "set-current": Ask(Role.OPERATOR, reason=True, number=(0.1, 1000.0)),
    "reset": Ask(Role.OPERATOR, reason=True),
    "hold": Ask(Role.OPERATOR, reason=True),
    "disable": Ask(Role.OPERATOR),
    "silence": Ask(Role.OPERATOR),
    "acknowledge": Ask(Role.OPERATOR, subject=True),
    "shelve": Ask(Role.OPERATOR, reason=True, subject=True),
}


# Less power, never more: obeyed also where this page's key is not enrolled.
UNSIGNED: Final = frozenset({"stop", "disable"})


def may(role: Role) -> list[str]:
    return [verb for verb, ask in VERBS.items() if role >= ask.role]


def wrong_with(wanted: CommandWanted, role: Role) -> tuple[int, str] | None:
    """The HTTP status and what would be right; None when it may go to the guard."""
    ask = VERBS.get(wanted.verb)
    if ask is None:
        return 400, f"{wanted.verb!r} cannot be asked from a page; known: {', '.join(VERBS)}"
    if role < ask.role:
        return (403 if role else 401), f"{wanted.verb} needs the role {ask.role.name.lower()}; log in with it"
    if ask.reason and not wanted.text.strip():
        return 400, f"{wanted.verb} needs a reason in words"
    if ask.subject and not wanted.subject:
        return 400, f"{wanted.verb} must say which alarm"
    if ask.number is not None and (wanted.number is None or not ask.number[0] <= wanted.number <= ask.number[1]):
        return 400, f"{wanted.verb} needs a current between {ask.number[0]:g} and {ask.number[1]:g} A"
    if ask.ends and (wanted.litres is None) == (wanted.hours is None):
        return 400, f"{wanted.verb} must say where it ends: litres or hours"
    return None
