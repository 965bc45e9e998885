"""Figures above bars, each as close to its own bar as its neighbours allow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from reviewkit.render.cards.labels import FAR, SHORTEN_LABEL
from reviewkit.render.cards.look import LABEL
from reviewkit.render.cards.scene import Box, Page, Stroke

_OVER_BAR = 12.0
_BESIDE = 7.0  # room between a figure and its neighbours
_STEP = 3.0
_MOST_LIFT = 132.0  # three lines: further up it would no longer be clear whose it is
_CHANGED = 44.0  # a bar whose height changed by less has only one figure
_LEAST_OVER = 24.0  # least overlap of a figure with its bar's width
BEFORE = "before"


@dataclass(frozen=True)
class PlacedBar:
    """A bar in its place, with its figure.

    Attributes
    ----------
    twin
        Rectangle of the same channel's bar before the repair (or after it); None if there is none.
    """

    bar: Box
    text: str
    colour: str
    now: bool
    twin: Box | None = None


@dataclass(frozen=True)
class PlacedLabel:
    """A text in its final place."""

    text: str
    where: Box
    colour: str
    bold: bool
    leader: Box | None = None  # down to its bar, if the label is far above it

    def put(self, page: Page) -> None:
        """Add the text to the page, with its leader."""
        if self.leader is not None:
            ends = ((self.leader.left, self.leader.top), (self.leader.left, self.leader.bottom))
            page.add(Stroke("leader", ends, self.colour, 2.0))
        baseline = self.where.bottom - page.measure(self.text, LABEL, self.bold)[2]
        page.add(
            page.text(self.text, self.where.left, baseline, LABEL, self.colour, bold=self.bold, remedy=SHORTEN_LABEL)
        )


def position_figures(page: Page, bars: Sequence[PlacedBar], lines: Sequence[Box], box: Box) -> list[PlacedLabel]:
    """Find places for the figures of the current bars.

    Parameters
    ----------
    page : Page
        The card.
    bars : sequence of PlacedBar
        Every bar of the chart.
    lines : sequence of Box
        The lines of the limits, which stay clear.
    box : Box
        The plot.

    Returns
    -------
    list of PlacedLabel
        One label for each current bar with a figure; a bar from before the repair may lie under one (see
        `split_around_labels`).

    Raises
    ------
    LayoutFault
        If a figure has no room.
    """
    solid = [each.bar for each in bars if each.now]
    thin = [each.bar for each in bars if not each.now]
    own = [each for each in bars if each.now and each.text]
    words: list[PlacedLabel] = []
    for index, each in enumerate(own):
        occupied = [*lines, *occupied_boxes(words)]
        lean = _lean(page, own, index)
        # clear of every bar, else across before-bars, else in regular weight, else above its neighbours
        ways = (
            (True, [*solid, *thin], 0.0),
            (True, solid, 0.0),
            (False, solid, 0.0),
            (False, solid, _MOST_LIFT),
            (False, solid, box.height),
        )
        for bold, walls, lift in ways:
            where = _place(page, each, each.text, bold, walls, occupied, box, lean=lean, over_bars=lift)
            if where is not None:
                words.append(PlacedLabel(each.text, where, each.colour, bold, _leader(each.bar, where, occupied)))
                break
        else:
            raise page.fault(each.text, SHORTEN_LABEL, "has no room over its bar")
    return words


def position_before_figures(
    page: Page, bars: Sequence[PlacedBar], occupied: Sequence[Box], box: Box
) -> list[PlacedLabel]:
    """Find places for the word "before" and the figures of bars that clearly changed.

    The word appears at the first such bar. A figure without room is left out; the readouts show the largest.
    """
    was = [each for each in bars if not each.now]
    walls = [each.bar for each in bars]
    words: list[PlacedLabel] = []

    def try_at(each: PlacedBar, text: str, *, over_bars: float = 0.0) -> bool:
        others = [*occupied, *occupied_boxes(words)]
        where = _place(page, each, text, False, walls, others, box, over_bars=over_bars) if text else None
        words.extend([] if where is None else [PlacedLabel(text, where, each.colour, False)])
        return where is not None

    for each in was:
        if _change(each) >= _CHANGED:
            for text in (each.text,) if words else (f"{BEFORE} {each.text}".strip(), BEFORE):
                if try_at(each, text):
                    break
    if not words:
        order = sorted(was, key=lambda each: -_change(each))
        any(try_at(each, BEFORE, over_bars=over_bars) for over_bars in (0.0, _MOST_LIFT) for each in order)
    return words


def split_around_labels(bar: Box, words: Sequence[PlacedLabel]) -> Iterator[tuple[float, float]]:
    """Yield the parts (top, bottom) of a bar that no label covers."""
    top = bar.top
    for where in sorted((each.where for each in words), key=lambda where: where.top):
        gap = where.grown(_BESIDE, _BESIDE)
        if gap.meets(bar) and gap.bottom > top:
            if gap.top > top:
                yield top, gap.top
            top = gap.bottom
    if top < bar.bottom:
        yield top, bar.bottom


def occupied_boxes(words: Sequence[PlacedLabel]) -> list[Box]:
    """Return the boxes that labels and their leaders occupy."""
    return [box for each in words for box in (each.where, each.leader) if box is not None]


def _leader(bar: Box, where: Box, occupied: Sequence[Box]) -> Box | None:
    """Return the line from a distant figure down to its bar, or None if it is near or something is in the way."""
    x = min(max(_middle(bar), where.left), where.right)
    line = Box(x, where.bottom + _BESIDE, x, bar.top - _BESIDE)
    if bar.top - where.bottom < _OVER_BAR + FAR or any(line.grown(_BESIDE, 0.0).meets(one) for one in occupied):
        return None
    return line


def _change(each: PlacedBar) -> float:
    return abs(each.bar.top - each.twin.top) if each.twin else each.bar.height


def _lean(page: Page, bars: Sequence[PlacedBar], index: int) -> float:
    """Return the sideways offset at which a figure and its neighbours share the room evenly."""
    lean = 0.0
    for other, side in ((index + 1, -1.0), (index - 1, 1.0)):
        if 0 <= other < len(bars):
            one, two = bars[index], bars[other]
            apart = abs(_middle(one.bar) - _middle(two.bar))
            need = (page.width(one.text, LABEL, True) + page.width(two.text, LABEL, True)) / 2 + 2 * _BESIDE
            if abs(one.bar.top - two.bar.top) < 2 * _OVER_BAR + page.cap(LABEL) and need > apart:
                lean += side * (need - apart) / 2
    return lean


def _middle(bar: Box) -> float:
    return (bar.left + bar.right) / 2


def _place(
    page: Page,
    each: PlacedBar,
    text: str,
    bold: bool,
    walls: Sequence[Box],
    occupied: Sequence[Box],
    box: Box,
    *,
    lean: float = 0.0,
    over_bars: float = 0.0,
) -> Box | None:
    """Find the free place nearest above a bar, stacking above other figures if necessary.

    `over_bars`: also try above neighbouring bars that are taller by no more than this. Returns None if there is no
    place.
    """
    width, rise, drop, _ = page.measure(text, LABEL, bold)
    foot = each.bar.top - _OVER_BAR
    over = [one.top - _OVER_BAR for one in (*occupied, *(walls if over_bars else ()))]
    most = max(_MOST_LIFT, over_bars)
    for bottom in sorted({foot, *(y for y in over if foot - most <= y < foot)}, reverse=True):
        top = bottom - rise - drop
        if top < box.top - 34 - page.cap(LABEL):
            break
        for x in _across(each.bar, width, lean):
            where = Box(x, top, x + width, bottom)
            room = where.grown(_BESIDE, 2.0)
            inside = x >= box.left and where.right <= box.right + 1
            if inside and not any(room.meets(one) for one in (*walls, *occupied)):
                return where
    return None


def _across(bar: Box, width: float, lean: float) -> Iterator[float]:
    """Yield left edges to try: the preferred one first, then further away, as long as the figure is above its bar."""
    least = min(width, bar.width, max(bar.width / 2, _LEAST_OVER))
    low, high = bar.left + least - width, bar.right - least
    wanted = min(max(_middle(bar) - width / 2 + lean, low), high)
    yield wanted
    reach = _STEP
    while reach <= high - low:
        for x in (wanted - reach, wanted + reach):
            if low <= x <= high:
                yield x
        reach += _STEP
