"""What the page asks of a rig for a person: commands, history, lines of the logbook, faults of a bench.

Nothing here knows of HTTP; who may ask, and how often, was settled before.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import OrderedDict
from collections.abc import Mapping
from typing import Final

from controller.link.messages import CommandAsk, HistoryAsk, HistoryReply, LogEntry
from controller.page import api, verbs
from controller.page.bench import Bench
from controller.page.broker import Broker, NoAnswer
from controller.page.refusal import Refused
from controller.page.rigs import Rigs, RigSeen
from controller.page.signing import PageKey
from controller.record.logbook import Entry

log = logging.getLogger("lyewatch.page")

HISTORY_KEPT: Final = 64
HISTORY_KEPT_S: Final = 5.0
STATE_OLD_S: Final = 10.0  # the guard takes a challenge for as long
ASKED_KEPT: Final = 1000


class Asking:
    def __init__(self, rigs: Rigs, broker: Broker, key: PageKey, benches: Mapping[str, Bench]) -> None:
        self._rigs, self._broker, self._key, self._benches = rigs, broker, key, benches
        self._asked: OrderedDict[str, None] = OrderedDict()
        self._history: OrderedDict[str, tuple[float, asyncio.Task[HistoryReply]]] = OrderedDict()

    def known(self, rig: str) -> RigSeen:
        seen = self._rigs.seen.get(rig)
        if seen is None:
            raise Refused(404, "no rig of that name is on the broker")
        return seen

    def once(self, ident: str) -> None:
        """Raises Refused for a command that was asked before."""
        if ident in self._asked:
            raise Refused(409, "this was asked already; look at what the rig says")
        self._asked[ident] = None
        if len(self._asked) > ASKED_KEPT:
            self._asked.popitem(last=False)

    async def guard(self, wanted: api.CommandWanted, name: str) -> api.CommandAnswer:
        """Signs and sends; the answer is the guard's own, or that there was none."""
        seen = self.known(wanted.rig)
        challenge = ""
        if seen.state is not None and seen.arrived_s is not None and time.monotonic() - seen.arrived_s < STATE_OLD_S:
            challenge = seen.state["challenge"]
        elif wanted.verb != "stop":  # a stop is sent whatever is known
            raise Refused(503, "nothing new is heard from the rig, so it cannot be asked now")
        ask = CommandAsk(
            verb=wanted.verb,
            client=self._broker.client_id,
            id=wanted.id,
            number=wanted.number,
            subject=wanted.subject,
            text=wanted.text.strip(),
            litres=wanted.litres,
            hours=wanted.hours,
            challenge=challenge,
        )
        if wanted.verb in verbs.UNSIGNED:
            ask = ask.model_copy(update={"text": f"{name}: {ask.text}".rstrip(": ")})
        else:
            ask = self._key.sign(ask, name, seen.state["cells"] if seen.state else 0)
        log.info("%s asks %s: %s", name, wanted.rig, wanted.verb)
        try:
            reply = await self._broker.command(wanted.rig, ask)
        except NoAnswer as error:
            return api.CommandAnswer(accepted=None, why=str(error))
        return api.CommandAnswer(accepted=reply.accepted, why=reply.why)

    async def history(self, wanted: api.HistoryWanted) -> HistoryReply:
        """Many phones that ask the same at once are one question to the rig."""
        self.known(wanted.rig)
        key = wanted.model_dump_json()
        now_s = time.monotonic()
        kept = self._history.get(key)
        if kept is None or now_s - kept[0] > HISTORY_KEPT_S or (kept[1].done() and kept[1].exception()):
            ask = HistoryAsk(**wanted.model_dump(exclude={"rig"}))
            kept = self._history[key] = (now_s, asyncio.create_task(self._broker.history(wanted.rig, ask)))
            kept[1].add_done_callback(lambda task: task.cancelled() or task.exception())
            while len(self._history) > HISTORY_KEPT:
                self._history.popitem(last=False)
        return await asyncio.shield(kept[1])

    async def log_entry(self, wanted: api.LogWanted, who: str) -> None:
        """Raises WrongEntry for what the record would not take: nobody else could tell the person."""
        self.known(wanted.rig)
        entry = LogEntry(**wanted.model_dump(exclude={"rig"}), who=who, time_s=time.time())
        Entry("asked", entry.kind, entry.who, entry.number, entry.unit, entry.side, entry.text)
        await self._broker.log_entry(wanted.rig, entry)

    def bench(self, rig: str) -> Bench:
        """Of a simulated rig that this page knows the bench of."""
        state = self.known(rig).state
        bench = self._benches.get(rig)
        if state is None or not state["simulated"]:
            raise Refused(403, "this rig is not simulated")
        if bench is None:
            raise Refused(404, "this page does not know the bench of that rig")
        return bench
