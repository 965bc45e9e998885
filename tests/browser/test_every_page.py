"""Every page a build, a plan and the desk make opens without an error, fits a phone and a desk, and is accessible.

What each page does, and that each is accessible at every size, is tried in the other files here, which take long.
"""

from __future__ import annotations

import shutil

import pytest
from browsing import Watched, opened

from reviewkit.render.pages import plan_page

PHONE, DESK = (390, 844), (1280, 720)
PAGES = ["episode.html", "prompter.html", "spec-table.html", "plan.html"]


@pytest.fixture(scope="module")
def folder(sample, prepared, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    for name in PAGES[:-1]:
        shutil.copy(sample.out / name, folder / name)
    (folder / "plan.html").write_bytes(plan_page.render_plan(prepared.plan, prepared.pages)["plan.html"])
    return folder


def broken_rules(page, axe):
    """Each rule of axe-core's that the page breaks, WCAG 2.x A and AA and best practice, with where."""
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert len(found["passes"]) > 8
    return [(rule["id"], [node["html"][:120] for node in rule["nodes"]]) for rule in found["violations"]]


@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_fits_and_is_accessible(browser, folder, axe, name):
    with opened(browser, *DESK) as page:
        page.goto((folder / name).as_uri())
        for width, height in (DESK, PHONE):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
        assert broken_rules(page, axe) == []


def test_the_desk_opens_fits_and_is_accessible(browser, tmp_path, axe):
    for library in ("watchfiles", "starlette"):
        pytest.importorskip(library, reason=f"needs {library}: pip install -e '.[test]'")
    (tmp_path / "measurements").mkdir()
    (tmp_path / "session.toml").write_text('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n', encoding="utf-8")
    desk = Watched(tmp_path, editing=True)
    try:
        with opened(browser, 768, 1024) as page:
            for screen in ("files", "ratings", "bench", "cards"):
                page.goto("about:blank")
                page.goto(f"{desk.address}#{screen}")
                page.wait_for_selector(f"#{screen}:not([hidden])")
                assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), screen
                if screen in ("files", "bench"):
                    assert broken_rules(page, axe) == [], screen
    finally:
        desk.end()
