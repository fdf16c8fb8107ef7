"""Who may speak to the bench: a browser of this machine that was given its address.

A page of another site cannot: it would send its own origin.  A name that another site points at
this machine cannot: it is none of the bench's own.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from urllib.parse import quote, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self' {sockets}; object-src 'none'; base-uri 'self'; form-action 'self'; "
    "frame-ancestors 'self'"
)
"""The framework compiles its templates in the browser, which needs ``unsafe-eval``."""
CLOSED = ("This browser was not let in. Copy the whole address that the terminal shows, down to its"
          " last letter, and open it here.")
_UNANSWERED = "No response returned."
"""What the framework raises of a request whose browser has gone to another page meanwhile."""
FOREIGN = "The bench answers at its own address only: open the one that the terminal shows."


class TooLarge(Exception):
    """A body is longer than the bench takes."""


class Guard:
    """Around an ASGI application: nothing reaches it that is not allowed to.

    Parameters
    ----------
    hosts:
        The bench's own addresses, ``HOST:PORT``.
    token:
        What the first address holds; a cookie of the browser takes its place.
    upload_limit:
        Bytes of the longest body.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str], token: str, upload_limit: int) -> None:
        self.app, self.token, self.limit = app, token, upload_limit
        self.hosts = frozenset(host.lower() for host in hosts)
        port = next(iter(self.hosts)).rpartition(":")[2]
        self.cookie = f"tonewright_bench_{port}"  # cookies are shared by the ports of a machine
        sockets = " ".join(sorted(f"ws://{host}" for host in self.hosts))
        self._headers = {
            "content-security-policy": _POLICY.format(sockets=sockets),
            "x-content-type-options": "nosniff", "referrer-policy": "no-referrer",
            "cross-origin-resource-policy": "same-origin",
            "cross-origin-opener-policy": "same-origin", "cache-control": "no-store",
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        await self._answer(HTTPConnection(scope))(scope, receive, send)

    def _answer(self, asked: HTTPConnection) -> ASGIApp:
        if not self._is_own(asked.headers):
            return _refusal(asked.scope, 403, FOREIGN)
        if asked.scope["type"] == "http" and self._is_token(asked.query_params.get("token")):
            return self._enter(asked)
        if not self._is_token(asked.cookies.get(self.cookie)):
            return _refusal(asked.scope, 403, CLOSED)
        if int(asked.headers.get("content-length", "0")) > self.limit:
            return _refusal(asked.scope, 413, too_large(self.limit))
        return self._through

    def _is_own(self, headers: Headers) -> bool:
        """By its host, and by the site that the request comes from where one is named."""
        origin = headers.get("origin")
        return (headers.get("host", "").lower() in self.hosts
                and (origin is None or origin.lower() in {f"http://{h}" for h in self.hosts})
                and headers.get("sec-fetch-site", "none") in ("none", "same-origin")
                and headers.get("content-length", "0").isdecimal())

    def _is_token(self, given: str | None) -> bool:
        return given is not None and secrets.compare_digest(given.encode(), self.token.encode())

    def _enter(self, asked: HTTPConnection) -> RedirectResponse:
        """Give the browser its cookie, and the address without the token."""
        rest = urlencode([(k, v) for k, v in asked.query_params.multi_items() if k != "token"])
        there = quote("/" + asked.scope["path"].lstrip("/")) + (f"?{rest}" if rest else "")
        cookie = f"{self.cookie}={self.token}; Path=/; HttpOnly; SameSite=Strict"
        return RedirectResponse(there, 303, {"set-cookie": cookie, **self._headers})

    async def _through(self, scope: Scope, receive: Receive, send: Send) -> None:
        taken, started, gone = 0, False, False

        async def counted() -> Message:
            nonlocal taken, gone
            message = await receive()
            gone |= message["type"] == "http.disconnect"
            taken += len(message.get("body", b""))
            if scope["type"] == "http" and taken > self.limit:
                raise TooLarge(too_large(self.limit))
            return message

        async def guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(raw=[*message.get("headers", ())])
                for name, value in self._headers.items():
                    headers.setdefault(name, value)
                message["headers"] = headers.raw
            await send(message)

        try:
            await self.app(scope, counted, guarded)
        except TooLarge:
            if not started:
                await _refusal(scope, 413, too_large(self.limit))(scope, receive, send)
        except RuntimeError as error:
            if not (gone and str(error) == _UNANSWERED):
                raise


def too_large(limit: int) -> str:
    """What is said of a file that is longer than the bench takes."""
    return (f"The file is larger than {limit / 1e9:.1f} GB, the most that the page takes. Copy it"
            " into the paper's folder yourself.")


def _refusal(scope: Scope, status: int, said: str) -> ASGIApp:
    if scope["type"] == "websocket":
        return WebSocketClose(4403)
    return PlainTextResponse(said, status, {
        "x-content-type-options": "nosniff", "connection": "close", "cache-control": "no-store"})
