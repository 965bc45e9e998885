"""The plan in a browser: on a phone, on a desk, and on paper with a box for every line."""

from __future__ import annotations

import pytest

from reviewkit.build import pipeline
from reviewkit.render.pages import plan_page

SIZES = [(390, 844), (1280, 800)]


@pytest.fixture(scope="module")
def plan_file(checkout, tmp_path_factory):
    prepared = pipeline.prepare(checkout / "sample_session")
    file = tmp_path_factory.mktemp("plan") / "plan.html"
    file.write_bytes(plan_page.render_plan(prepared.plan, prepared.pages)["plan.html"])
    return file


@pytest.mark.parametrize(("width", "height"), SIZES, ids=lambda size: str(size))
def test_nothing_runs_off_the_side_and_every_box_is_seen(page, plan_file, width, height):
    page.set_viewport_size({"width": width, "height": height})
    page.goto(plan_file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    sizes = page.evaluate(
        """[...document.querySelectorAll(".box")].map((box) => box.getBoundingClientRect())
        .map((box) => [box.width, box.height, box.left])"""
    )
    assert len(sizes) > 40
    assert all(w >= 14 and h >= 14 and left >= 0 for w, h, left in sizes)


def test_on_paper_no_line_is_parted_from_its_box(page, plan_file):
    page.goto(plan_file.as_uri())
    page.emulate_media(media="print")
    parted = """[...document.querySelectorAll("ul.boxes > li")]
        .filter((line) => getComputedStyle(line).breakInside !== "avoid").length"""
    assert page.evaluate(parted) == 0
    ink = 'getComputedStyle(document.querySelector(".box:not(.done)")).borderTopWidth'
    assert float(page.evaluate(ink).removesuffix("px")) >= 1.5  # drawn, not painted: printers leave grounds out
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.pdf(format="A4").startswith(b"%PDF")
