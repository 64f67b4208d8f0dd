"""What stands before every request: host names we answer to, another site's requests, headers, sizes.

The host check keeps a strange site from reading the home network through a name of its own (DNS rebinding).
"""

from __future__ import annotations

import ipaddress
import json
import socket
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from controller.page.api import BODY_BYTES


def plain_host(host: str) -> str:
    """Without port and brackets, lower case."""
    try:
        return (urlsplit(f"//{host}").hostname or "").rstrip(".")
    except ValueError:
        return ""


def is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def at_home(address: str) -> bool:
    """Whether a client's address can only be on this network: private, link-local or this machine."""
    try:
        found = ipaddress.ip_address(address.split("%")[0])
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return (mapped or found).is_private or (mapped or found).is_loopback


class Gate:
    def __init__(self, app: ASGIApp, names: Iterable[str], policy: str, secure: bool) -> None:
        own = socket.gethostname().lower()
        self.app, self.policy, self.secure = app, policy, secure
        self.names = {"localhost", own, f"{own.split('.')[0]}.local", *(n.lower() for n in names)}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        wrong = self._wrong(request)
        if wrong is not None:
            code, why = wrong
            body = json.dumps({"why": why}).encode()
            headers = [(b"content-type", b"application/json"), (b"cache-control", b"no-store")]
            await send({"type": "http.response.start", "status": code, "headers": headers})
            await send({"type": "http.response.body", "body": body})
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Content-Security-Policy"] = self.policy
                headers["X-Content-Type-Options"] = "nosniff"
                headers["Referrer-Policy"] = "no-referrer"
                headers["Cross-Origin-Opener-Policy"] = "same-origin"
                headers["Cross-Origin-Resource-Policy"] = "same-origin"
                headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
                headers.setdefault("Cache-Control", "no-store")
                if self.secure:
                    headers["Strict-Transport-Security"] = "max-age=31536000"
            await send(message)

        await self.app(scope, receive, with_headers)

    def _wrong(self, request: Request) -> tuple[int, str] | None:
        host = plain_host(request.headers.get("host", ""))
        if not (is_address(host) or host in self.names):
            return 421, "this page is not known by that name; start it with --name NAME"
        if request.method in ("GET", "HEAD"):
            if (
                request.headers.get("sec-fetch-site") == "cross-site"
                and request.headers.get("sec-fetch-mode") != "navigate"
            ):
                return 403, "asked by another site"
            return None
        origin = request.headers.get("origin")
        if origin is None or urlsplit(origin).netloc.lower() != request.headers.get("host", "").lower():
            return 403, "asked by another site"
        if request.headers.get("content-type", "").split(";")[0].strip() != "application/json":
            return 400, "send JSON"
        length = request.headers.get("content-length", "")
        if not length.isdigit() or int(length) > BODY_BYTES:
            return 413, f"a request has at most {BODY_BYTES} bytes, and says how many"
        return None
