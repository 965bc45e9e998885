"""The desk's server: its page, its actions and the files of two folders, for this machine's own browser alone."""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.parse import urlunsplit

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from reviewkit.commands.desk.guard import (
    CLOSED,
    LOOPBACK,
    Connection,
    Guard,
    guards,
    listen,
    parts_of,
    refused,
)
from reviewkit.commands.desk.inputs import Conflict
from reviewkit.commands.desk.streams import Streams
from reviewkit.model.errors import CannotFinish, InputError, listed

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
_MOST_STREAMS = 12  # event streams: a page that isn't in front closes its own
_MOST_UPLOADS = 4
_LARGEST_ACTION = 200_000  # bytes of the words of an action
_LARGEST_FILE = 1_000_000_000  # bytes of a dropped file, as of any export


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
    aside
        The folder where that file is until then.
    """

    page: Callable[[str], tuple[str, str]]
    folders: Mapping[str, tuple[Path, str]] = field(default_factory=dict)
    files: Mapping[str, Path] = field(default_factory=dict)
    actions: Mapping[str, Callable[[dict[str, Any]], dict[str, Any]]] = field(default_factory=dict)
    receive: Callable[[dict[str, str], Path], dict[str, Any]] | None = None
    aside: Path | None = None


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
        self._socket = listen(port)
        self.port: int = self._socket.getsockname()[1]
        app = Starlette(routes=self._routes(), exception_handlers={HTTPException: refused})
        config = uvicorn.Config(
            Guard(self.origin, self.token, app),
            http=Connection,
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
            return _answer(b"", "text/event-stream", CLOSED)
        if self._streams.open >= _MOST_STREAMS:
            raise HTTPException(503, "too many windows are open; close one")
        return StreamingResponse(self._streams.listen(), headers=guards(CLOSED), media_type="text/event-stream")

    async def _single(self, request: Request) -> Response:
        place = self.served.files.get(request.path_params["name"])
        if place is None:
            raise HTTPException(404, "there is no such page")
        return _answer(place.read_bytes(), _TYPES[place.suffix], CLOSED)

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
            words = json.loads(b"".join([part async for part in parts_of(request, _LARGEST_ACTION)]))
        except (ValueError, RecursionError):
            raise HTTPException(400, "this is not JSON") from None
        if not isinstance(words, dict):
            raise HTTPException(400, "an action is a JSON object")
        return await _done(action, words)

    async def _receive(self, request: Request) -> Response:
        receive, aside = self.served.receive, self.served.aside
        if receive is None or aside is None:
            raise HTTPException(404, "nothing can be changed at this address")
        if self._uploads >= _MOST_UPLOADS:
            raise HTTPException(503, "other files are still on their way; drop this one again")
        self._uploads += 1
        place = aside / f"dropped-{secrets.token_hex(8)}"
        try:
            with place.open("xb") as file:
                async for part in parts_of(request, _LARGEST_FILE):
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
        return JSONResponse(await run_in_threadpool(action, words), headers=guards(CLOSED))
    except Conflict as conflict:
        return JSONResponse(conflict.facts, 409, headers=guards(CLOSED))
    except InputError as error:
        return JSONResponse({"faults": listed(error.faults)}, 422, headers=guards(CLOSED))
    except CannotFinish as error:
        return JSONResponse({"faults": [str(error)]}, 422, headers=guards(CLOSED))


def _content(place: Path | None) -> bytes | None:
    try:
        return place.read_bytes() if place else None
    except OSError:  # a build is replacing it, or it is gone
        return None


def _answer(content: bytes, kind: str, policy: str, *, kept: bool = False) -> Response:
    return Response(content, headers=guards(policy, kept=kept) | {"Content-Type": kind})


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
