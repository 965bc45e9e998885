from dataclasses import replace

import numpy as np
import pytest

from reviewkit.render.cards.box import Box
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.layout_check import crosses, find_problems
from reviewkit.render.cards.paint import make_measure
from reviewkit.render.cards.scene import Area, Extent, Page, Stroke
from reviewkit.render.cards.shape import SHAPES, SQUARE, TALL, WIDE


def half_an_em(text, size, weight):
    """A stand-in for the renderer with letters half as wide as high."""
    return Extent(len(text) * size * 0.5, size * 0.7, size * 0.2)


@pytest.fixture
def page():
    return Page("made-up", LOOKS["lamplight"], half_an_em, WIDE)


@pytest.fixture
def sound(page):
    """A layout with every kind of shape and nothing wrong."""
    return [
        Stroke("grid", ((96, 290), (1000, 290)), "#333333", 2),
        Area("band", ((96, 250), (1000, 250), (1000, 350), (96, 350)), "#222222"),
        page.text("Title", 96, 120, 60, "#ffffff", weight="bold"),
        page.text("a label", 96, 300, 36, "#ffffff", remedy="shorten it"),
        Stroke("curve", np.array(((96.0, 400.0), (900.0, 420.0), (np.nan, np.nan), (950.0, 410.0))), "#ffffff", 6),
        Stroke("needle", ((1200, 400), (1400, 400)), "#ffffff", 3),
        Area("needle", ((1300, 404), (1312, 430), (1288, 430)), "#ffffff"),
    ]


def one(items):
    found = find_problems(items)
    assert len(found) == 1, found
    return found[0]


def test_a_sound_layout_has_no_problems(sound):
    assert find_problems(sound) == ()


@pytest.mark.parametrize(
    ("x", "baseline"),
    [(90, 500), (1824 - 50, 500), (500, 54 + 20), (500, 1024)],
    ids=["left", "right", "top", "bottom"],
)
def test_text_outside_the_safe_box_is_found(page, sound, x, baseline):
    found = one([*sound, page.text("far", x, baseline, 36, "#ffffff", remedy="shorten it")])
    assert (found.rule, found.text, found.remedy) == ("outside", "far", "shorten it")


def test_a_curve_outside_the_safe_box_is_found(sound):
    stray = Stroke("curve", np.array(((1700.0, 700.0), (np.nan, np.nan), (1850.0, 700.0))), "#ffffff", 6)
    found = one([*sound, stray])
    assert found.rule == "outside"
    assert "curve" in found.message


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_each_shape_has_its_own_safe_box(shape):
    page = Page("made-up", LOOKS["lamplight"], half_an_em, shape)
    safe = shape.safe
    inside = [
        page.text("in", safe.left, safe.top + 40, 40, "#ffffff"),
        page.text("in", safe.left, safe.bottom - 20, 40, "#ffffff"),
    ]
    assert find_problems(inside, shape) == ()
    for x, baseline in ((safe.left - 6, 500), (safe.right - 20, 500), (500, safe.top + 20), (500, safe.bottom)):
        (found,) = find_problems([*inside, page.text("out", x, baseline, 40, "#ffffff")], shape)
        assert (found.rule, found.text) == ("outside", "out")


def test_the_safe_boxes_are_those_that_were_decided():
    # EBU R 95, 5 % graphics safe of 1920 × 1080; margins of 54 px, and in a tall frame the lower part left to the
    # player's buttons (common practice, no source)
    assert WIDE.safe == Box(96, 54, 1824, 1026)
    assert TALL.safe == Box(54, 96, 1026, 1630)
    assert SQUARE.safe == Box(54, 54, 1026, 1026)


def test_the_dial_line_and_a_needle_past_its_scale_may_leave_the_safe_box(sound):
    across = [
        Stroke("dial", ((0.0, 922.0), (1920.0, 922.0)), "#ffffff", 4),
        Stroke("needle", ((1500, 600), (1900, 600)), "#ffffff", 3),
        Area("hunt", ((0.0, 500.0), (90.0, 500.0), (90.0, 700.0)), "#555555"),
    ]
    assert find_problems([*sound, *across]) == ()


def test_texts_that_overlap_are_found(page, sound):
    found = one([*sound, page.text("other", 180, 320, 36, "#ffffff")])
    assert (found.rule, found.text) == ("overlap", "a label")
    assert '"other"' in found.message


def test_text_on_the_name_at_a_curves_end_is_found(page, sound):
    name = page.text("L", 918, 432, 44, "#ffd98a", weight="bold")
    assert find_problems([*sound, name]) == ()
    assert one([*sound, name, page.text("0.02 %", 925, 440, 36, "#ffffff")]).text in ("L", "0.02 %")


def test_a_curve_through_a_text_is_found(page, sound):
    found = one([*sound, Stroke("curve", np.array(((96.0, 600.0), (96.0, 280.0), (400.0, 290.0))), "#ffffff", 6)])
    assert (found.rule, found.text) == ("covered", "a label")
    assert "curve" in found.message


def test_a_curve_that_only_touches_with_its_width_is_found(page, sound):
    box = sound[3].box
    near = Stroke("curve", ((110.0, box.bottom + 4), (400.0, box.bottom + 4)), "#ffffff", 2)
    assert find_problems([*sound, near]) == ()
    wide = Stroke("curve", ((110.0, box.bottom + 4), (400.0, box.bottom + 4)), "#ffffff", 14)
    assert one([*sound, wide]).rule == "covered"


@pytest.mark.parametrize("kind", ["needle", "limit", "leader", "scale", "rule", "mark"])
def test_any_line_through_a_text_is_found(page, sound, kind):
    found = one([*sound, Stroke(kind, ((100, 200), (110, 400)), "#ffffff", 2)])
    assert (found.rule, found.text) == ("covered", "a label")


def test_a_pointer_over_a_text_is_found_even_where_it_hides_it_whole(page, sound):
    around = Area("needle", ((0 + 96, 200), (700, 200), (700, 390), (96, 390)), "#ffffff")
    assert one([*sound, around]).rule == "covered"


def test_a_text_under_the_least_size_is_found(page, sound):
    found = one([*sound, page.text("small print", 500, 500, 35.5, "#ffffff", remedy="shorten it")])
    assert (found.rule, found.text) == ("small", "small print")
    assert "35.5" in found.message


@pytest.mark.parametrize("kind", ["band", "room"])
def test_a_grid_line_and_a_fill_may_lie_under_a_text(page, sound, kind):
    grid, band, _, label, *_ = sound
    assert crosses(np.array(grid.points, dtype=float), label.box)
    fill = replace(band, kind=kind)
    sound = [fill if item is band else item for item in sound]
    assert find_problems(sound) == ()
    for shape in (grid, fill):  # but not over it
        found = one([item for item in sound if item is not shape] + [shape])
        assert (found.rule, found.text) == ("covered", "a label")


@pytest.mark.parametrize("seed", range(4))
def test_crossing_agrees_with_walking_along_the_line(seed):
    """Against the plain way: very many points along each segment, is any of them inside?"""
    rng = np.random.default_rng(seed)
    box = Box(40.0, 40.0, 60.0, 55.0)
    for _ in range(60):
        ends = rng.uniform(0, 100, (2, 2))
        if rng.random() < 0.2:
            ends[1, rng.integers(2)] = ends[0, 0] if rng.random() < 0.5 else ends[1, 0]
        along = ends[0] + np.linspace(0, 1, 20001)[:, None] * (ends[1] - ends[0])
        inside = ((along > (box.left, box.top)) & (along < (box.right, box.bottom))).all(axis=1).any()
        assert crosses(ends, box) == inside


@pytest.mark.parametrize("size", [36.0, 44.0, 92.0, 400.0])
@pytest.mark.parametrize("weight", ["regular", "bold", "black"])
def test_a_text_that_begins_with_a_j_stays_inside(size, weight):
    page = Page("j", LOOKS["lamplight"], make_measure("j"), WIDE)
    page.add(page.text("jitter", WIDE.safe.left, 600.0, size, page.look.ink, weight=weight))
    assert find_problems(page.items, WIDE) == ()
    assert page.items[0].box.left >= WIDE.safe.left - 1.0
