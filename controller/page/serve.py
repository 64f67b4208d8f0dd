"""Runs the page until it is told to end: uvicorn, with TLS or without, and beside TLS a page with the authority."""

from __future__ import annotations

import asyncio
import html
import logging
import signal
import socket
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from controller.page.app import Page, Settings
from controller.page.authority import Certificates
from controller.page.shell import DIST, read_built
from controller.page.signing import page_key

log = logging.getLogger("lyewatch.page")
END_WITHIN_S = 3


@dataclass(frozen=True, slots=True)
class Listen:
    host: str = "127.0.0.1"
    port: int = 8080
    certificate: Path | None = None
    key: Path | None = None
    authority: Certificates | None = None  # own authority: its file is offered on `authority_port`, without TLS
    authority_port: int = 8081


class AlreadyUsed(OSError):
    """The port cannot be had."""


def _socket(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    found = socket.socket(family, socket.SOCK_STREAM)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((host, port))
    except OSError as error:
        found.close()
        raise AlreadyUsed(
            f"cannot listen on {host} port {port}: {error.strerror}. Give another one with --port"
        ) from None
    return found


_HELP = """<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Trust the Lyewatch page</title><style>body{{font:18px/1.5 system-ui;margin:20px;max-width:640px}}
a{{display:block;padding:16px;border:2px solid;margin:16px 0}}code{{overflow-wrap:anywhere}}</style>
<h1>Trust the Lyewatch page on this phone</h1>
<p>The file below lets this phone trust one thing only: the page of this machine, on a private network.</p>
<a href="/authority.crt">Fetch the file</a>
<p>Then, Android: Settings, search for “CA certificate”, install it. iPhone: Settings, Profile Downloaded, install; then
General, About, Certificate Trust Settings, switch it on.</p>
<p>Before you agree, compare this fingerprint with the one on the terminal:
<code>{fingerprint}</code></p>
<p>Last, open <a href="{address}">{address}</a></p></html>"""


def authority_page(found: Certificates, address: str) -> Starlette:
    """Where a phone fetches the authority's file. Nothing else is served without TLS."""
    text = _HELP.format(fingerprint=found.fingerprint, address=html.escape(address))

    async def helping(_request: Request) -> Response:
        policy = "default-src 'none'; style-src 'unsafe-inline'"
        return HTMLResponse(text, headers={"Content-Security-Policy": policy})

    async def file(_request: Request) -> Response:
        return Response(found.authority.read_bytes(), media_type="application/x-x509-ca-cert")

    return Starlette(routes=[Route("/", helping), Route("/authority.crt", file)])


def _server(app: Starlette, listen: Listen | None) -> uvicorn.Server:
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,  # an address with a query is nobody's business
        server_header=False,
        proxy_headers=False,  # nobody may say where he comes from
        timeout_graceful_shutdown=END_WITHIN_S,
        limit_concurrency=400,
        h11_max_incomplete_event_size=32_768,
        ssl_certfile=str(listen.certificate) if listen and listen.certificate else None,
        ssl_keyfile=str(listen.key) if listen and listen.key else None,
        loop="asyncio",
        ws="none",
    )
    return uvicorn.Server(config)


async def serve(settings: Settings, listen: Listen, address: str, dist: Path = DIST) -> None:
    """Raises AlreadyUsed, NotBuilt, or ValueError for damaged files before anything is served."""
    built, key = read_built(dist), page_key(settings.folder)
    page = Page(settings, built, key)
    page.people.book()
    servers = [(_server(page.app(), listen), _socket(listen.host, listen.port))]
    if listen.authority is not None:
        servers.append(
            (_server(authority_page(listen.authority, address), None), _socket(listen.host, listen.authority_port))
        )
    ended = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, ended.set)
    running = [asyncio.create_task(_run(server, found)) for server, found in servers]
    waiting = asyncio.create_task(ended.wait())
    log.info("the page is at %s (key %s)", address, key.id)
    await asyncio.wait([waiting, *running], return_when=asyncio.FIRST_COMPLETED)
    page.feed.end()
    for server, _ in servers:
        server.should_exit = True
    await asyncio.gather(*running)
    waiting.cancel()


async def _run(server: uvicorn.Server, found: socket.socket) -> None:
    """Like uvicorn's own, but signals are ours: two servers share one process."""
    await server._serve([found])
