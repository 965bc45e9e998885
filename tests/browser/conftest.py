"""A real headless browser for the pages. Where there is none, these tests are skipped and say why."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from browsing import opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

_AXE = "node_modules/axe-core/axe.min.js"
_NAMES = ("chromium", "chromium-browser")
_FLAGS = (
    "--no-sandbox",  # a test may run as root, in a container of its own
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A browser without a window. The system package `chromium` brings one."""
    playwright = pytest.importorskip("playwright.sync_api", reason="needs playwright: pip install -e '.[test]'")
    found = next(filter(None, map(shutil.which, _NAMES)), None)
    if found is None:
        pytest.skip(f"needs a browser: none of {', '.join(_NAMES)} is on PATH; install the system package chromium")
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=found, args=list(_FLAGS))
        yield running
        running.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page 1280 × 720."""
    with opened(browser, 1280, 720) as page:
        yield page


@pytest.fixture(scope="session")
def axe(checkout: Path) -> str:
    """The accessibility checker axe-core as npm installs it: into .axe/ of the checkout, or as REVIEWKIT_AXE says."""
    for folder in (os.environ.get("REVIEWKIT_AXE"), checkout / ".axe"):
        if folder and (Path(folder) / _AXE).is_file():
            return (Path(folder) / _AXE).read_text(encoding="utf-8")
    pytest.skip("needs axe-core: npm install --prefix .axe --no-save axe-core@4")
