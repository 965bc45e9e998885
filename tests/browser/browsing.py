"""A page in the browser, with nothing beyond it to reach."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

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
    page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    yield page
    context.close()
    assert errors == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "http://127.0.0.1:"))] == []
