"""The plan in a browser: on a phone, a tablet and a desk, with boxes that remember, and on paper."""

from __future__ import annotations

import pytest
from browsing import opened

from reviewkit.build import pipeline
from reviewkit.render.pages import plan_page

pytestmark = pytest.mark.long

SIZES = [(390, 844), (768, 1024), (1280, 800)]
OPEN = "input.box"
TICKED = "[...document.querySelectorAll('input.box')].filter((box) => box.checked).map((box) => box.value)"


@pytest.fixture(scope="module")
def plan_file(checkout, tmp_path_factory):
    prepared = pipeline.prepare(checkout / "sample_session")
    file = tmp_path_factory.mktemp("plan") / "plan.html"
    file.write_bytes(plan_page.render_plan(prepared.plan, prepared.pages)["plan.html"])
    return file


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_nothing_runs_off_the_side_and_every_box_is_seen(page, plan_file, width, height):
    page.set_viewport_size({"width": width, "height": height})
    page.goto(plan_file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    sizes = page.evaluate(
        """[...document.querySelectorAll(".box")].map((box) => box.getBoundingClientRect())
        .map((box) => [box.width, box.height, box.left])"""
    )
    assert len(sizes) > 40
    assert all(w >= 24 and h >= 24 and left >= 0 for w, h, left in sizes)  # WCAG 2.2 SC 2.5.8, from memory


def test_a_finger_ticks_boxes_and_the_tablet_remembers_them(browser, plan_file):
    context = browser.new_context(viewport={"width": 768, "height": 1024}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(plan_file.as_uri())
    assert page.evaluate(TICKED) == []
    assert page.locator("#kept").is_visible()
    page.tap("input.box >> nth=0")
    page.tap("label >> text=serial number")  # the words too
    page.tap("input.box >> nth=5")
    page.tap("input.box >> nth=5")
    ticked = page.evaluate(TICKED)
    assert len(ticked) == 2
    page.reload()
    assert page.evaluate(TICKED) == ticked
    # another plan has boxes of its own, and what a new build words in the same way keeps its tick
    other = plan_file.with_name("other.html")
    other.write_text(plan_file.read_text(encoding="utf-8"), encoding="utf-8")
    page.goto(other.as_uri())
    assert page.evaluate(TICKED) == []
    page.goto(plan_file.as_uri())
    for _ in range(20):  # a browser hands storage on to a page's next process when it gets to it
        if page.evaluate(TICKED) != ticked:
            page.wait_for_timeout(250)
            page.reload()
    assert page.evaluate(TICKED) == ticked
    box = page.locator("label.line").first.bounding_box()
    assert box["height"] >= 44  # WCAG 2.2 SC 2.5.5, from memory
    context.close()


def test_what_the_session_has_ticked_cannot_be_unticked(page, plan_file):
    page.goto(plan_file.as_uri())
    done = page.locator(".box.done")
    assert done.count() > 15
    assert page.locator("input.done").count() == 0
    page.click("label >> text=Each supply rail")
    assert page.evaluate(TICKED) == []
    assert "Ticked by the session's readings and verdicts: " in page.locator("header").inner_text()


@pytest.mark.parametrize("broken", ["[1", '{"a": 1}', '"x"', "null"])
def test_whatever_is_stored_the_boxes_work(page, plan_file, broken):
    page.goto(plan_file.as_uri())
    page.evaluate("broken => localStorage.setItem(key, broken)", broken)
    page.reload()
    assert page.evaluate(TICKED) == []
    page.check("input.box >> nth=0")
    assert len(page.evaluate(TICKED)) == 1


def test_without_scripts_and_without_storage_boxes_can_be_ticked(browser, plan_file):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(plan_file.as_uri())
    page.check("input.box >> nth=0")
    assert page.locator("input.box:checked").count() == 1
    assert not page.locator("#kept").is_visible()
    context.close()
    with opened(browser, 768, 1024) as page:
        page.add_init_script("Object.defineProperty(window, 'localStorage', {get() { throw new Error('no'); }})")
        page.goto(plan_file.as_uri())
        page.check("input.box >> nth=0")
        assert len(page.evaluate(TICKED)) == 1
        assert not page.locator("#kept").is_visible()


def test_the_keyboard_alone_is_enough(page, plan_file):
    page.goto(plan_file.as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement === document.querySelector('input.box')")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"
    page.keyboard.press(" ")
    assert len(page.evaluate(TICKED)) == 1


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_no_rule_of_the_accessibility_checker_is_broken(page, plan_file, axe, width, height):
    page.set_viewport_size({"width": width, "height": height})
    page.goto(plan_file.as_uri())
    page.check("input.box >> nth=0")
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert [(v["id"], [node["html"][:120] for node in v["nodes"]]) for v in found["violations"]] == []
    assert len(found["passes"]) > 15


def test_on_paper_no_line_is_parted_from_its_box(page, plan_file):
    page.goto(plan_file.as_uri())
    page.check("input.box >> nth=0")
    page.emulate_media(media="print")
    parted = """[...document.querySelectorAll("ul.boxes > li")]
        .filter((line) => getComputedStyle(line).breakInside !== "avoid").length"""
    assert page.evaluate(parted) == 0
    for box in ("input.box:checked", "input.box:not(:checked)", ".box.done"):
        ink = f'getComputedStyle(document.querySelector("{box}")).borderTopWidth'
        assert float(page.evaluate(ink).removesuffix("px")) >= 1.5  # drawn, not painted: printers leave grounds out
    tick = 'getComputedStyle(document.querySelector("input.box:checked"), "::after").borderBottomWidth'
    assert page.evaluate(tick) == "3px"
    assert not page.locator("#kept").is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.pdf(format="A4").startswith(b"%PDF")
