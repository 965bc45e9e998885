"""The published page in a browser: on a phone, on a desk, on paper, by keyboard, and for those who cannot see it."""

from __future__ import annotations

import os
from itertools import pairwise
from pathlib import Path

import pytest
from browsing import opened

_AXE = "node_modules/axe-core/axe.min.js"
SIZES = [(390, 844), (1280, 800)]


@pytest.fixture(scope="session")
def axe(checkout):
    """The accessibility checker axe-core as npm installs it: into .axe/ of the checkout, or as REVIEWKIT_AXE says."""
    for folder in (os.environ.get("REVIEWKIT_AXE"), checkout / ".axe"):
        if folder and (Path(folder) / _AXE).is_file():
            return (Path(folder) / _AXE).read_text(encoding="utf-8")
    pytest.skip("needs axe-core: npm install --prefix .axe --no-save axe-core@4")


@pytest.fixture(scope="module", params=SIZES, ids=lambda size: f"{size[0]} wide")
def seen(request, sample, browser):
    """The page, opened once for each size. What it asks a network for, and what goes wrong in it, is looked at last."""
    width, height = request.param
    with opened(browser, width, height) as page:
        page.goto((sample.out / "episode.html").as_uri())
        yield page


def test_nothing_runs_off_the_side(seen):
    wide = seen.viewport_size["width"]
    assert seen.evaluate("document.documentElement.scrollWidth") <= wide
    reach = """[...document.querySelectorAll("h1, h2, p, li, img, figure, .scroll, nav")]
        .map((element) => element.getBoundingClientRect()).filter((box) => box.left < 0 || box.right > innerWidth + 0.5)
        .length"""
    assert seen.evaluate(reach) == 0
    assert seen.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 16


def test_every_picture_is_there_once_with_its_readings_in_words(seen, episode):
    pictures = seen.evaluate("[...document.images].map((image) => [image.alt, image.naturalWidth, image.complete])")
    assert [alt for alt, _, _ in pictures] != []
    assert sorted(alt for alt, _, _ in pictures) == sorted(still.alt for still in episode.stills)
    assert all(width == 1280 and whole for _, width, whole in pictures)
    for still in episode.stills:
        assert still.hero is None or still.hero.figure in still.alt


def test_headings_go_down_step_by_step_and_lead_to_what_they_name(seen):
    levels = seen.evaluate('[...document.querySelectorAll("h1, h2, h3")].map((heading) => Number(heading.tagName[1]))')
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(deeper <= level + 1 for level, deeper in pairwise(levels))
    links = seen.evaluate('[...document.querySelectorAll("nav a")].map((link) => link.getAttribute("href"))')
    assert len(links) >= 8
    for target in links:
        assert seen.locator(target).count() == 1


_BY_KEY = "[...document.querySelectorAll('a[href], summary, details[open] [tabindex=\"0\"]')]"


def test_the_keyboard_reaches_every_link_and_every_table(seen):
    seen.locator("summary").focus()
    seen.keyboard.press("Enter")
    seen.evaluate("document.activeElement.blur()")
    wanted = seen.evaluate(f"{_BY_KEY}.length")
    assert wanted > 10
    reached = set()
    for _ in range(wanted + 2):  # a table that scrolls is stopped at too
        seen.keyboard.press("Tab")
        reached.add(seen.evaluate(f"{_BY_KEY}.indexOf(document.activeElement)"))
    assert set(range(wanted)) <= reached


def test_no_rule_of_the_accessibility_checker_is_broken(seen, axe):
    """axe-core with all its rules for WCAG 2.x A and AA and best practice."""
    seen.evaluate(axe)
    found = seen.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert [(v["id"], [node["html"][:120] for node in v["nodes"]]) for v in found["violations"]] == []
    assert len(found["passes"]) > 15


def test_a_page_that_is_wrong_is_caught_by_the_checker(page, axe):
    page.set_content("<html><body><img src='data:,'><p style='color:#ccc;background:#fff'>pale</p></body></html>")
    page.evaluate(axe)
    found = page.evaluate("axe.run(document)")
    assert {"image-alt", "color-contrast", "html-has-lang"} <= {v["id"] for v in found["violations"]}


def test_it_prints_on_paper(sample, browser, tmp_path):
    context = browser.new_context()
    page = context.new_page()
    page.goto((sample.out / "episode.html").as_uri())
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.querySelector('nav')).display") == "none"
    page.set_viewport_size({"width": 680, "height": 960})  # A4 within its margins, in CSS pixels
    assert page.evaluate("document.documentElement.scrollWidth") <= 680
    assert page.pdf(format="A4")[:5] == b"%PDF-"
    context.close()


def test_no_script_is_needed(sample, browser):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((sample.out / "episode.html").as_uri())
    assert page.locator("figure img").count() > 10
    assert page.locator("script").count() == 0
    context.close()
