"""A page in the browser, with nothing beyond it to reach; a session that is watched meanwhile."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Queue
from threading import Event, Thread
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@contextmanager
def opened(browser: Browser, width: int, height: int) -> Iterator[Page]:
    """A page of this size. Whatever it asks a network for fails at the end, and so does whatever goes wrong in it."""
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    # what a server refuses, a page has to explain: only the browser's log calls it an error
    refused = re.compile(r"Failed to load resource: the server responded with a status of 4\d\d")
    page.on(
        "console",
        lambda said: errors.append(said.text) if said.type == "error" and not refused.match(said.text) else None,
    )
    yield page
    context.close()
    assert errors == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "http://127.0.0.1:"))] == []


def wait_until(page: Page, condition: str, arg: object = None, seconds: float = 30.0) -> None:
    """Wait until a JavaScript function of `arg` returns something true.

    Page.wait_for_function does the same inside the page, where a policy may forbid it (seen with playwright 1.48).
    """
    end = time.monotonic() + seconds
    while not page.evaluate(condition, arg):
        assert time.monotonic() < end, condition
        page.wait_for_timeout(20)


class Watched:
    """A session that is being watched by a thread of this process, once it was built."""

    def __init__(self, folder: Path, *, editing: bool = False, cache: Any = None) -> None:
        from reviewkit.build.cache import NO_CACHE
        from reviewkit.build.pool import ALONE
        from reviewkit.commands.desk.desk import open_desk

        self.folder = folder
        self.reports: Queue[Any] = Queue()
        self._opened: Queue[str] = Queue()
        self._stop = Event()
        given = {"editing": editing, "opened": self._opened.put, "report": self.reports.put, "stop": self._stop}
        self._thread = Thread(target=open_desk, args=(folder, ALONE, cache or NO_CACHE), kwargs=given)
        self._thread.start()
        self.address = self._opened.get(timeout=30)
        self.first = self.reports.get(timeout=120)

    def save(self, name: str, text: str) -> None:
        beside = self.folder / ".beside"
        beside.write_text(text, encoding="utf-8")
        os.replace(beside, self.folder / name)  # noqa: PTH105

    def end(self) -> None:
        self._stop.set()
        self._thread.join(timeout=30)
        assert not self._thread.is_alive()
