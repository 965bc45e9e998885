import numpy as np
import pytest

from reviewkit.render.cards.layout_check import crosses, find_problems
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.cards.scene import Area, Box, Extent, Page, Stroke


def half_an_em(text, size, bold):
    """A stand-in for the renderer with letters half as wide as high."""
    return Extent(len(text) * size * 0.5, size * 0.7, size * 0.2)


@pytest.fixture
def page():
    return Page("made-up", LOOKS["lamplight"], half_an_em)


@pytest.fixture
def sound(page):
    """A layout with every kind of shape and nothing wrong."""
    return [
        Stroke("grid", ((96, 290), (1000, 290)), "#333333", 2),
        Area("band", ((96, 250), (1000, 250), (1000, 350), (96, 350)), "#222222"),
        page.text("Title", 96, 120, 60, "#ffffff", bold=True),
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


def test_texts_that_overlap_are_found(page, sound):
    found = one([*sound, page.text("other", 180, 320, 36, "#ffffff")])
    assert (found.rule, found.text) == ("overlap", "a label")
    assert '"other"' in found.message


def test_text_on_the_name_at_a_curves_end_is_found(page, sound):
    name = page.text("L", 918, 432, 44, "#ffd98a", bold=True)
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


def test_a_grid_line_and_a_band_may_lie_under_a_text(page, sound):
    grid, band, _, label, *_ = sound
    assert crosses(np.array(grid.points, dtype=float), label.box)
    assert find_problems(sound) == ()
    for shape in (grid, band):  # but not over it
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
