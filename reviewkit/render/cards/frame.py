"""The frame of every card: the overline with stage, measurement and conditions; the unit's name; the title."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model.card import Card
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.scene import Page, Picture
from reviewkit.render.cards.shape import Shape
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE, OVERLINE
from reviewkit.render.cards.typeset import fit_text, place_lines

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
    left, right, first = shape.safe.left, shape.safe.right, shape.overline
    if card.mark:
        right -= place_mark(page, card.mark, right, first, right=True)
    end, lower = right, 0.0
    if card.corner:
        most = shape.safe.width * (0.5 if shape.stacked else 0.4)
        name = fit_text(page, card.corner, (OVERLINE, LEAST), most, weight="bold", most=2, anywhere=True)
        if name is None:
            raise page.fault(card.corner, SHORTEN_NAME)
        last = place_lines(
            page, name, right, first, _LINE, look.soft, weight="bold", anchor="right", remedy=SHORTEN_NAME
        )
        end, lower = right - name.width - _NAME_GAP, last - first
    if card.stage:
        page.add(page.text(card.stage, left, first, OVERLINE, look.ink, weight="bold"))
        left += page.width(card.stage, OVERLINE, "bold") + _GAP
    # in a tall frame, the conditions are under the title, in a square one if they are too long for a line
    conditions, beside = overline(card.subject, card.conditions), None
    if conditions and not shape.conditions_under_title:
        beside = fit_text(page, conditions, (OVERLINE, LEAST), end - left, most=1 if shape.stacked else 3)
        if beside is not None:
            last = place_lines(page, beside, left, first, _LINE, look.soft, remedy=SHORTEN_CONDITIONS)
            lower = max(lower, last - first)
        elif not shape.stacked:
            raise page.fault(conditions, SHORTEN_CONDITIONS)
    last, usual = _place_title(page, title, lower) if title else (first + lower, first)
    if beside is None and conditions:
        last = _place_conditions(page, conditions, last)
    return last - usual - _UNDER if shape.conditions_under_title else max(last - usual, 0.0)


def under_overline(shape: Shape, lower: float) -> float:
    """Return the last baseline of a head without a title, of which `place_frame` returned `lower`."""
    return shape.overline + lower + (_UNDER if shape.conditions_under_title else 0.0)


def place_mark(
    page: Page, mark: bytes, x: float, baseline: float, *, right: bool = False, high: float = _MARK_HIGH
) -> float:
    """Place the user's own mark on a line of text; return the room it takes, in pixels. `right`: it ends at `x`."""
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


def overline(subject: str, conditions: Sequence[str]) -> str:
    """Return measurement and conditions as one line."""
    return " · ".join(part for part in (subject, *conditions) if part)


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


def _place_conditions(page: Page, text: str, baseline: float) -> float:
    """Place measurement and conditions under the title; return their last baseline."""
    shape, look = page.shape, page.look
    size = NOTE if shape.conditions_under_title else OVERLINE
    fitted = fit_text(page, text, (size, AXIS, OVERLINE, LEAST), shape.safe.width, most=3)
    if fitted is None:
        raise page.fault(text, SHORTEN_CONDITIONS)
    below = _UNDER if shape.conditions_under_title else _UNDER_SQUARE
    first, pitch = baseline + below, fitted.size * 1.2
    return place_lines(page, fitted, shape.safe.left, first, pitch, look.soft, remedy=SHORTEN_CONDITIONS)
