"""Who may speak to the bench: a browser of this machine that was given its address.

A page of another site cannot: it would send its own origin.  A name that another site points at
this machine cannot: it is none of the bench's own.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

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

    def __init__(self, app: App, hosts: Iterable[str], token: str, upload_limit: int) -> None:
        self.app, self.token, self.limit = app, token, upload_limit
        self.hosts = frozenset(host.lower() for host in hosts)
        port = next(iter(self.hosts)).rpartition(":")[2]
        self.cookie = f"tonewright_bench_{port}"  # cookies are shared by the ports of a machine
        sockets = " ".join(sorted(f"ws://{host}" for host in self.hosts))
        self._headers = [
            (b"content-security-policy", _POLICY.format(sockets=sockets).encode("latin-1")),
            (b"x-content-type-options", b"nosniff"), (b"referrer-policy", b"no-referrer"),
            (b"cross-origin-resource-policy", b"same-origin"),
            (b"cross-origin-opener-policy", b"same-origin"),
        ]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers = {k.lower(): v.decode("latin-1") for k, v in scope["headers"]}
        if not self._is_own(headers, len(scope["headers"])):
            await _refuse(scope, receive, send, 403, FOREIGN)
        elif scope["type"] == "http" and (there := self._first(scope)) is not None:
            await self._enter(send, there)
        elif not self._is_known(headers):
            await _refuse(scope, receive, send, 403, CLOSED)
        elif int(headers.get(b"content-length", "0") or "0") > self.limit:
            await _refuse(scope, receive, send, 413, too_large(self.limit))
        else:
            await self._through(scope, receive, send)

    def _is_own(self, headers: dict[bytes, str], count: int) -> bool:
        """By its host, and by the site that the request comes from where one is named."""
        own = headers.get(b"host", "").lower() in self.hosts
        origin = headers.get(b"origin")
        if origin is not None:
            own &= origin.lower().removeprefix("http://") in self.hosts and \
                origin.lower().startswith("http://")
        return own and headers.get(b"sec-fetch-site", "none") in ("none", "same-origin") and \
            headers.get(b"content-length", "0").isdecimal()

    def _first(self, scope: Scope) -> str | None:
        """Where to go on from the first address, if its token is the right one."""
        query = parse_qsl(scope["query_string"].decode("latin-1"))
        given = dict(query).get("token")
        if given is None or not secrets.compare_digest(given.encode(), self.token.encode()):
            return None
        rest = urlencode([(k, v) for k, v in query if k != "token"])
        return quote("/" + scope["path"].lstrip("/")) + (f"?{rest}" if rest else "")

    def _is_known(self, headers: dict[bytes, str]) -> bool:
        try:
            found = SimpleCookie(headers.get(b"cookie", "")).get(self.cookie)
        except CookieError:
            return False
        return found is not None and secrets.compare_digest(
            found.value.encode(), self.token.encode())

    async def _enter(self, send: Send, there: str) -> None:
        """Give the browser its cookie, and the address without the token."""
        cookie = f"{self.cookie}={self.token}; Path=/; HttpOnly; SameSite=Strict"
        await send({"type": "http.response.start", "status": 303, "headers": [
            (b"location", there.encode("latin-1")), (b"set-cookie", cookie.encode()),
            (b"cache-control", b"no-store"), *self._headers]})
        await send({"type": "http.response.body", "body": b""})

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
                named = {name.lower() for name, _ in message.get("headers", ())}
                message["headers"] = [*message.get("headers", ()),
                                      *(h for h in self._headers if h[0] not in named)]
                if b"cache-control" not in named:
                    message["headers"].append((b"cache-control", b"no-store"))
            await send(message)

        try:
            await self.app(scope, counted, guarded)
        except TooLarge:
            if not started:
                await _refuse(scope, receive, send, 413, too_large(self.limit))
        except RuntimeError as error:
            if not (gone and str(error) == _UNANSWERED):
                raise


def too_large(limit: int) -> str:
    """What is said of a file that is longer than the bench takes."""
    return (f"The file is larger than {limit / 1e9:.1f} GB, the most that the page takes. Copy it"
            " into the paper's folder yourself.")


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, said: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 4403})
        return
    await send({"type": "http.response.start", "status": status, "headers": [
        (b"content-type", b"text/plain; charset=utf-8"), (b"x-content-type-options", b"nosniff"),
        (b"connection", b"close"), (b"cache-control", b"no-store")]})
    await send({"type": "http.response.body", "body": said.encode()})
