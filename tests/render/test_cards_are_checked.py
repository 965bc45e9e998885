"""One fault put into a card that is sound, for each rule of the layout check: each is found, and nothing else is.

Below that, what is painted, looked at pixel by pixel: the check must say the same.
"""

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from card_samples import FREQUENCY, SAMPLES, curve_card, shapes, texts
from matplotlib import get_data_path

from reviewkit.model.card import Bar, BarGroup, Bars, Card, Trace
from reviewkit.render.cards import card as drawing
from reviewkit.render.cards.card import LayoutFault, Order, draw_pictures, lay_out
from reviewkit.render.cards.colour_check import find_colour_problems
from reviewkit.render.cards.layout_check import SAFE, TOLERANCE, find_problems
from reviewkit.render.cards.look import LOOKS, with_colours
from reviewkit.render.cards.paint import NO_FONTS, make_measure, paint
from reviewkit.render.cards.scene import Area, Box, Page, Stroke, Text
from reviewkit.render.footage.overlay import composite_over_footage, footage_look

LOOK = LOOKS["lamplight"]
BOTH = (
    Trace(FREQUENCY, 0.3 * np.sin(np.log(FREQUENCY)), "L", "now", "L"),
    Trace(FREQUENCY, 0.3 * np.cos(np.log(FREQUENCY)), "R", "now", "R"),
)
EVERY = [*SAMPLES, "bars"]


def bar_card():
    groups = tuple(
        BarGroup(name, (Bar("L", left, f"{left:g}"), Bar("R", right, f"{right:g}")), "%")
        for name, left, right in (("THD+N", 0.8, 1.4), ("2nd", 0.3, 0.5))
    )
    return Card("bars", "Distortion", "5 W into 8 Ω", Bars(curve_card().body.panels[0].y, groups))


def sample(name):
    return bar_card() if name == "bars" else SAMPLES[name]


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


def middle_of(line):
    return line.points[len(line.points) // 2]


def curve_of(items, channel="L", role="now"):
    return next(line for line in shapes(items, "curve") if line.colour == LOOK.curve(channel, role))


GEOMETRY = {
    "a text left of the safe box": (lambda i: moved(i, text_of(i, "Frequency"), x=-20), "outside"),
    "a text under the safe box": (lambda i: moved(i, text_of(i, "uncertainty"), y=30), "outside"),
    "a curve right of the safe box": (
        lambda i: [*i, Stroke("curve", np.array(((1900.0, 500.0), (1910.0, 500.0))), LOOK.left, 6)],
        "outside",
    ),
    "two readings over each other": (lambda i: moved(i, text_of(i, "channel balance"), y=50), "overlap"),
    "a text on a curve's name": (
        lambda i: onto(i, "bench", text_of(i, "L before").box.right - 20, text_of(i, "L before").baseline),
        "overlap",
    ),
    "a text on a curve": (lambda i: onto(i, "rated", *middle_of(curve_of(i, "R", "before"))), "covered"),
    "a needle over a text": (
        lambda i: [*i, Stroke("needle", ((1500, text_of(i, "20 Hz –").box.top + 9), (1560, 241.0)), LOOK.soft, 2)],
        "covered",
    ),
    "a pointer over a text": (
        lambda i: onto(i, "+1", *shapes(i, "needle", Area)[0].points[0]),
        "covered",
    ),
    "a band over a text": (
        lambda i: [*i, Area("band", ((97, 60), (400, 60), (400, 130), (97, 130)), LOOK.band)],
        "covered",
    ),
    "a text under the least size": (
        lambda i: [replace(item, size=35.0) if item is text_of(i, "bench") else item for item in i],
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
    "ink under 7": (lambda i: i, {"ink": "#8b8b8b"}, "contrast"),
    "a soft text under 4.5": (lambda i: i, {"soft": "#757575"}, "contrast"),
    "a status under 4.5": (lambda i: i, {"meets": "#757575"}, "contrast"),
    "a text in a colour that is none of the look's": (
        lambda i: recoloured(i, lambda item: is_text(item) and item.text == "bench", "#747474"),
        {},
        "contrast",
    ),
    "a curve under 3": (
        lambda i: recoloured(i, lambda item: is_curve(item) and item.colour == LOOK.bench, "#555555"),
        {},
        "contrast",
    ),
    "a limit under 3": (
        lambda i: recoloured(i, lambda item: getattr(item, "kind", "") == "limit", "#555555"),
        {},
        "contrast",
    ),
    "a curve under 3 on the band alone": (
        lambda i: recoloured(i, lambda item: is_curve(item) and item.colour == LOOK.bench, "#60666b"),
        {},
        "contrast",
    ),
    "a text under 4.5 on the band alone": (
        lambda i: recoloured(
            onto(i, "rated", 600, 640), lambda item: is_text(item) and item.text.startswith("rated"), "#7d7d7d"
        ),
        {},
        "contrast",
    ),
    "a text on a bar of its own colour": (
        lambda i: onto(recoloured(i, is_text, LOOK.left), "5 W", *middle_of_bar(i)),
        {},
        "contrast",
    ),
    "left and right as light as each other": (lambda i: i, {"right": "#8fb8ff", "left": "#d8a878"}, "channels"),
    "left and right one for a protan eye": (lambda i: i, {"left": "#ff9090", "right": "#8a8f5a"}, "channels"),
    "left and right one for everybody": (lambda i: i, {"right": "#ffd98b"}, "channels"),
    "left dashed": (
        lambda i: [replace(item, dash=(30, 10)) if item is curve_of(i, "L") else item for item in i],
        {},
        "channels",
    ),
    "right not dashed": (
        lambda i: [replace(item, dash=None) if item is curve_of(i, "R") else item for item in i],
        {},
        "channels",
    ),
}


def middle_of_bar(items):
    points = np.array(max(shapes(items, "curve", Area), key=lambda bar: np.ptp(np.array(bar.points)[:, 1])).points)
    return points.mean(axis=0)


@pytest.mark.parametrize("name", COLOURS)
def test_each_fault_of_colour_is_found(name):
    change, colours, rule = COLOURS[name]
    card = bar_card() if "bar" in name else SAMPLES["response"]
    look = with_colours(LOOK, colours)
    roles = drawing._lay_out_in_roles(card)
    assert find_colour_problems(drawing.apply_look(roles, LOOK), LOOK) == ()
    found = find_colour_problems(change(drawing.apply_look(roles, look)), look)
    assert {problem.rule for problem in found} == {rule}
    assert all(problem.message and problem.remedy for problem in found)


def test_a_right_bar_without_dashes_is_found():
    items = lay_out(bar_card(), "lamplight")
    whole = [item for item in shapes(items, "curve", Area) if item.colour == LOOK.left]
    swapped = recoloured(items, lambda item: item is whole[0], LOOK.right)
    assert [found.message for found in find_colour_problems(swapped, LOOK)] == [
        "a bar of the right channel is not dashed"
    ]


def test_a_text_on_an_area_answers_for_that_and_not_for_the_ground():
    page = Page("made-up", LOOK, make_measure("made-up"))
    dark = page.text("dark on light", 300, 400, 40, "#222222")
    plate = Area("curve", ((280, 340), (900, 340), (900, 440), (280, 440)), LOOK.left)
    assert find_colour_problems([plate, dark], LOOK) == ()
    assert [found.text for found in find_colour_problems([dark, plate], LOOK)] == ["dark on light"]


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("look", LOOKS.values(), ids=list(LOOKS))
def test_every_sample_can_be_seen_also_over_footage(name, look):
    roles = drawing._lay_out_in_roles(sample(name))
    assert find_colour_problems(drawing.apply_look(roles, look), look) == ()
    clear = footage_look(look)
    assert find_colour_problems(drawing.apply_look(roles, clear), clear, composite_over_footage(look)) == ()


def test_a_build_stops_with_card_text_and_remedy():
    weak = with_colours(LOOK, {"soft": "#757575"})
    with pytest.raises(LayoutFault) as raised:
        draw_pictures(SAMPLES["rated"], Order(weak))
    fault = raised.value
    assert (fault.card_id, fault.text, fault.remedy) == ("rated", "Norrvale Forty", "write another soft = … in [look]")
    assert fault.problem.startswith("in #757575 on #15191e has a contrast of 3.")


# ------------------------------------------------------------------ pixel by pixel


HALF = 0.25  # of full ink: less is the edge of a letter


def ink(items, first, rows, width=1280, fonts=NO_FONTS):
    """How much ink items leave on a clear canvas, 0 … 1, in some rows of the picture; shape (rows, width)."""
    return paint(items, np.zeros((rows, width, 4), dtype=np.uint8), width, fonts, first)[..., 3] / 255


@pytest.mark.parametrize("name", EVERY)
def test_no_ink_leaves_the_safe_box_or_is_shared(name):
    """Each text painted alone: none of its ink is outside, in another text's, or in a line's."""
    items = lay_out(sample(name), "lamplight")
    assert find_problems(items) == ()
    assert shared_ink(items) == []


def test_ink_that_is_shared_would_be_seen():
    items = lay_out(SAMPLES["response"], "lamplight")
    for name in ("two readings over each other", "a text on a curve", "a text left of the safe box"):
        assert shared_ink(GEOMETRY[name][0](items))


def shared_ink(items):
    scale, rows = 1280 / 1920, 240
    lines = [i for i in items if not isinstance(i, Text) and i.kind not in ("grid", "band")]
    taken = ink(lines, 0, 720) > HALF
    found = []
    for text in texts(items):
        middle = (text.box.top + text.box.bottom) / 2 * scale
        first = min(max(int(middle) - rows // 2, 0), 720 - rows)
        own = ink([text], first, rows)
        y, x = np.nonzero(own > 0)
        assert len(x)
        edges = (x.min() / scale, (y.min() + first) / scale, (x.max() + 1) / scale, (y.max() + 1 + first) / scale)
        reach = TOLERANCE + 1 / scale
        if (
            edges[0] < SAFE.left - reach
            or edges[1] < SAFE.top - reach
            or edges[2] > SAFE.right + reach
            or edges[3] > SAFE.bottom + reach
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
    page = Page("made-up", LOOK, make_measure("made-up", fonts))
    pitch, each, rows = 150, 7, 1080
    for _ in range(12):
        placed = []
        for line in range(each):
            said = "".join(rng.choice(LETTERS[alphabet]) for _ in range(rng.randint(1, 18))).strip() or "f"
            size, bold = rng.uniform(36, 92), rng.random() < 0.5
            placed.append(page.text(said, 150 + rng.random(), 120 + line * pitch, size, "#ffffff", bold=bold))
        seen = ink(placed, 0, rows, 1920, fonts) > 0
        for line, text in enumerate(placed):
            top = 120 + line * pitch - 110
            y, x = np.nonzero(seen[top : top + pitch])
            beyond = (text.box.left - x.min(), text.box.top - (y.min() + top))
            beyond += (x.max() + 1 - text.box.right, y.max() + 1 + top - text.box.bottom)
            assert max(beyond) <= 1.1, (text.text, text.size, beyond)
            assert min(beyond[0], beyond[1], beyond[3]) >= -1.1, (text.text, text.size, beyond)
            assert beyond[2] >= -0.25 * text.size, (text.text, text.size, beyond)
