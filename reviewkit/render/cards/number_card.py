"""One figure across the whole frame, over a dial from worse to better if it changed."""

from __future__ import annotations

from reviewkit.model.card import Axis, Number
from reviewkit.render.cards.dial import place_dial
from reviewkit.render.cards.frame import under_overline
from reviewkit.render.cards.hero import small
from reviewkit.render.cards.needle import wedge_at
from reviewkit.render.cards.scene import Page, Stroke
from reviewkit.render.cards.sizes import NOTE, SENTENCE
from reviewkit.render.cards.traces import clamped_position
from reviewkit.render.cards.typeset import Setting, fit_block, line_pitch, place_lines

_FIGURES = tuple(float(size) for size in range(500, 119, -4))
_SENTENCES = (SENTENCE, 84.0, 76.0, 68.0, 60.0, 52.0)
_TALL, _SMALL = (112.0, 17.0), (72.0, 10.0)  # height and half the width of the needles
_HEAVY = 9.0
_OVER_DIAL = 190.0  # room for needles and their names
_UNDER_FIGURE, _BESIDE = 60.0, 40.0
_LABEL_GAP = 26.0

SHORTEN_FIGURE = 'leave this card out: hide = ["number"] in [cards]'


def place_number(page: Page, body: Number, lower: float) -> None:
    """Place figure, sentence and dial.

    Raises
    ------
    LayoutFault
        If the figure or the sentence doesn't fit.
    """
    shape, look = page.shape, page.look
    safe = shape.safe
    top, bottom = under_overline(shape, lower) + 44.0, shape.dial - _OVER_DIAL
    sentence = fit_block(
        page, body.sentence, _SENTENCES, safe.width, (bottom - top) * 0.45, weight="bold", anywhere=True
    )
    if sentence is None:
        raise page.fault(body.sentence, SHORTEN_FIGURE)
    under = page.cap(sentence.size, "bold") + (len(sentence.lines) - 1) * sentence.size + _UNDER_FIGURE
    figure = _fit_figure(page, body, bottom - top - under)
    if figure is None:
        raise page.fault(body.figure, SHORTEN_FIGURE)
    cap, pitch = page.cap(figure.size, "black"), line_pitch(page, figure, "black", 0.86)
    high = cap + (len(figure.lines) - 1) * pitch
    baseline = top + (bottom - top - high - under) / 2 + cap
    with page.part_of("reading"):
        place_lines(page, figure, safe.left, baseline, pitch, look.ink, weight="black", remedy=SHORTEN_FIGURE)
        if body.bound:
            left = safe.left + page.width(body.figure, figure.size, "black") + _BESIDE
            page.add(page.text(body.bound, left, baseline, small(figure.size), look.ink, remedy=SHORTEN_FIGURE))
        baseline = baseline + high - cap + _UNDER_FIGURE + page.cap(sentence.size, "bold")
        pitch = sentence.size
        place_lines(page, sentence, safe.left, baseline, pitch, look.ink, weight="bold", remedy=SHORTEN_FIGURE)
    place_dial(page, body.dial)
    if body.dial is not None:
        with page.part_of("needle"):
            _place_needles(page, body, body.dial)


def _fit_figure(page: Page, body: Number, height: float) -> Setting | None:
    """Return the figure as large as fits on one line, with room for what is small after it."""
    for size in _FIGURES:
        beside = _BESIDE + page.width(body.bound, small(size)) if body.bound else 0.0
        width = page.shape.safe.width - beside
        if (figure := fit_block(page, body.figure, (size,), width, height, most=1, leading=0.86)) is not None:
            return figure
    return None


def _place_needles(page: Page, body: Number, dial: Axis) -> None:
    """Place a small needle at "before", a tall one at "after", and the heavy line between them."""
    shape, look = page.shape, page.look
    left, right = shape.curves
    old, new = (left + clamped_position(dial, value) * (right - left) for value in (body.before, body.after))
    page.add(Stroke("needle", ((old, shape.dial), (new, shape.dial)), look.ink, _HEAVY))
    with page.part_of("label"):  # in a clip, the tall needle swings from it to its place
        page.add(wedge_at(page, old, shape.dial, "before", -_SMALL[0], _SMALL[1]))
    page.add(wedge_at(page, new, shape.dial, "too close to call", -_TALL[0], _TALL[1]))
    was, now = page.width(body.was, NOTE), page.width("after", NOTE, "bold")
    inside = abs(new - old) > was + now + 4 * _LABEL_GAP
    baseline = shape.dial - 42.0
    if inside:
        page.add(page.text(body.was, old + _LABEL_GAP, baseline, NOTE, look.soft))
        page.add(page.text("after", new - _LABEL_GAP - 8, baseline, NOTE, look.ink, weight="bold", anchor="right"))
        return
    # above their needles, at two heights
    for text, x, width, height, colour, weight in (
        (body.was, old, was, _SMALL[0] + 14, look.soft, "regular"),
        ("after", new, now, _TALL[0] + 26, look.ink, "bold"),
    ):
        centre = min(max(x, shape.safe.left + width / 2), shape.safe.right - width / 2)
        if text == body.was and abs(centre - new) < width / 2 + _TALL[1] + 8:
            centre = new - _TALL[1] - 8 - width / 2
            if centre - width / 2 < shape.safe.left:
                centre = new + _TALL[1] + 8 + width / 2
        page.add(page.text(text, centre, shape.dial - height, NOTE, colour, weight=weight, anchor="centre"))
