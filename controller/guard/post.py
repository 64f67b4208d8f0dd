"""What comes through the sockets, turned into commands and answers. Called between the heartbeat and the next scan."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from controller.core.commands import Command, Source, Verb
from controller.core.events import Event, Happened
from controller.guard import protocol
from controller.guard.challenge import Challenges, Keys
from controller.guard.protocol import Acknowledge, Ask, Do, NotUnderstood, Signed
from controller.guard.ring import EventRing
from controller.guard.sockets import Mail, Peer


class Bucket:
    """So many at once, then so many a second: what fills the record must not push out what it holds."""

    def __init__(self, most: float, per_s: float) -> None:
        self._most = self._left = most
        self._per_s = per_s
        self._last_s = 0.0

    def take(self, now_s: float) -> bool:
        self._left = min(self._most, self._left + max(0.0, now_s - self._last_s) * self._per_s)
        self._last_s = now_s
        if self._left < 1.0:
            return False
        self._left -= 1.0
        return True


class Waiting(NamedTuple):
    """Who waits for the core's answer."""

    peer: Peer
    ident: str


Note = Callable[[Happened, str, str, str], None]  # what, subject, detail, source: for the record


class Post:
    """Sorts mail into commands for the next scan, and answers questions and orders."""

    def __init__(
        self, challenges: Challenges, keys: Keys, ring: EventRing, status: Callable[[], dict[str, object]], note: Note
    ) -> None:
        self._challenges, self._keys, self._ring = challenges, keys, ring
        self._status, self._note = status, note
        self._tickets = 0
        self._waiting: dict[int, Waiting] = {}
        self._orders = {source: Bucket(20.0, 2.0) for source in Source}
        self._stops = {source: Bucket(20.0, 2.0) for source in Source}
        self.dropped = 0  # understood, but too many

    def sort(self, mail: Iterable[Mail], now_s: float) -> list[Command]:
        """The commands among the messages; everything else is answered at once."""
        commands: list[Command] = []
        verified = False
        for peer, data in mail:
            try:
                request = protocol.parse(data)
            except NotUnderstood as error:
                _answer(peer, error.ident, error=str(error))
                continue
            match request:
                case Ask():
                    self._tell(peer, request)
                case Acknowledge(ident, number):
                    self._acknowledged(peer, ident, number)
                case Do():
                    if not self._allowed(peer.source, request.verb, now_s):
                        self._refuse(peer, request.ident, "too many at once: wait a second")
                        continue
                    commands.append(self._command(peer, request, peer.source))
                case Signed():
                    if verified:  # the arithmetic costs: one a scan
                        self._refuse(peer, request.ident, "another signed command came first: ask again")
                        continue
                    verified = True
                    command = self._signed(peer, request, now_s)
                    if command is not None:
                        commands.append(command)
        return commands

    def _allowed(self, source: Source, verb: Verb, now_s: float) -> bool:
        buckets = self._stops if verb is Verb.STOP else self._orders
        if buckets[source].take(now_s):
            return True
        self.dropped += 1
        return False

    def _command(self, peer: Peer, asked: Do, source: Source, who: str = "") -> Command:
        self._tickets += 1
        self._waiting[self._tickets] = Waiting(peer, asked.ident)
        return Command(
            verb=asked.verb,
            source=source,
            ticket=self._tickets,
            number=asked.number,
            subject=asked.subject,
            text=asked.text,
            who=who or asked.who,
            seconds=asked.seconds,
            charge_c=asked.charge_c,
            retained=asked.retained,
        )

    def _signed(self, peer: Peer, signed: Signed, now_s: float) -> Command | None:
        """A remote command, if its signature and its challenge are good. Only the link speaks for people elsewhere."""
        if not self._allowed(Source.REMOTE, Verb.START, now_s):
            self._refuse(peer, signed.ident, "too many at once: wait a second")
            return None
        why = "" if peer.source is Source.LINK else "signed commands come through the link"
        why = why or self._keys.verify(signed.key, signed.text, signed.signature)
        asked: protocol.Request | None = None
        if not why:
            try:
                asked = protocol.parse(signed.text.encode())
            except NotUnderstood as error:
                why = f"the signed text is not understood: {error}"
        if not why and not isinstance(asked, Do):
            why = "the signed text must be something to do"
        if isinstance(asked, Do) and not why:
            why = self._challenges.take(asked.challenge, now_s)
        if why or not isinstance(asked, Do):
            self._note(Happened.REFUSED, "signed command", why, Source.REMOTE.name)
            self._refuse(peer, signed.ident, why)
            return None
        asked = asked._replace(ident=signed.ident, retained=asked.retained or signed.retained)
        return self._command(peer, asked, Source.REMOTE, who=signed.key)

    def _tell(self, peer: Peer, ask: Ask) -> None:
        match ask.what:
            case "status":
                _answer(peer, ask.ident, **self._status())
            case "events":
                events = [protocol.event_as_dict(kept) for kept in self._ring.after(ask.after)]
                ring = self._ring
                _answer(peer, ask.ident, events=events, oldest=ring.oldest, newest=ring.newest, lost=ring.lost)
            case _:
                _answer(peer, ask.ident, accepted=True)
                peer.frames = True

    def _acknowledged(self, peer: Peer, ident: str, number: int) -> None:
        if peer.source is not Source.LINK:
            self._refuse(peer, ident, "only the link keeps events for others")
            return
        self._ring.acknowledge(number)
        _answer(peer, ident, accepted=True, why="")

    def reply(self, events: Iterable[Event]) -> None:
        """The core has decided: tell those who wait."""
        for event in events:
            waiting = self._waiting.pop(event.ticket, None) if event.ticket else None
            if waiting is not None:
                accepted = event.what is Happened.ACCEPTED
                _answer(waiting.peer, waiting.ident, accepted=accepted, why="" if accepted else event.detail)

    def _refuse(self, peer: Peer, ident: str, why: str) -> None:
        _answer(peer, ident, accepted=False, why=why)


def _answer(peer: Peer, ident: str, **fields: object) -> None:
    peer.send(protocol.dumps(({"id": ident} if ident else {}) | fields))
