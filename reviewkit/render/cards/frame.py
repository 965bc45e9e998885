"""The frame of every card: the overline with stage, measurement and conditions; the unit's name; the title."""

from __future__ import annotations

from reviewkit.model.card import Card
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.scene import Page, Picture
from reviewkit.render.cards.shape import Shape
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE, OVERLINE
from reviewkit.render.cards.typeset import Setting, fit_text, place_lines

_GAP = 22.0  # between stage and measurement
_NAME_GAP = 48.0  # from the overline to the unit's name
_LINE = 46.0  # pitch of an overline that takes two lines
_LEADING = 1.03  # of a title's lines, in em
_MARK_HIGH, _MARK_WIDE, _MARK_GAP = 50.0, 200.0, 24.0
_UNDER, _UNDER_SQUARE = 76.0, 54.0  # from the title to the conditions under it

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
        How much lower than usual the body begins, in pixels; negative in a tall frame if there is little above it.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    shape, look = page.shape, page.look
    if not shape.framed:
        return 0.0
    right = shape.safe.right - place_mark(page, card.mark, shape.safe.right, shape.overline, right=True)
    name = _fit_name(page, card.corner)
    last = place_lines(
        page, name, right, shape.overline, _LINE, look.soft, weight="bold", anchor="right", remedy=SHORTEN_NAME
    )
    beside = right - shape.safe.left - (name.width + _NAME_GAP if name.lines else 0.0)
    lines, done = _place_overline(page, card, beside)
    lower = max(last - shape.overline, lines)
    last, usual = _place_title(page, title, lower) if title else (shape.overline + lower, shape.overline)
    if not done:
        last += _place_conditions(page, card, last)
    return last - usual - _UNDER if shape.conditions_under_title else max(last - usual, 0.0)


def under_overline(shape: Shape, lower: float) -> float:
    """Return the last baseline of a head without a title, of which `place_frame` returned `lower`."""
    return shape.overline + lower + (_UNDER if shape.conditions_under_title else 0.0)


def place_mark(
    page: Page, mark: bytes, x: float, baseline: float, *, right: bool = False, high: float = _MARK_HIGH
) -> float:
    """Place the user's own mark on a line of text; return the room it takes, in pixels. `right`: it ends at `x`."""
    if not mark:
        return 0.0
    from reviewkit.render.cards.photo import aspect

    ratio = aspect(mark)
    high = min(high, _MARK_WIDE / ratio)
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


def _place_overline(page: Page, card: Card, width: float) -> tuple[float, bool]:
    """Place stage, measurement and conditions; return how much lower the title begins, and whether all were placed.

    In a tall frame, all but the stage is under the title, in a square one if it is too long for a line.
    """
    shape, look = page.shape, page.look
    stage = card.stage
    reach = page.width(stage, OVERLINE, "bold") + _GAP if stage else 0.0
    if stage:
        page.add(page.text(stage, shape.safe.left, shape.overline, OVERLINE, look.ink, weight="bold"))
    if shape.conditions_under_title:
        return 0.0, False
    text = overline(card)
    fitted = fit_text(page, text, (OVERLINE, LEAST), width - reach, most=1 if shape.stacked else 3)
    if fitted is None and shape.stacked:
        return 0.0, False
    if fitted is None:
        raise page.fault(text, SHORTEN_CONDITIONS)
    left, first = shape.safe.left + reach, shape.overline
    return place_lines(page, fitted, left, first, _LINE, look.soft, remedy=SHORTEN_CONDITIONS) - first, True


def overline(card: Card) -> str:
    """Return measurement and conditions as one line."""
    return " · ".join(part for part in (card.subject, *card.conditions) if part)


def _place_title(page: Page, title: str, lower: float) -> tuple[float, float]:
    """Place the title; return its last baseline, and where that usually is."""
    shape, look = page.shape, page.look
    width, most = shape.safe.width, shape.title_lines
    # a tall frame has room for two large lines, the others rather have one
    tries = [(size,) for size in shape.title_sizes] if shape.is_tall else [shape.title_sizes]
    fitted = next(
        (it for sizes in tries if (it := fit_text(page, title, sizes, width, weight="bold", most=most))), None
    )
    if fitted is None:
        fitted = fit_text(page, title, shape.title_sizes[-1:], width, weight="bold", most=3, anywhere=True)
    if fitted is None:
        raise page.fault(title, SHORTEN_TITLE)
    pitch = fitted.size * _LEADING
    first = shape.title + lower - (0.0 if len(fitted.lines) == 1 or shape.conditions_under_title else 16.0)
    last = place_lines(page, fitted, shape.safe.left, first, pitch, look.ink, weight="bold", remedy=SHORTEN_TITLE)
    usual = shape.title + (shape.title_sizes[0] * _LEADING if shape.conditions_under_title else 0.0)
    return last, usual


def _place_conditions(page: Page, card: Card, baseline: float) -> float:
    """Place measurement and conditions under the title; return how much lower their last baseline is."""
    shape, look = page.shape, page.look
    width, text = shape.safe.width, overline(card)
    if not text:
        return 0.0
    size = NOTE if shape.conditions_under_title else OVERLINE
    fitted = fit_text(page, text, (size, AXIS, OVERLINE, LEAST), width, most=3)
    if fitted is None:
        raise page.fault(text, SHORTEN_CONDITIONS)
    below = _UNDER if shape.conditions_under_title else _UNDER_SQUARE
    first, pitch = baseline + below, fitted.size * 1.2
    return place_lines(page, fitted, shape.safe.left, first, pitch, look.soft, remedy=SHORTEN_CONDITIONS) - baseline
