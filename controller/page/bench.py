"""Faults of a simulated rig, asked of its bench: never of the guard, and never over the broker.

One request a connection on the bench's own Unix stream socket, one JSON object a line each way:
`{"ask": "faults"}` -> `{"faults": [{"name", "title", "active"}]}`; `{"fault": NAME, "clear": bool}` -> `{"done": bool, "why"}`.
"""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any, Final, Protocol

from controller.page.api import FaultNow

WAIT_S: Final = 3.0


class NoBench(ConnectionError):
    """No bench of that rig answers here."""


class Bench(Protocol):
    async def faults(self) -> list[FaultNow]: ...

    async def play(self, name: str, clear: bool) -> None:
        """Raises ValueError with the bench's own word when it will not."""


class SocketBench:
    def __init__(self, path: Path) -> None:
        self.path = path

    async def _ask(self, message: dict[str, object]) -> dict[str, Any]:
        try:
            async with asyncio.timeout(WAIT_S):
                reader, writer = await asyncio.open_unix_connection(str(self.path), limit=262_144)
                try:
                    writer.write(json.dumps(message).encode() + b"\n")
                    answer = json.loads(await reader.readline())
                finally:
                    writer.close()
        except (OSError, TimeoutError, ValueError) as error:
            raise NoBench(f"no bench answers at {self.path.name} ({error or 'no answer in time'})") from None
        if not isinstance(answer, dict):
            raise NoBench(f"the bench at {self.path.name} answered something else")
        return answer

    async def faults(self) -> list[FaultNow]:
        return [FaultNow.model_validate(f) for f in (await self._ask({"ask": "faults"})).get("faults", [])]

    async def play(self, name: str, clear: bool) -> None:
        answer = await self._ask({"fault": name, "clear": clear})
        if not answer.get("done"):
            raise ValueError(str(answer.get("why", "the bench will not")))
