"""The frame of every card: the overline with stage, measurement and conditions; the unit's name; the title."""

from __future__ import annotations

from reviewkit.model.card import Card
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.look import LEAST, NOTE, OVERLINE
from reviewkit.render.cards.scene import Page, Picture
from reviewkit.render.cards.typeset import Setting, fit_text

_GAP = 22.0  # between stage and measurement
_NAME_GAP = 48.0  # from the overline to the unit's name
_LINE = 46.0  # pitch of an overline that takes two lines
_LEADING = 1.03  # of a title's lines, in em
_MARK_HIGH, _MARK_WIDE, _MARK_GAP = 50.0, 200.0, 24.0

SHORTEN_TITLE = "shorten the title"
SHORTEN_CONDITIONS = "shorten setting = …"
SHORTEN_NAME = "write short = … in [unit]"


def place_frame(page: Page, card: Card, title: str) -> float:
    """Place overline, name and title.

    Parameters
    ----------
    page : Page
        The card.
    card : Card
        Its texts.
    title : str
        Its title; "" if the body shows one itself.

    Returns
    -------
    float
        How much lower than usual the body begins, in pixels.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    shape, look = page.shape, page.look
    right = shape.safe.right - place_mark(page, card.mark, shape.safe.right, shape.overline, right=True)
    name = _fit_name(page, card.corner)
    for index, line in enumerate(name.lines):
        at = shape.overline + index * _LINE
        page.add(
            page.text(line, right, at, name.size, look.soft, weight="bold", anchor="right", remedy=SHORTEN_NAME)
        )
    beside = right - shape.safe.left - (name.width + _NAME_GAP if name.lines else 0.0)
    lower = (len(name.lines) - 1) * _LINE if len(name.lines) > 1 else 0.0
    lower = max(lower, _place_overline(page, card, beside))
    if title:
        return lower + _place_title(page, card, title, lower)
    if shape.conditions_under_title:
        return _place_conditions(page, card, shape.overline + lower) - shape.overline
    return lower


def place_mark(page: Page, mark: bytes, x: float, baseline: float, *, right: bool = False) -> float:
    """Place the user's own mark on a line of text; return the room it takes, in pixels. `right`: it ends at `x`."""
    if not mark:
        return 0.0
    from reviewkit.render.cards.photo import aspect

    ratio = aspect(mark)
    high = min(_MARK_HIGH, _MARK_WIDE / ratio)
    wide = high * ratio
    middle = max(baseline - page.cap(OVERLINE) / 2, page.shape.safe.top + high / 2)
    left = x - wide if right else x
    page.add(picture("mark", Box(left, middle - high / 2, left + wide, middle + high / 2), mark, page))
    return wide + _MARK_GAP


def picture(kind: str, box: Box, data: bytes, page: Page) -> Picture:
    """Return a picture of the user's own in a box."""
    corners = ((box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom))
    return Picture(kind, corners, page.look.ground, data=data)


def _fit_name(page: Page, name: str) -> Setting:
    """Fit the unit's name into the corner.

    Raises
    ------
    LayoutFault
        If it doesn't fit on two lines.
    """
    if not name:
        return Setting(OVERLINE, (), 0.0)
    most = page.shape.safe.width * (0.5 if page.shape.stacked else 0.4)
    made = fit_text(page, name, (OVERLINE, LEAST), most, weight="bold", most=2, anywhere=True)
    if made is None:
        raise page.fault(name, SHORTEN_NAME)
    return made


def _place_overline(page: Page, card: Card, width: float) -> float:
    """Place stage, measurement and conditions; return how much lower the title begins.

    In a tall frame, all but the stage is under the title. Conditions that the chart shows are left out first, those
    that a figure depends on never.
    """
    shape, look = page.shape, page.look
    stage = card.stage
    reach = page.width(stage, OVERLINE, "bold") + _GAP if stage else 0.0
    if stage:
        page.add(page.text(stage, shape.safe.left, shape.overline, OVERLINE, look.ink, weight="bold"))
    if shape.conditions_under_title:
        return 0.0
    for text in _shorter_overlines(card):
        made = fit_text(page, text, (OVERLINE, LEAST), width - reach)
        if made is not None:
            page.add(page.text(text, shape.safe.left + reach, shape.overline, made.size, look.soft))
            return 0.0
    made = fit_text(page, _shorter_overlines(card)[-1], (OVERLINE, LEAST), width - reach, most=2)
    if made is None:
        raise page.fault(_shorter_overlines(card)[0], SHORTEN_CONDITIONS)
    for index, line in enumerate(made.lines):
        at = shape.overline + index * _LINE
        page.add(page.text(line, shape.safe.left + reach, at, made.size, look.soft, remedy=SHORTEN_CONDITIONS))
    return _LINE


def _shorter_overlines(card: Card) -> tuple[str, ...]:
    """Return measurement and conditions as one line, from all of them to the indispensable ones."""
    kept = (card.subject, *card.conditions)
    forms = [(*kept, *card.asides[:count]) for count in range(len(card.asides), -1, -1)]
    return tuple(" · ".join(part for part in form if part) for form in forms)


def _place_title(page: Page, card: Card, title: str, lower: float) -> float:
    """Place the title, in a tall frame with measurement and conditions below; return how much lower the body begins."""
    shape, look = page.shape, page.look
    made = fit_text(page, title, shape.title_sizes, shape.safe.width, weight="bold", most=shape.title_lines)
    if made is None:
        made = fit_text(page, title, shape.title_sizes[-1:], shape.safe.width, weight="bold", most=3, anywhere=True)
    if made is None:
        raise page.fault(title, SHORTEN_TITLE)
    pitch = made.size * _LEADING
    first = shape.title + lower - (0.0 if len(made.lines) == 1 or shape.conditions_under_title else 16.0)
    baseline = first
    for index, line in enumerate(made.lines):
        baseline = first + index * pitch
        page.add(page.text(line, shape.safe.left, baseline, made.size, look.ink, weight="bold", remedy=SHORTEN_TITLE))
    if not shape.conditions_under_title:
        return baseline - shape.title - lower
    baseline = _place_conditions(page, card, baseline)
    usual = shape.title + shape.title_sizes[0] * _LEADING + 76.0
    return max(baseline - usual, 0.0)


def _place_conditions(page: Page, card: Card, baseline: float) -> float:
    """Place measurement and conditions below a baseline; return the last line's.

    Raises
    ------
    LayoutFault
        If they don't fit.
    """
    shape = page.shape
    text = _shorter_overlines(card)[0]
    under = fit_text(page, text, (NOTE, OVERLINE, LEAST), shape.safe.width, most=2)
    if under is None:
        under = fit_text(page, _shorter_overlines(card)[-1], (LEAST,), shape.safe.width, most=3)
    if under is None:
        raise page.fault(text, SHORTEN_CONDITIONS)
    for line in under.lines:
        baseline += 76.0 if line is under.lines[0] else 52.0
        page.add(page.text(line, shape.safe.left, baseline, under.size, page.look.soft, remedy=SHORTEN_CONDITIONS))
    return baseline
