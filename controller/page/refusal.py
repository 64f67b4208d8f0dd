"""Every no as an answer in words, whatever it came from."""

from __future__ import annotations

from typing import Any, Final

from pydantic import ValidationError
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from controller.page.bench import NoBench
from controller.page.broker import BrokerLost, NoAnswer


class Refused(Exception):
    def __init__(self, status: int, why: str, wait_s: float = 0.0) -> None:
        super().__init__(why)
        self.status, self.why, self.wait_s = status, why, wait_s


async def refused(_request: Request, error: Exception) -> Response:
    assert isinstance(error, Refused)
    headers = {"Retry-After": f"{error.wait_s:.0f}"} if error.wait_s else None
    return JSONResponse({"why": error.why}, error.status, headers)


async def unavailable(_request: Request, error: Exception) -> Response:
    return JSONResponse({"why": str(error)}, 503)


async def not_understood(_request: Request, error: Exception) -> Response:
    if isinstance(error, ValidationError):
        first = error.errors(include_input=False, include_url=False)[0]
        where = ".".join(str(p) for p in first["loc"]) or "the request"
        return JSONResponse({"why": f"{where}: {first['msg']}"}, 400)
    return JSONResponse({"why": str(error)[:300]}, 400)


ANSWERS: Final[dict[Any, Any]] = {
    Refused: refused,
    BrokerLost: unavailable,
    NoAnswer: unavailable,
    NoBench: unavailable,
    ValidationError: not_understood,
    ClientDisconnect: not_understood,
    ValueError: not_understood,
}
