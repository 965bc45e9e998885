"""The live server: one page with its event stream, and the files of one folder, over HTTP to this machine alone."""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from socketserver import TCPServer
from threading import Condition, Lock, Thread
from typing import Any
from urllib.parse import unquote, urlunsplit

from reviewkit.model.errors import CannotFinish

LOOPBACK = "127.0.0.1"
FILES = "/out/"
EVENTS = "/events"
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".png": "image/png",
    ".md": "text/plain; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
    ".csv": "text/plain; charset=utf-8",
    ".vtt": "text/vtt; charset=utf-8",
    ".json": "application/json",
    ".mp4": "video/mp4",
}
_STILL_THERE_S = 10.0  # interval of empty events, by which a listener that is gone is noticed
_LONGEST_REQUEST_S = 20.0  # from the first byte of a request to its last, and between two bytes of an answer
_MOST_AT_ONCE = 100  # connections; a browser opens six
_NO_METHOD = "only GET and HEAD are answered here"


class LiveServer:
    """A server that runs within a `with` block.

    A request that names another host is refused: otherwise a foreign site could point its own name at this machine and
    read the pages through the user's browser.

    Parameters
    ----------
    folder : Path
        The files to serve.
    page : str
        The page.
    policy : str
        Content security policy of the page.
    files_policy : str
        Content security policy of the folder's pages.
    port : int
        0 for any free port.

    Raises
    ------
    CannotFinish
        If the port isn't available.
    """

    def __init__(self, folder: Path, page: str, policy: str, files_policy: str, port: int = 0) -> None:
        self.folder, self.files_policy = folder, files_policy
        self._news = Condition()
        self._page, self._policy = page.encode(), policy
        self._event: tuple[int, bytes] = (0, b"")
        self._closing = False
        try:
            self._server = _Server((LOOPBACK, port), _Request)
        except OSError as error:
            raise CannotFinish(
                f"port {port}: {error.strerror or error}; leave --port out to take a free one"
            ) from error
        self._server.live = self
        self.port: int = self._server.server_address[1]
        self._thread = Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)

    def __enter__(self) -> LiveServer:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        with self._news:
            self._closing = True
            self._news.notify_all()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    @property
    def url(self) -> str:
        """Return the address of the page."""
        return urlunsplit(("http", f"{LOOPBACK}:{self.port}", "/", "", ""))

    def show(self, page: str, policy: str, event: Mapping[str, Any]) -> None:
        """Replace the page and its policy, and send an event to every listener."""
        data = json.dumps(event, ensure_ascii=True).encode()
        with self._news:
            self._page, self._policy = page.encode(), policy
            self._event = (self._event[0] + 1, data)
            self._news.notify_all()

    def page(self) -> tuple[bytes, str]:
        """Return the current page and its policy."""
        with self._news:
            return self._page, self._policy

    def next_event(self, after: int) -> tuple[int, bytes] | None:
        """Wait for an event after a number and return the latest.

        Parameters
        ----------
        after : int
            Number of the last event seen.

        Returns
        -------
        tuple of (int, bytes) or None
            Number and data; the data is empty if there was nothing for a while; None when the server closes.
        """
        with self._news:
            self._news.wait_for(lambda: self._closing or self._event[0] > after, _STILL_THERE_S)
            if self._closing:
                return None
            return self._event if self._event[0] > after else (after, b"")

    def file(self, name: str) -> Path | None:
        """Return the file of the folder with a given name.

        Parameters
        ----------
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
            found = self.folder.joinpath(*parts).resolve(strict=True)
            # the folder itself mustn't be a link, or its target would choose what is served
            inside = found.is_relative_to(self.folder.parent.resolve(strict=True) / self.folder.name)
        except (OSError, RuntimeError):  # a link to itself
            return None
        return found if inside and found.is_file() else None

    def is_named(self, hosts: list[str]) -> bool:
        """Tell whether a request's Host fields name this server and no other."""
        return len(hosts) == 1 and hosts[0].strip() == f"{LOOPBACK}:{self.port}"

    def is_own(self, origins: list[str], sites: list[str]) -> bool:
        """Tell whether, by its headers, a request comes from this server's own page or from no page at all."""
        return set(origins) <= {self.url.removesuffix("/")} and set(sites) <= {"same-origin", "none"}


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    allow_reuse_address = os.name != "nt"  # on Windows it would let another program take the port
    block_on_close = False  # a browser that keeps its stream open mustn't keep the program running
    live: LiveServer

    def __init__(self, *arguments: Any) -> None:
        self._lock = Lock()
        self._since: dict[Any, float] = {}  # connections whose request isn't complete yet
        self._open = 0
        super().__init__(*arguments)

    def verify_request(self, request: Any, client_address: Any) -> bool:
        """Tell whether there is room for another connection."""
        with self._lock:
            if self._open >= _MOST_AT_ONCE:
                return False
            self._open += 1
            self._since[request] = time.monotonic()
        return True

    def is_whole(self, request: Any) -> None:
        """Note that a connection's request has arrived in full."""
        with self._lock:
            self._since.pop(request, None)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Answer one connection."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self.is_whole(request)
            with self._lock:
                self._open -= 1

    def service_actions(self) -> None:
        """Close connections whose request takes too long, such as one that trickles in byte by byte."""
        with self._lock:
            late = [one for one, since in self._since.items() if time.monotonic() - since > _LONGEST_REQUEST_S]
        for request in late:
            with suppress(OSError):
                request.shutdown(socket.SHUT_RDWR)

    def server_bind(self) -> None:
        TCPServer.server_bind(self)  # not HTTPServer's, which looks up this machine's name on the network
        self.server_name, self.server_port = LOOPBACK, int(self.server_address[1])

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Ignore browsers that close a connection; pass on any other error."""
        if not isinstance(sys.exc_info()[1], (ConnectionError, TimeoutError)):
            super().handle_error(request, client_address)


class _Request(BaseHTTPRequestHandler):
    server: _Server
    server_version = "reviewkit"
    sys_version = ""
    path = command = ""  # of a request that can't be parsed
    timeout = _LONGEST_REQUEST_S

    def do_GET(self) -> None:
        """Answer with the page, the event stream or a file of the folder."""
        live = self.server.live
        self.server.is_whole(self.request)
        if not live.is_named(self.headers.get_all("Host", [])):
            self._refuse(HTTPStatus.FORBIDDEN, f"this is {live.url} and goes by no other name")
            return
        if not live.is_own(self.headers.get_all("Origin", []), self.headers.get_all("Sec-Fetch-Site", [])):
            self._refuse(HTTPStatus.FORBIDDEN, f"another page asks; open {live.url} by itself")
            return
        path = self._path()
        if path is None:
            self._refuse(HTTPStatus.BAD_REQUEST, "no such path")
        elif path == "/":
            self._answer("text/html; charset=utf-8", *live.page())
        elif path == EVENTS:
            self._events()
        else:
            self._file(live.file(path.removeprefix(FILES)) if path.startswith(FILES) else None)

    do_HEAD = do_GET

    def _no_method(self) -> None:
        self._refuse(HTTPStatus.METHOD_NOT_ALLOWED, _NO_METHOD)

    do_POST = do_PUT = do_DELETE = do_PATCH = do_OPTIONS = do_TRACE = do_CONNECT = _no_method

    def _path(self) -> str | None:
        """Return the requested path, decoded; None if it is invalid or leads upwards."""
        raw = self.path.split("?", 1)[0].split("#", 1)[0]
        try:
            path = unquote(raw, errors="strict")
        except UnicodeDecodeError:
            return None
        climbs = any(part in (".", "..") for part in unquote(path, errors="replace").replace("\\", "/").split("/"))
        return path if path.startswith("/") and not climbs else None

    def _file(self, place: Path | None) -> None:
        content = None
        if place is not None:
            with suppress(OSError):  # a build is replacing it, or it is gone
                content = place.read_bytes()
        if place is None or content is None:
            self._refuse(HTTPStatus.NOT_FOUND, "there is no such file in out/")
            return
        kind = _TYPES.get(place.suffix.lower(), "application/octet-stream")
        self._answer(kind, content, self.server.live.files_policy)

    def _answer(self, kind: str, content: bytes, policy: str, status: HTTPStatus = HTTPStatus.OK) -> None:
        # a picture's address identifies its content, so it can be cached; nothing else may be
        kept = kind == "image/png" and "?v=" in self.path
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Cache-Control", "private, max-age=86400, immutable" if kept else "no-store")
        self._guards(policy)
        if self.command != "HEAD":
            self.wfile.write(content)

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Refuse an invalid request in the same way as any other."""
        self._refuse(HTTPStatus(code), "this request is not answered here")

    def _refuse(self, status: HTTPStatus, why: str) -> None:
        self.close_connection = True
        self._answer("text/plain; charset=utf-8", f"{why}\n".encode(), "default-src 'none'", status)

    def _guards(self, policy: str) -> None:
        self.send_header(
            "Content-Security-Policy", f"{policy}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )
        self.send_header("Cross-Origin-Resource-Policy", "same-origin")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        if self.command not in ("GET", "HEAD"):
            self.send_header("Allow", "GET, HEAD")
        self.end_headers()

    def _events(self) -> None:
        """Send the latest event immediately, then each as it happens."""
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", "text/event-stream")
        self.send_header("Cache-Control", "no-store")
        self._guards("default-src 'none'")
        number = 0
        while self.command == "GET" and (event := self.server.live.next_event(number)) is not None:
            number, data = event
            self.wfile.write(b"data: " + data + b"\n\n" if data else b": still here\n\n")
            self.wfile.flush()

    def log_message(self, format: str, *args: Any) -> None:
        """Ignore single requests."""
