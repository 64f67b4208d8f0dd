"""A run that was started from this page goes on only while the page renews its lease: if it dies, the run ends."""

from __future__ import annotations

import asyncio
import logging
import secrets
from collections.abc import Awaitable, Callable
from typing import Final

from controller.page.api import CommandAnswer, CommandWanted
from controller.page.rigs import Rigs

log = logging.getLogger("lyewatch.page")

EVERY_S: Final = 240.0  # a third of the guard's lease of 15 min, and a little
ENDED: Final = frozenset({"off", "cooling", "tripped", "locked out", "service", "out of service"})


class Leases:
    def __init__(self, rigs: Rigs, ask: Callable[[CommandWanted, str], Awaitable[CommandAnswer]]) -> None:
        self._rigs, self._ask = rigs, ask
        self.held: dict[str, tuple[str, str]] = {}  # rig: boot of its guard, who started

    def keep(self, rig: str, name: str) -> None:
        state = self._rigs.seen[rig].state
        if state is not None:
            self.held[rig] = (state["boot"], name)

    async def keep_on(self) -> None:
        while True:
            await asyncio.sleep(EVERY_S)
            await self.renew()

    async def renew(self) -> None:
        """One round. A run that ended, a guard that started anew or a refusal ends the lease."""
        for rig, (boot, name) in list(self.held.items()):
            state = self._rigs.seen[rig].state
            if state is None or state["boot"] != boot or state["state"] in ENDED:
                del self.held[rig]
                continue
            try:
                answer = await self._ask(CommandWanted(rig=rig, verb="renew", id=secrets.token_hex(16)), name)
            except Exception as error:  # noqa: BLE001 - whatever hinders one round, the next one tries again
                log.warning("could not renew the lease of %s: %s", rig, error)
                continue
            if answer.accepted is False:
                log.warning("%s does not renew: %s", rig, answer.why)
                del self.held[rig]
