"""The needle: a short dial with the rating's notch, and a slender wedge that points at what was measured.

Rated is above the line, measured below it; better is to the right. The scale is logarithmic and ends at half and at
twice the rating, for levels in dB 6 dB on either side.
"""

from __future__ import annotations

from reviewkit.render.cards.scene import Area, Page, Stroke

PAST_END = 1.2  # where a needle beyond the scale points, in half scales from the notch
_TICKS = 8  # intervals along the scale; the notch is in the middle
_HEAVY, _THIN = 9.0, 3.0
_END, _TICK, NOTCH = 29.0, 14.0, 84.0
_WEDGE_TOP, FOOT, WEDGE = 7.0, 118.0, 18.0  # of the wedge: its tip and foot below the line, half its width


def fit_scale(left: float, width: float, position: float | None) -> tuple[float, float]:
    """Return left end and width of a scale that fits into a width with its wedge, which may be past the scale's end."""
    if position is None or abs(position) <= 1:
        return left, width
    past = PAST_END / 2 - 0.5
    width = (width - WEDGE) / (1 + past)
    return (left + past * width + WEDGE if position < 0 else left), width


def place_needle(
    page: Page,
    left: float,
    line_y: float,
    width: float,
    position: float | None,
    word: str,
) -> None:
    """Place a needle.

    Parameters
    ----------
    page : Page
        The card.
    left, line_y, width : float
        Place and length of the scale's line, in pixels.
    position : float or None
        The wedge: −1 … 1 with 0 at the limit, beyond for one past the scale; None for no wedge.
    word : str
        The verdict, which colours the wedge.
    """
    look = page.look
    middle, right = left + width / 2, left + width
    judged = position is not None
    for tick in range(_TICKS + 1):
        x = left + width * tick / _TICKS
        if tick != _TICKS // 2:
            high = _END if tick in (0, _TICKS) else _TICK
            page.add(Stroke("needle", ((x, line_y), (x, line_y - high)), look.soft, _THIN))
    page.add(Stroke("needle", ((left, line_y), (right, line_y)), look.soft, _THIN))
    if position is not None and abs(position) > 1:
        x = middle + width / 2 * (PAST_END + 0.04) * (1 if position > 0 else -1)
        page.add(Stroke("needle", (((right if position > 0 else left), line_y), (x, line_y)), look.soft, _THIN))
    if judged:
        far = middle + width / 2 * (PAST_END + 0.04) if position is not None and position > 1 else right
        page.add(Stroke("needle", ((middle - _HEAVY / 2, line_y), (far, line_y)), look.ink, _HEAVY))
    notch = look.ink if judged else look.soft
    page.add(Stroke("needle", ((middle, line_y), (middle, line_y - NOTCH)), notch, _HEAVY if judged else _THIN))
    if position is not None:
        x = middle + width / 2 * min(max(position, -PAST_END), PAST_END)
        page.add(wedge_at(page, x, line_y, word))


def wedge_at(page: Page, x: float, line_y: float, word: str, height: float = FOOT, half: float = WEDGE) -> Area:
    """Return a wedge whose tip is on a line from below; a negative height points down from above."""
    top = line_y + (_WEDGE_TOP if height > 0 else -_WEDGE_TOP)
    foot = line_y + height
    corners = ((x - 2, top), (x + 2, top), (x + half, foot), (x - half, foot))
    return Area("needle", corners, page.look.status(word))
