"""The published page in a browser: on a phone, on a desk, on paper, by keyboard, and for those who cannot see it."""

from __future__ import annotations

from itertools import pairwise

import pytest
from browsing import opened

SIZES = [(390, 844), (1280, 800)]


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
    reach = """[...document.querySelectorAll("h1, h2, h3, p, li, img, audio, figure, .scroll, nav")]
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
    stops = wanted + 2 + 10 * seen.locator("audio").count()  # a table that scrolls, and the buttons of a player
    for _ in range(stops):
        seen.keyboard.press("Tab")
        reached.add(seen.evaluate(f"{_BY_KEY}.indexOf(document.activeElement)"))
    assert set(range(wanted)) <= reached


def test_the_sounds_are_there_and_played_by_keyboard(seen, episode):
    names = [f"{sound.title}, {sound.words[side.name]}" for sound in episode.sounds for side in sound.sides]
    assert len(names) >= 2
    players = seen.locator("audio")
    assert [player.get_attribute("aria-label") for player in players.all()] == names
    lengths = [sound.lengths_s[side.name] for sound in episode.sounds for side in sound.sides]
    for player, length_s in zip(players.all(), lengths, strict=True):
        player.evaluate(
            "(player) => new Promise((done) => player.readyState ? done() : (player.onloadedmetadata = done))"
        )
        assert player.evaluate("(player) => player.duration") == pytest.approx(length_s, abs=0.1)
        assert player.evaluate("(player) => player.controls && player.paused && !player.autoplay")
        assert player.bounding_box()["width"] >= 200
    players.first.focus()
    seen.keyboard.press("Space")
    for _ in range(50):  # its policy lets no function wait in the page
        seen.wait_for_timeout(100)
        if players.first.evaluate("(player) => player.currentTime"):
            break
    assert players.first.evaluate("(player) => player.currentTime") > 0
    players.first.evaluate("(player) => player.pause()")


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
