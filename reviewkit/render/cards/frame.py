"""The frame of every card: title, conditions, the unit's name in the corner, the foot line."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.model.card import Card
from reviewkit.render.cards.look import CONDITIONS, LABEL, LEAST, SAFE_LEFT, SAFE_RIGHT, TITLE
from reviewkit.render.cards.scene import Box, Page
from reviewkit.render.cards.typeset import Setting, fit_text

_WIDTH = SAFE_RIGHT - SAFE_LEFT
_LONG_WORD = 30  # letters: a title with one may be broken within words, on three lines
_GAP = 56.0  # between the title's side and the corner
_TITLE_BASELINE, _UNDER_TITLE, _PITCH = 114.0, 58.0, 44.0
_FOOT_BASELINE = 1012.0
_ROOM_UNDER_HEAD, _ROOM_OVER_FOOT = 52.0, 36.0

SHORTEN_TITLE = "shorten the title"
SHORTEN_CONDITIONS = "shorten setting = …"
SHORTEN_NAME = "shorten maker = … or model = … in [unit]"
SHORTEN_FOOT = "shorten source = … of the ratings"


@dataclass(frozen=True)
class _Head:
    title: Setting
    corner: Setting
    conditions: Setting


_EMPTY = Setting(LABEL, (), 0.0)


def place_frame(page: Page, card: Card, *, title: bool = True) -> Box:
    """Place head and foot; return the room for the body.

    Parameters
    ----------
    page : Page
        The card.
    card : Card
        Its texts.
    title : bool
        False if the body shows the title itself.

    Returns
    -------
    Box
        The room between head and foot.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    shown = card.title if title else ""
    head = _fit_head(page, shown, card.conditions, card.corner)
    look = page.look
    baseline = _TITLE_BASELINE
    pitch = head.title.size * 1.12
    for index, line in enumerate(head.title.lines):
        baseline = _TITLE_BASELINE + index * pitch
        page.add(page.text(line, SAFE_LEFT, baseline, head.title.size, look.ink, bold=True, remedy=SHORTEN_TITLE))
    for index, line in enumerate(head.corner.lines):
        at = _TITLE_BASELINE + index * _PITCH
        page.add(page.text(line, SAFE_RIGHT, at, LABEL, look.soft, anchor="right", remedy=SHORTEN_NAME))
    below = baseline + _UNDER_TITLE
    for line in head.conditions.lines:
        baseline = below
        page.add(page.text(line, SAFE_LEFT, baseline, head.conditions.size, look.soft, remedy=SHORTEN_CONDITIONS))
        below = baseline + _PITCH
    # the body begins at the same height whether or not a card has conditions
    top = max(baseline, _TITLE_BASELINE + _UNDER_TITLE) + _ROOM_UNDER_HEAD
    return Box(SAFE_LEFT, top, SAFE_RIGHT, _place_foot(page, card.foot))


def _fit_head(page: Page, title: str, conditions: str, corner: str) -> _Head:
    """Find the largest title that leaves room for the name next to it, then fit the conditions."""
    forms = [((TITLE,), 1), ((54.0,), 1), ((48.0,), 1), ((54.0, 48.0), 2), ((42.0, LEAST), 2)]
    if max(map(len, title.split()), default=0) > _LONG_WORD:
        forms.append(((42.0, LEAST), 3))
    blamed = title, SHORTEN_TITLE
    for names, lines_under in ((1, 2), (2, 2), (3, 2), (3, 3)):
        name = fit_text(page, corner, (LABEL,), _WIDTH * 0.62, most=names, anywhere=names == 3) if corner else _EMPTY
        if name is None:
            blamed = corner, SHORTEN_NAME
            continue
        beside = _WIDTH - (name.width + _GAP if name.lines else 0)
        for sizes, lines in forms:
            heading: Setting | None = _EMPTY
            if title:  # three lines are for words longer than a line
                heading = fit_text(page, title, sizes, beside, bold=True, most=lines, anywhere=lines == 3)
            if heading is None:
                blamed = title, SHORTEN_TITLE
                continue
            room = _WIDTH if len(name.lines) <= len(heading.lines) else beside
            under = fit_text(page, conditions, (CONDITIONS, LEAST), room, most=lines_under) if conditions else _EMPTY
            if under is not None:
                return _Head(heading, name, under)
            blamed = conditions, SHORTEN_CONDITIONS
    raise page.fault(*blamed)


def _place_foot(page: Page, foot: str) -> float:
    """Place the foot line; return where the body ends."""
    if not foot:
        return _FOOT_BASELINE
    setting = fit_text(page, foot, (LABEL,), _WIDTH, most=2)
    if setting is None:
        raise page.fault(foot, SHORTEN_FOOT)
    first = _FOOT_BASELINE - (len(setting.lines) - 1) * _PITCH
    for index, line in enumerate(setting.lines):
        page.add(page.text(line, SAFE_LEFT, first + index * _PITCH, LABEL, page.look.soft, remedy=SHORTEN_FOOT))
    return first - page.measure(foot, LABEL, False)[1] - _ROOM_OVER_FOOT
