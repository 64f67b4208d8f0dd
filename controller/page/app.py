"""The routes. Each request: who asks, how often, is it understood, then the broker; a no always says why."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import logging
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final, TypeVar

from pydantic import BaseModel
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from controller.link.broker import Address
from controller.page import api, verbs
from controller.page.asking import Asking
from controller.page.bench import Bench
from controller.page.broker import Broker
from controller.page.feed import Feed, packer
from controller.page.gate import Gate, at_home
from controller.page.leases import Leases
from controller.page.limits import Limits
from controller.page.people import People, Role, Who
from controller.page.refusal import ANSWERS, Refused
from controller.page.rigs import Rigs
from controller.page.shell import Built, page
from controller.page.signing import PageKey

log = logging.getLogger("lyewatch.page")
B = TypeVar("B", bound=BaseModel)
TYPES: Final = {
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}


@dataclass(frozen=True, slots=True)
class Settings:
    """What the person who starts the page decides."""

    folder: Path  # accounts, sessions, the page's key
    broker: Address = field(default_factory=Address)
    names: tuple[str, ...] = ()  # host names to answer to, besides this machine's own
    secure: bool = False  # served over HTTPS
    open_view: bool = False  # viewing from the home network needs no account
    open_faults: bool = False  # a viewer may cause faults on a simulated rig
    benches: Mapping[str, Bench] = field(default_factory=dict)


class Page:
    """One process's page: what it knows and how it answers."""

    def __init__(self, settings: Settings, built: Built, key: PageKey) -> None:
        self.settings, self.built, self.key = settings, built, key
        self.rigs = Rigs()
        self.people = People(settings.folder)
        self.limits = Limits()
        self.feed = Feed(self.rigs, built.build)
        self.broker = Broker(settings.broker, f"page-{key.id}", self.rigs, self.feed.changed)
        self.asking = Asking(self.rigs, self.broker, key, settings.benches)
        self.leases = Leases(self.rigs, self.asking.guard)
        self._hashing = asyncio.Semaphore(1)  # one password at a time: each takes 19 MiB
        self._packed = {name: gzip.compress(data, 9, mtime=0) for name, data in built.files.items()}
        self.cookie = "__Host-lyewatch" if settings.secure else "lyewatch"

    # --- who

    def who(self, request: Request) -> Who:
        found = self.people.who(request.cookies.get(self.cookie))
        if found.role is Role.NOBODY and self.settings.open_view and at_home(address(request)):
            return Who("", Role.VIEWER)
        return found

    def me(self, who: Who) -> dict[str, Any]:
        return api.Me(
            name=who.name,
            role=who.role.name.lower(),
            may=verbs.may(who.role),
            may_log=who.role >= Role.OPERATOR,
            may_fault=who.role >= (Role.VIEWER if self.settings.open_faults else Role.OPERATOR),
            secure=self.settings.secure,
        ).model_dump()

    def limit(self, kind: str, asker: str) -> None:
        wait_s = self.limits.wait_s(kind, asker, time.monotonic())
        if wait_s:
            raise Refused(429, f"too often; wait {wait_s:.0f} s", wait_s)

    # --- pages and files

    async def html(self, request: Request) -> Response:
        self.limit("page", address(request))
        who = self.who(request)
        rig = request.path_params.get("rig", "")
        if not rig and len(self.rigs.seen) == 1:
            rig = next(iter(self.rigs.seen))
        if rig and rig not in self.rigs.seen and who.role:
            return RedirectResponse("/")
        view = self.feed.view(rig) if who.role else None
        return HTMLResponse(page(self.built, view, self.me(who)))

    async def shell(self, request: Request) -> Response:
        """What the phone keeps for when it is offline. No value is in it."""
        self.limit("page", address(request))
        return HTMLResponse(page(self.built, None, None))

    async def file(self, request: Request) -> Response:
        name = request.path_params["name"]
        kept = request.path_params.get("build") == self.built.build
        if (
            name not in self.built.files
            or Path(name).suffix not in TYPES
            or ("build" in request.path_params and not kept)
        ):
            raise Refused(404, "no such file")
        packed = "gzip" in request.headers.get("accept-encoding", "")
        data = self._packed[name] if packed else self.built.files[name]
        if name == "sw.js":  # its bytes change with the build, so that a phone notices
            data = self.built.files[name].replace(b"BUILD_ID", self.built.build.encode())
            packed = False
        headers = {
            "Cache-Control": "public, max-age=31536000, immutable" if kept else "no-cache",
            "Vary": "Accept-Encoding",
        }
        if packed:
            headers["Content-Encoding"] = "gzip"
        return Response(data, headers=headers, media_type=TYPES[Path(name).suffix])

    async def live(self, request: Request) -> Response:
        asker = address(request)
        self.limit("page", asker)
        token = request.cookies.get(self.cookie)
        who = self.who(request)
        if who.role is Role.NOBODY:
            raise Refused(401, "log in to look")
        rig = request.query_params.get("rig", "")
        if not rig and len(self.rigs.seen) == 1:
            rig = next(iter(self.rigs.seen))
        if rig and rig not in self.rigs.seen:
            rig = ""
        if self.feed.full:
            raise Refused(503, "too many phones look at this page already")

        def allowed() -> bool:
            return not who.name or self.people.who(token) == who

        headers = {"X-Accel-Buffering": "no", "Vary": "Accept-Encoding"}
        packed = "gzip" in request.headers.get("accept-encoding", "")
        if packed:  # the first message is 15 kB: 80 ms of a slow line
            headers["Content-Encoding"] = "gzip"
        frames = self.feed.follow(rig, {"me": self.me(who)}, allowed, packer() if packed else bytes)
        return StreamingResponse(frames, media_type="text/event-stream", headers=headers)

    # --- JSON

    async def get_me(self, request: Request, who: Who, _body: None) -> dict[str, Any]:
        return self.me(who)

    async def log_in(self, request: Request, _who: Who, body: api.LogIn) -> Response:
        home = address(request)
        if not self.settings.secure and not at_home(home):
            raise Refused(403, "this page has no HTTPS: log in from the home network only")
        self.limit("log-in", home)
        self.limit("log-in name", body.name)
        async with self._hashing:
            token = await asyncio.to_thread(self.people.log_in, body.name, body.password)
        if token is None:
            log.warning("refused a log-in from %s", home)
            raise Refused(403, "name or password is wrong")
        who = self.people.who(token)
        log.info("%s logged in from %s", who.name, home)
        response = JSONResponse(self.me(who))
        response.set_cookie(
            self.cookie,
            token,
            max_age=90 * 86400,
            path="/",
            httponly=True,
            samesite="strict",
            secure=self.settings.secure,
        )
        return response

    async def log_out(self, request: Request, _who: Who, _body: None) -> Response:
        token = request.cookies.get(self.cookie)
        if token:
            await asyncio.to_thread(self.people.log_out, token)
        response = JSONResponse({"done": True})
        response.delete_cookie(self.cookie, path="/", httponly=True, samesite="strict", secure=self.settings.secure)
        return response

    async def history(self, _request: Request, _who: Who, body: api.HistoryWanted) -> dict[str, Any]:
        return (await self.asking.history(body)).model_dump(mode="json")

    async def command(self, request: Request, who: Who, body: api.CommandWanted) -> dict[str, Any]:
        self.limit("stop" if body.verb == "stop" else "ask", who.name or address(request))
        wrong = verbs.wrong_with(body, who.role)
        if wrong is not None:
            raise Refused(*wrong)
        self.asking.once(body.id)
        answer = await self.asking.guard(body, who.name or "somebody on the home network")
        if body.verb == "start" and answer.accepted:
            self.leases.keep(body.rig, who.name)
        return answer.model_dump()

    async def logbook(self, _request: Request, who: Who, body: api.LogWanted) -> dict[str, Any]:
        await self.asking.log_entry(body, who.name)
        return {"done": True}

    async def faults(self, request: Request, _who: Who, _body: None) -> dict[str, Any]:
        bench = self.asking.bench(request.path_params["rig"])
        return api.Faults(faults=await asyncio.to_thread(bench.faults)).model_dump()

    async def fault(self, _request: Request, who: Who, body: api.FaultWanted) -> dict[str, Any]:
        if not self.me(who)["may_fault"]:
            raise Refused(403 if who.role else 401, "causing a fault needs the role operator")
        await asyncio.to_thread(self.asking.bench(body.rig).play, body.name, body.clear)
        does = "clears" if body.clear else "causes"
        log.info("%s %s fault %r on simulated %s", who.name or "a viewer", does, body.name, body.rig)
        return {"done": True}

    # --- the application

    @contextlib.asynccontextmanager
    async def running(self, _app: Starlette) -> AsyncIterator[None]:
        self.broker.start()
        leases = asyncio.create_task(self.leases.keep_on())
        try:
            yield
        finally:
            leases.cancel()
            self.feed.end()
            await asyncio.to_thread(self.broker.stop)

    def endpoint(
        self, asked: api.Request, handler: Callable[..., Awaitable[Any]]
    ) -> Callable[[Request], Awaitable[Response]]:
        """One row of the table as a route: rate, role and body are checked here and nowhere else."""

        async def answer(request: Request) -> Response:
            who = self.who(request)
            if asked.rate != "ask":  # commands have their own bucket for stop
                self.limit(asked.rate, who.name or address(request))
            if who.role < asked.role:
                raise Refused(
                    401 if who.role is Role.NOBODY or not who.name else 403, f"needs the role {asked.role.name.lower()}"
                )
            body = None if asked.body is None else await read(request, asked.body)
            found = await handler(request, who, body)
            return found if isinstance(found, Response) else JSONResponse(found)

        return answer

    def app(self) -> Starlette:
        handlers: tuple[Callable[..., Awaitable[Any]], ...] = (
            self.get_me,
            self.log_in,
            self.log_out,
            self.history,
            self.command,
            self.logbook,
            self.faults,
            self.fault,
        )
        document = api.openapi(version("lyewatch"))

        async def describe(_request: Request) -> Response:
            return JSONResponse(document)

        routes = [
            Route("/", self.html),
            Route("/rig/{rig}", self.html),
            Route("/shell", self.shell),
            Route("/live", self.live),
            Route("/api/openapi.json", describe),
            *(
                Route(r.path, self.endpoint(r, h), methods=[r.method])
                for r, h in zip(api.REQUESTS, handlers, strict=True)
            ),
            Route("/a/{build}/{name}", self.file),
            Route("/{name}", self.file),
        ]
        return Starlette(
            routes=routes,
            lifespan=self.running,
            middleware=[
                Middleware(Gate, names=self.settings.names, policy=self.built.policy, secure=self.settings.secure),
                Middleware(GZipMiddleware, minimum_size=800, compresslevel=6),
            ],
            exception_handlers=ANSWERS,
        )


def address(request: Request) -> str:
    return request.client.host if request.client else ""


async def read(request: Request, body: type[B]) -> B:
    data = await request.body()
    if len(data) > api.BODY_BYTES:
        raise Refused(413, "too long")
    return body.model_validate_json(data)
