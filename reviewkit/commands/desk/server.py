"""The desk's server: its page, its actions and the files of two folders, for this machine's own browser alone."""

from __future__ import annotations

import asyncio
import json
import os
import secrets
import socket
import time
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.parse import urlunsplit

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from reviewkit.commands.desk.streams import Streams
from reviewkit.model.errors import CannotFinish, InputError, listed

LOOPBACK = "127.0.0.1"
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".ttf": "font/ttf",
    ".png": "image/png",
    ".md": "text/plain; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
    ".csv": "text/plain; charset=utf-8",
    ".vtt": "text/vtt; charset=utf-8",
    ".json": "application/json",
    ".mp4": "video/mp4",
}
_CLOSED = "default-src 'none'"
_LONGEST_REQUEST_S = 20.0  # from the first byte of a request to its last, and between two parts of a dropped file
_LONGEST_ANSWER_S = 60.0
_MOST_AT_ONCE = 100  # connections; a browser opens six
_MOST_STREAMS = 12  # event streams: a page that isn't in front closes its own
_MOST_UPLOADS = 4
_LARGEST_ACTION = 200_000  # bytes of the words of an action
_LARGEST_FILE = 1_000_000_000  # bytes of a dropped file, as of any export


class Conflict(Exception):
    """Raised if the disk holds something else than an action was to change. Has what the page needs to show both."""

    def __init__(self, facts: Mapping[str, Any]) -> None:
        self.facts = dict(facts)
        super().__init__("changed on disk")


@dataclass(frozen=True)
class Served:
    """The content of a server, and what can be done there.

    Attributes
    ----------
    page
        Called with the page's address for the page and its content security policy.
    folders
        The folders to serve, by name, each with the policy of its pages.
    files
        Single files, by name.
    actions
        Called with the words of a request, by name. None: nothing can be changed.
    receive
        Called with the name and the content of a dropped file, the latter as a file that it may move.
    """

    page: Callable[[str], tuple[str, str]]
    folders: Mapping[str, tuple[Path, str]] = field(default_factory=dict)
    files: Mapping[str, Path] = field(default_factory=dict)
    actions: Mapping[str, Callable[[dict[str, Any]], dict[str, Any]]] = field(default_factory=dict)
    receive: Callable[[dict[str, str], Path], dict[str, Any]] | None = None
    incoming: Callable[[], Path] | None = None


class LiveServer:
    """A server that runs within a `with` block.

    Every address begins with a random token: another user of this machine doesn't know it. A request that names another
    host is refused: otherwise a foreign site could point its own name at this machine and read the pages through the
    user's browser. So is one that comes from another page.

    Parameters
    ----------
    served : Served
        What it answers with.
    port : int
        0 for any free port.
    token : str
        That of an earlier address, which is to be valid again.

    Raises
    ------
    CannotFinish
        If the port isn't available.
    """

    def __init__(self, served: Served, port: int = 0, token: str = "") -> None:
        self.served = served
        self.token = token or secrets.token_urlsafe(24)
        self._streams = Streams()
        self._uploads = 0
        self._socket = _listen(port)
        self.port: int = self._socket.getsockname()[1]
        config = uvicorn.Config(
            _Guard(self, Starlette(routes=self._routes(), exception_handlers={HTTPException: _refused})),
            http=_Connection,
            loop="asyncio",
            lifespan="off",
            ws="none",
            log_config=None,
            log_level="error",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=2,
        )
        self._server = uvicorn.Server(config)
        self._thread = Thread(target=self._server.run, kwargs={"sockets": [self._socket]}, daemon=True)

    def __enter__(self) -> LiveServer:
        self._thread.start()
        while not self._server.started and self._thread.is_alive():
            time.sleep(0.005)
        return self

    def __exit__(self, *_: object) -> None:
        self._streams.close()
        self._server.should_exit = True
        self._thread.join()
        self._socket.close()

    @property
    def origin(self) -> str:
        """Return the origin of the page."""
        return urlunsplit(("http", f"{LOOPBACK}:{self.port}", "", "", ""))

    @property
    def url(self) -> str:
        """Return the address of the page."""
        return f"{self.origin}/{self.token}/"

    def show(self, event: Mapping[str, Any]) -> None:
        """Send an event to every listener. It is also the first that a new listener gets."""
        self._streams.send(json.dumps(event, ensure_ascii=True))

    def _routes(self) -> list[Route]:
        return [
            Route("/", self._page),
            Route("/events", self._events),
            Route("/do/{name}", self._act, methods=["POST"]),
            Route("/drop", self._receive, methods=["POST"]),
            Route("/{name}", self._single),
            Route("/{folder}/{path:path}", self._file),
        ]

    # -------------------------------------------------------------- what is answered

    async def _page(self, request: Request) -> Response:
        text, policy = await run_in_threadpool(self.served.page, self.url)
        return _answer(text.encode(), "text/html; charset=utf-8", policy)

    async def _events(self, request: Request) -> Response:
        if request.method == "HEAD":
            return _answer(b"", "text/event-stream", _CLOSED)
        if self._streams.open >= _MOST_STREAMS:
            raise HTTPException(503, "too many windows are open; close one")
        return StreamingResponse(self._streams.listen(), headers=_guards(_CLOSED), media_type="text/event-stream")

    async def _single(self, request: Request) -> Response:
        place = self.served.files.get(request.path_params["name"])
        if place is None:
            raise HTTPException(404, "there is no such page")
        return _answer(place.read_bytes(), _TYPES[place.suffix], _CLOSED)

    async def _file(self, request: Request) -> Response:
        name, path = request.path_params["folder"], request.path_params["path"]
        folder, policy = self.served.folders.get(name, (None, ""))
        place = find_file(folder, path) if folder else None
        content = await run_in_threadpool(_content, place)
        if place is None or content is None:
            raise HTTPException(404, "there is no such file")
        kind = _TYPES.get(place.suffix.lower(), "application/octet-stream")
        # a picture's address identifies its content, so it can be cached; nothing else may be
        return _answer(content, kind, policy, kept=kind == "image/png" and "v" in request.query_params)

    async def _act(self, request: Request) -> Response:
        action = self.served.actions.get(request.path_params["name"])
        if action is None:
            raise HTTPException(404, "nothing can be changed at this address")
        if request.headers.get("content-type") != "application/json":
            raise HTTPException(415, "an action is sent as JSON")
        try:
            words = json.loads(b"".join([part async for part in _parts(request, _LARGEST_ACTION)]))
        except (ValueError, RecursionError):
            raise HTTPException(400, "this is not JSON") from None
        if not isinstance(words, dict):
            raise HTTPException(400, "an action is a JSON object")
        return await _done(action, words)

    async def _receive(self, request: Request) -> Response:
        receive, incoming = self.served.receive, self.served.incoming
        if receive is None or incoming is None:
            raise HTTPException(404, "nothing can be changed at this address")
        if self._uploads >= _MOST_UPLOADS:
            raise HTTPException(503, "other files are still on their way; drop this one again")
        self._uploads += 1
        place = incoming()
        try:
            with place.open("xb") as file:
                async for part in _parts(request, _LARGEST_FILE):
                    file.write(part)
            return await _done(lambda query: receive(query, place), dict(request.query_params))
        except OSError as error:
            raise HTTPException(507, f"the file can't be kept: {error.strerror or error}") from error
        finally:
            self._uploads -= 1
            place.unlink(missing_ok=True)


async def _done(action: Callable[[dict[str, Any]], dict[str, Any]], words: dict[str, Any]) -> Response:
    """Return the answer to an action."""
    try:
        return JSONResponse(await run_in_threadpool(action, words), headers=_guards(_CLOSED))
    except Conflict as conflict:
        return JSONResponse(conflict.facts, 409, headers=_guards(_CLOSED))
    except InputError as error:
        return JSONResponse({"faults": listed(error.faults)}, 422, headers=_guards(_CLOSED))
    except CannotFinish as error:
        return JSONResponse({"faults": [str(error)]}, 422, headers=_guards(_CLOSED))


async def _parts(request: Request, most: int) -> AsyncIterator[bytes]:
    """Return the parts of a request's body, none of them late, in all no more than so many bytes."""
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


def _content(place: Path | None) -> bytes | None:
    try:
        return place.read_bytes() if place else None
    except OSError:  # a build is replacing it, or it is gone
        return None


def _answer(content: bytes, kind: str, policy: str, *, kept: bool = False) -> Response:
    return Response(content, headers=_guards(policy, kept=kept) | {"Content-Type": kind})


def _guards(policy: str, *, kept: bool = False) -> dict[str, str]:
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


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    methods = {"Allow": "GET, HEAD"} if error.status_code == 405 else {}
    return PlainTextResponse(f"{error.detail}\n", error.status_code, headers=_guards(_CLOSED) | methods)


def find_file(folder: Path, name: str) -> Path | None:
    """Return the file of a folder with a given name.

    Parameters
    ----------
    folder : Path
        The folder.
    name : str
        Path in the folder.

    Returns
    -------
    Path or None
        None if there is none, if it is hidden, or if a link leads outside the folder.
    """
    parts = name.split("/")
    if any(not part or part.startswith(".") or set(part) & set("\\:\0") for part in parts):
        return None
    try:
        place = folder.joinpath(*parts).resolve(strict=True)
        # the folder itself mustn't be a link, or its target would choose what is served
        inside = place.is_relative_to(folder.parent.resolve(strict=True) / folder.name)
    except (OSError, RuntimeError):  # a link to itself
        return None
    return place if inside and place.is_file() else None


class _Guard:
    """Refuses whatever doesn't come from the server's own page, before anything else looks at it."""

    def __init__(self, live: LiveServer, app: ASGIApp) -> None:
        self._live, self._app = live, app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            return
        status, why = self._refusal(scope)
        if status:
            refusal = await _refused(Request(scope), HTTPException(status, why))
            await refusal(scope, receive, send)
            return
        scope["path"] = scope["path"].removeprefix(f"/{self._live.token}") or "/"
        scope["raw_path"] = None
        streams = scope["path"] in ("/events", "/drop")
        async with asyncio.timeout(None if streams else _LONGEST_ANSWER_S):
            await self._app(scope, receive, send)

    def _refusal(self, scope: Scope) -> tuple[int, str]:
        """Return the status and the words of a refusal; 0 if there is none."""
        fields, live = Headers(scope=scope), self._live
        changes = scope["method"] not in ("GET", "HEAD")
        if fields.getlist("host") != [f"{LOOPBACK}:{live.port}"]:
            return 403, f"this is {live.origin}; it has no other name"
        # a browser says where a request that changes something comes from
        origins = [{live.origin}] if changes else [{live.origin}, set()]
        if set(fields.getlist("origin")) not in origins:
            return 403, "the request comes from another page; open this address directly"
        if not set(fields.getlist("sec-fetch-site")) <= {"same-origin"} | (set() if changes else {"none"}):
            return 403, "the request comes from another page; open this address directly"
        path = scope["path"]
        token, _, rest = path.removeprefix("/").partition("/")
        if not path.startswith("/") or not secrets.compare_digest(token.encode(), live.token.encode()):
            return 404, "the address is the one that reviewkit printed"
        if any(part in (".", "..") for part in rest.replace("\\", "/").split("/")):
            return 400, "no such path"
        return 0, ""


class _Connection(H11Protocol):
    """A connection that is closed if its request doesn't come, or if others need the room."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._since = self.loop.time()
        self.loop.call_later(_LONGEST_REQUEST_S, self._end_if_silent)
        if len(self.connections) >= _MOST_AT_ONCE:
            silent = [each for each in self.connections if isinstance(each, _Connection) and each.cycle is None]
            if silent:
                min(silent, key=lambda each: each._since).transport.abort()

    def _end_if_silent(self) -> None:
        if self.cycle is None and self.transport is not None:
            self.transport.abort()


def _listen(port: int) -> socket.socket:
    """Return a socket that listens on this machine alone."""
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
