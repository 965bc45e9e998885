"""One fault put into a card that is sound, for each rule of the layout check: each is found, and nothing else is.

Below that, what is painted, looked at pixel by pixel: the check must say the same.
"""

import random
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from accuracy import grid
from card_samples import SAMPLES, UNIT, shapes, texts
from matplotlib import get_data_path

from reviewkit.render.cards.box import Box
from reviewkit.render.cards.card import LayoutFault, lay_out, lay_out_in_roles
from reviewkit.render.cards.colour_check import find_colour_problems
from reviewkit.render.cards.colours import LOOKS, with_colours
from reviewkit.render.cards.layout_check import TOLERANCE, find_problems
from reviewkit.render.cards.paint import NO_FONTS, make_measure, paint
from reviewkit.render.cards.pictures import Order, draw_pictures
from reviewkit.render.cards.roles import apply_look
from reviewkit.render.cards.scene import Area, Page, Stroke, Text
from reviewkit.render.cards.shape import SHAPES, WIDE
from reviewkit.render.footage.overlay import composite_over_footage, footage_look

LOOK = LOOKS["lamplight"]
EVERY = tuple(product(SAMPLES, SHAPES))


def text_of(items, start):
    return next(text for text in texts(items) if text.text.startswith(start))


def moved(items, text, x=0.0, y=0.0):
    """The same items with one text elsewhere, drawn last."""
    box = Box(text.box.left + x, text.box.top + y, text.box.right + x, text.box.bottom + y)
    there = replace(text, x=text.x + x, baseline=text.baseline + y, box=box)
    return [*(item for item in items if item is not text), there]


def onto(items, start, x, y):
    """The same items with the middle of one text at a point."""
    text = text_of(items, start)
    box = text.box
    return moved(items, text, x - (box.left + box.right) / 2, y - (box.top + box.bottom) / 2)


def recoloured(items, pick, colour):
    return [replace(item, colour=colour) if pick(item) else item for item in items]


def middle(text):
    return (text.box.left + text.box.right) / 2, (text.box.top + text.box.bottom) / 2


def middle_of(line):
    return line.points[len(line.points) // 2]


def wedge_over(text):
    x, y = middle(text)
    return Area("needle", ((x, y - 60), (x + 18, y + 60), (x - 18, y + 60)), LOOK.status("meets"))


def curve_of(items, channel="L", role="now"):
    return next(line for line in shapes(items, "curve") if line.colour == LOOK.curve(channel, role))


GEOMETRY = {
    "a text left of the safe box": (lambda i: moved(i, text_of(i, "As flat"), x=-20), "outside"),
    "a text over the safe box": (lambda i: moved(i, text_of(i, UNIT), y=-40), "outside"),
    "a curve right of the safe box": (
        lambda i: [*i, Stroke("curve", np.array(((1900.0, 500.0), (1910.0, 500.0))), LOOK.left, 6)],
        "outside",
    ),
    "two texts over each other": (lambda i: onto(i, "by 0.07", *middle(text_of(i, "short"))), "overlap"),
    "a number on the title": (lambda i: onto(i, "−1", *middle(text_of(i, "As flat"))), "overlap"),
    "a text on a curve": (lambda i: onto(i, "−1", *middle_of(curve_of(i, "R"))), "covered"),
    "a needle over a text": (
        lambda i: [*i, Stroke("needle", (middle(text_of(i, "falls")), middle(text_of(i, "short"))), LOOK.soft, 2)],
        "covered",
    ),
    "a wedge over a text": (lambda i: [*i, wedge_over(text_of(i, "−1"))], "covered"),
    "a band over a text": (
        lambda i: [*i, Area("band", ((97, 60), (400, 60), (400, 130), (97, 130)), LOOK.band)],
        "covered",
    ),
    "a text under the least size": (
        lambda i: [replace(item, size=35.0) if item is text_of(i, "20k") else item for item in i],
        "small",
    ),
}


@pytest.mark.parametrize("name", GEOMETRY)
def test_each_fault_of_place_is_found(name):
    items = lay_out(SAMPLES["response"], "lamplight")
    assert find_problems(items) == ()
    change, rule = GEOMETRY[name]
    assert {found.rule for found in find_problems(change(items))} == {rule}


# ------------------------------------------------------------------ colours


def is_text(item):
    return isinstance(item, Text)


def is_curve(item):
    return getattr(item, "kind", "") == "curve"


COLOURS = {
    # each of these shades misses its limit and meets the next lower one
    "ink under 7": ("response", lambda i: i, {"ink": "#8b8b8b"}, "contrast"),
    "a soft text under 4.5": ("response", lambda i: i, {"soft": "#757575"}, "contrast"),
    "a status under 4.5": ("response", lambda i: i, {"falls_short": "#757575"}, "contrast"),
    "a text in a colour that is none of the look's": (
        "response",
        lambda i: recoloured(i, lambda item: is_text(item) and item.text == "by 0.07 dB", "#747474"),
        {},
        "contrast",
    ),
    "a curve under 3": ("response", lambda i: recoloured(i, is_curve, "#555555"), {}, "contrast"),
    "a limit under 3": (
        "response",
        lambda i: recoloured(i, lambda item: getattr(item, "kind", "") == "limit", "#555555"),
        {},
        "contrast",
    ),
    "a curve under 3 on the band alone": ("response", lambda i: recoloured(i, is_curve, "#60666b"), {}, "contrast"),
    "a ghost under 3 on the room alone": (
        "pair",
        lambda i: recoloured(i, lambda item: is_curve(item) and item.part == "ghost", "#63696e"),
        {},
        "contrast",
    ),
    "a text under 4.5 on the band alone": (
        "response",
        lambda i: recoloured(
            onto(i, "rated ±0.5", 900, 700), lambda item: is_text(item) and item.baseline > 650, "#7d7d7d"
        ),
        {},
        "contrast",
    ),
    "a text under 4.5 on the room alone": (
        "found",
        lambda i: recoloured(i, lambda item: is_text(item) and item.part == "reading", "#7d7d7d"),
        {},
        "contrast",
    ),
    "left and right as light as each other": (
        "response",
        lambda i: i,
        {"right": "#8fb8ff", "left": "#d8a878"},
        "channels",
    ),
    "left and right one for a protan eye": (
        "response",
        lambda i: i,
        {"left": "#ff9090", "right": "#8a8f5a"},
        "channels",
    ),
    "left and right one for everybody": ("response", lambda i: i, {"right": "#ffd98b"}, "channels"),
    "left dashed": (
        "response",
        lambda i: [replace(item, dash=(30, 10)) if item is curve_of(i, "L") else item for item in i],
        {},
        "channels",
    ),
    "right not dashed": (
        "response",
        lambda i: [replace(item, dash=None) if item is curve_of(i, "R") else item for item in i],
        {},
        "channels",
    ),
}


@pytest.mark.parametrize("name", COLOURS)
def test_each_fault_of_colour_is_found(name):
    sample, change, colours, rule = COLOURS[name]
    look = with_colours(LOOK, colours)
    roles = lay_out_in_roles(SAMPLES[sample], NO_FONTS, WIDE)
    assert find_colour_problems(apply_look(roles, LOOK), LOOK) == ()
    found = find_colour_problems(change(apply_look(roles, look)), look)
    assert {problem.rule for problem in found} == {rule}
    assert all(problem.message and problem.remedy for problem in found)


def test_a_text_on_an_area_answers_for_that_and_not_for_the_ground():
    page = Page("made-up", LOOK, make_measure("made-up"), WIDE)
    dark = page.text("dark on light", 300, 400, 40, "#222222")
    plate = Area("curve", ((280, 340), (900, 340), (900, 440), (280, 440)), LOOK.left)
    assert find_colour_problems([plate, dark], LOOK) == ()
    assert [found.text for found in find_colour_problems([dark, plate], LOOK)] == ["dark on light"]


@pytest.mark.parametrize(("name", "shape", "look"), grid(EVERY, [*LOOKS.values()]))
def test_every_sample_can_be_seen_also_over_footage(name, shape, look):
    roles = lay_out_in_roles(SAMPLES[name], NO_FONTS, SHAPES[shape])
    assert find_colour_problems(apply_look(roles, look), look) == ()
    clear = footage_look(look)
    assert find_colour_problems(apply_look(roles, clear), clear, composite_over_footage(look)) == ()


def test_a_build_stops_with_card_text_and_remedy():
    weak = with_colours(LOOK, {"soft": "#757575"})
    with pytest.raises(LayoutFault) as raised:
        draw_pictures(SAMPLES["table"], Order(weak))
    fault = raised.value
    assert (fault.card_id, fault.text, fault.remedy) == ("table", "Norrvale Forty", "write another soft = … in [look]")
    assert fault.problem.startswith("in #757575 on #15191e has a contrast of 3.")


# ------------------------------------------------------------------ pixel by pixel


HALF = 0.25  # of full ink: less is the edge of a letter


def ink(items, first, rows, shape=WIDE, scale=2 / 3, fonts=NO_FONTS):
    """How much ink items leave on a clear canvas, 0 … 1, in some rows of the picture; shape (rows, width)."""
    width = round(shape.width * scale)
    return paint(items, np.zeros((rows, width, 4), dtype=np.uint8), width, fonts, first, shape)[..., 3] / 255


@pytest.mark.parametrize(("name", "shape"), EVERY)
def test_no_ink_leaves_the_safe_box_or_is_shared(name, shape):
    """Each text painted alone: none of its ink is outside, in another text's, or in a line's."""
    items = lay_out(SAMPLES[name], "lamplight", SHAPES[shape])
    assert find_problems(items, SHAPES[shape]) == ()
    assert shared_ink(items, SHAPES[shape]) == []


def test_ink_that_is_shared_would_be_seen():
    items = lay_out(SAMPLES["response"], "lamplight")
    for name in ("two texts over each other", "a text on a curve", "a text left of the safe box"):
        assert shared_ink(GEOMETRY[name][0](items), WIDE)


def shared_ink(items, shape):
    scale = 2 / 3
    high = round(shape.height * scale)
    lines = [i for i in items if not isinstance(i, Text) and i.kind not in ("grid", "band", "room")]
    taken = ink(lines, 0, high, shape) > HALF
    safe = shape.safe.grown(TOLERANCE + 1 / scale, TOLERANCE + 1 / scale)
    found = []
    for text in texts(items):
        first = max(int((text.box.top - 20) * scale), 0)
        rows = min(int((text.box.bottom + 20) * scale), high) - first
        own = ink([text], first, rows, shape)
        y, x = np.nonzero(own > 0)
        assert len(x)
        left, top, right, bottom = x.min(), y.min() + first, x.max() + 1, y.max() + 1 + first
        if (
            left < safe.left * scale
            or top < safe.top * scale
            or right > safe.right * scale
            or bottom > safe.bottom * scale
        ):
            found.append(f"{text.text} is outside")
        if (taken[first : first + rows] & (own > HALF)).any():
            found.append(f"{text.text} is not alone")
        taken[first : first + rows] |= own > HALF
    return found


LETTERS = {
    "latin": "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789 .,:;–−±×→·Ω%()/&°µ’“”!?ffjjTVWy",
    "cyrillic": "".join(chr(code) for code in range(0x410, 0x450)),
    "greek": "".join(chr(code) for code in range(0x391, 0x3CA) if code != 0x3A2),
    "mixed, some from the second font": "ABCabcfgjy ЖФфщ ΨξλÄÅÉÇñőęşÞ§¶†☃⁻¹∮⌀",
}


TYPE = Path(get_data_path(), "fonts", "ttf")
FONTS = {
    "usual": NO_FONTS,
    "own": (str(TYPE / "DejaVuSerif-Italic.ttf"), str(TYPE / "DejaVuSerif-Bold.ttf")),
    "own, of few letters": (str(TYPE / "cmr10.ttf"), str(TYPE / "cmb10.ttf")),
}


@pytest.mark.parametrize(
    ("alphabet", "own"), [*((alphabet, "usual") for alphabet in LETTERS), *(("latin", own) for own in [*FONTS][1:])]
)
def test_a_texts_box_is_that_of_its_ink(alphabet, own):
    """Random strings, sizes and weights against what is painted: no ink beyond the box by more than the edge of a
    pixel, and the box no larger than the ink but for the blank that a last or first letter brings.
    """
    rng, fonts = random.Random(alphabet), FONTS[own]
    page = Page("made-up", LOOK, make_measure("made-up", fonts), WIDE)
    pitch, each, rows = 150, 7, 1080
    for _ in range(6):
        placed = []
        for line in range(each):
            said = "".join(rng.choice(LETTERS[alphabet]) for _ in range(rng.randint(1, 18))).strip() or "f"
            size, weight = rng.uniform(36, 92), rng.choice(("light", "regular", "bold", "black"))
            placed.append(page.text(said, 150 + rng.random(), 120 + line * pitch, size, "#ffffff", weight=weight))
        seen = ink(placed, 0, rows, scale=1, fonts=fonts) > 0
        for line, text in enumerate(placed):
            top = 120 + line * pitch - 110
            y, x = np.nonzero(seen[top : top + pitch])
            beyond = (text.box.left - x.min(), text.box.top - (y.min() + top))
            beyond += (x.max() + 1 - text.box.right, y.max() + 1 + top - text.box.bottom)
            assert max(beyond) <= 1.1, (text.text, text.size, beyond)
            assert min(beyond[0], beyond[1], beyond[3]) >= -TOLERANCE, (text.text, text.size, beyond)
            assert beyond[2] >= -0.25 * text.size, (text.text, text.size, beyond)
