"""Who is answered: requests for this very address, from its own page, in limited number and time."""

from __future__ import annotations

import asyncio
import os
import secrets
import socket
from collections.abc import AsyncIterator
from typing import Any

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from reviewkit.model.errors import CannotFinish

LOOPBACK = "127.0.0.1"
CLOSED = "default-src 'none'"
_LONGEST_REQUEST_S = 20.0  # from the first byte of a request to its last, and between two parts of a dropped file
MOST_AT_ONCE = 100  # connections; a browser opens six
_LONGEST_ANSWER_S = 60.0


def guards(policy: str, *, kept: bool = False) -> dict[str, str]:
    """Return the headers of every answer."""
    return {
        "Cache-Control": "private, max-age=86400, immutable" if kept else "no-store",
        "Connection": "close",  # one request each, so that only its own time limit counts
        "Content-Security-Policy": f"{policy}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Referrer-Policy": "no-referrer",
        "X-Content-Type-Options": "nosniff",
    }


async def refused(request: Request, error: Exception) -> Response:
    """Return the answer to a request that is refused."""
    assert isinstance(error, HTTPException)
    methods = {"Allow": "GET, HEAD"} if error.status_code == 405 else {}
    return PlainTextResponse(f"{error.detail}\n", error.status_code, headers=guards(CLOSED) | methods)


class Guard:
    """Refuses whatever doesn't come from the server's own page, before anything else looks at it."""

    def __init__(self, origin: str, token: str, app: ASGIApp) -> None:
        self._origin, self._token, self._app = origin, token, app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            return
        status, why = self._refusal(scope)
        if status:
            refusal = await refused(Request(scope), HTTPException(status, why))
            await refusal(scope, receive, send)
            return
        scope["path"] = scope["path"].removeprefix(f"/{self._token}") or "/"
        scope["raw_path"] = None
        streams = scope["path"] in ("/events", "/drop")
        async with asyncio.timeout(None if streams else _LONGEST_ANSWER_S):
            await self._app(scope, receive, send)

    def _refusal(self, scope: Scope) -> tuple[int, str]:
        """Return the status and the words of a refusal; 0 if there is none."""
        fields = Headers(scope=scope)
        changes = scope["method"] not in ("GET", "HEAD")
        if fields.getlist("host") != [self._origin.partition("//")[2]]:
            return 403, f"this is {self._origin}; it has no other name"
        # a browser says where a request that changes something comes from
        origins = [{self._origin}] if changes else [{self._origin}, set()]
        if set(fields.getlist("origin")) not in origins:
            return 403, "the request comes from another page; open this address directly"
        if not set(fields.getlist("sec-fetch-site")) <= {"same-origin"} | (set() if changes else {"none"}):
            return 403, "the request comes from another page; open this address directly"
        path = scope["path"]
        token, _, rest = path.removeprefix("/").partition("/")
        if not path.startswith("/") or not secrets.compare_digest(token.encode(), self._token.encode()):
            return 404, "the address is the one that reviewkit printed"
        if any(part in (".", "..") for part in rest.replace("\\", "/").split("/")):
            return 400, "no such path"
        return 0, ""


async def parts_of(request: Request, most: int) -> AsyncIterator[bytes]:
    """Return the parts of a request's body, none of them late, in all no more than so many bytes.

    Raises
    ------
    HTTPException
        If one is late, or if there are more.
    """
    parts, size = request.stream().__aiter__(), 0
    while True:
        try:
            part = await asyncio.wait_for(anext(parts), _LONGEST_REQUEST_S)
        except StopAsyncIteration:
            return
        except TimeoutError:
            raise HTTPException(408, "the rest of this request didn't arrive") from None
        size += len(part)
        if size > most:
            raise HTTPException(413, f"a request may have at most {most} bytes")
        yield part


class Connection(H11Protocol):
    """A connection that is closed if its request doesn't come, or if others need the room."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._since = self.loop.time()
        self.loop.call_later(_LONGEST_REQUEST_S, self._end_if_silent)
        if len(self.connections) >= MOST_AT_ONCE:
            silent = [each for each in self.connections if isinstance(each, Connection) and each.cycle is None]
            if silent:
                min(silent, key=lambda each: each._since).transport.abort()

    def _end_if_silent(self) -> None:
        if self.cycle is None and self.transport is not None:
            self.transport.abort()


def listen(port: int) -> socket.socket:
    """Return a socket that listens on this machine alone.

    Raises
    ------
    CannotFinish
        If the port isn't available.
    """
    listening = socket.socket()
    try:
        if os.name != "nt":  # on Windows it would let another program take the port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((LOOPBACK, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        raise CannotFinish(f"port {port}: {error.strerror or error}; leave --port out to take a free one") from error
    return listening
