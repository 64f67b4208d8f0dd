"""Who may look and who may ask: accounts with argon2 hashes, sessions that can be taken back.

One file, readable by its owner alone, written whole; a session is stored as the hash of its token, so that a stolen
copy of the file opens nothing. Another process (the command line) may change it at any time.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import re
import secrets
import time
from collections.abc import Callable
from enum import IntEnum
from pathlib import Path
from typing import Final, NamedTuple

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from pydantic import BaseModel, ConfigDict

from controller.page.signing import write_secret

# OWASP's lightest argon2id setting: 19 MiB, two passes, one lane; a Pi takes about 0.2 s (from memory)
_HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)
_NOBODY: Final = _HASHER.hash(secrets.token_hex(8))  # so that an unknown name takes as long as a wrong password
SESSION_S: Final = {"viewer": 90 * 86400.0, "operator": 7 * 86400.0}
SESSIONS_EACH: Final = 20
NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}")
PASSWORD_AT_LEAST: Final = 10
PASSWORD_AT_MOST: Final = 256


class Role(IntEnum):
    NOBODY = 0
    VIEWER = 1
    OPERATOR = 2


class Person(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    role: str
    password: str


class Session(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    name: str
    until_s: float  # Unix seconds: it outlives this process


class Book(BaseModel):
    model_config = ConfigDict(extra="forbid")
    people: dict[str, Person] = {}
    sessions: dict[str, Session] = {}


class Who(NamedTuple):
    name: str
    role: Role


NOBODY: Final = Who("", Role.NOBODY)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


class People:
    def __init__(self, folder: Path, now_s: Callable[[], float] = time.time) -> None:
        self.path = folder / "people.json"
        self._now_s = now_s
        self._stamp: tuple[int, int] | None = None
        self._book = Book()

    def book(self) -> Book:
        """As it stands on disk. Raises ValueError for a damaged file."""
        try:
            stat = self.path.stat()
        except FileNotFoundError:
            self._stamp, self._book = None, Book()
            return self._book
        stamp = (stat.st_mtime_ns, stat.st_ino)
        if stamp != self._stamp:
            try:
                self._book = Book.model_validate_json(self.path.read_bytes())
            except ValueError as error:
                first = str(error).splitlines()[0]
                raise ValueError(
                    f"{self.path} is damaged ({first}); restore it, or remove it and add the people again"
                ) from None
            self._stamp = stamp
        return self._book

    def _change(self, change: Callable[[Book], None]) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with open(self.path.with_suffix(".lock"), "w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            book = self.book().model_copy(deep=True)
            change(book)
            write_secret(self.path, json.dumps(book.model_dump(), indent=1).encode())
            self.book()

    def add(self, name: str, role: str, password: str) -> None:
        """Raises ValueError with what would be right."""
        if not NAME.fullmatch(name):
            raise ValueError(f"name {name!r}: give 1 to 32 letters, digits, '.', '_' or '-', a letter or digit first")
        if role not in SESSION_S:
            raise ValueError(f"role {role!r}: give 'viewer' or 'operator'")
        if not PASSWORD_AT_LEAST <= len(password) <= PASSWORD_AT_MOST:
            raise ValueError(
                f"a password has {PASSWORD_AT_LEAST} to {PASSWORD_AT_MOST} characters; this one has {len(password)}"
            )
        person = Person(role=role, password=_HASHER.hash(password))

        def change(book: Book) -> None:
            book.people[name] = person
            _forget(book, name)

        self._change(change)

    def remove(self, name: str) -> None:
        """Raises ValueError for a name that is not known."""
        self._known(name)

        def change(book: Book) -> None:
            del book.people[name]
            _forget(book, name)

        self._change(change)

    def log_out_everywhere(self, name: str) -> None:
        """Raises ValueError for a name that is not known."""
        self._known(name)
        self._change(lambda book: _forget(book, name))

    def _known(self, name: str) -> None:
        people = self.book().people
        if name not in people:
            raise ValueError(f"nobody is called {name!r}; known: {', '.join(sorted(people)) or 'nobody yet'}")

    def log_in(self, name: str, password: str) -> str | None:
        """A new session's token, or None. Takes as long for an unknown name as for a wrong password."""
        person = self.book().people.get(name)
        try:
            _HASHER.verify(person.password if person else _NOBODY, password)
        except (VerificationError, InvalidHashError):
            return None
        if person is None:
            return None
        token = secrets.token_urlsafe(32)
        until_s = self._now_s() + SESSION_S[person.role]

        def change(book: Book) -> None:
            mine = [d for d, s in book.sessions.items() if s.name == name]
            gone = [d for d, s in book.sessions.items() if s.until_s < self._now_s()]
            for digest in {*mine[: max(0, len(mine) - SESSIONS_EACH + 1)], *gone}:
                del book.sessions[digest]
            book.sessions[_digest(token)] = Session(name=name, until_s=until_s)

        self._change(change)
        return token

    def log_out(self, token: str) -> None:
        def change(book: Book) -> None:
            book.sessions.pop(_digest(token), None)

        self._change(change)

    def who(self, token: str | None) -> Who:
        """Whose session it is now: a removed person's ends at once."""
        if not token:
            return NOBODY
        book = self.book()
        session = book.sessions.get(_digest(token))
        if session is None or session.until_s < self._now_s() or session.name not in book.people:
            return NOBODY
        return Who(session.name, Role[book.people[session.name].role.upper()])


def _forget(book: Book, name: str) -> None:
    book.sessions = {d: s for d, s in book.sessions.items() if s.name != name}
