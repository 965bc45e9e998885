"""The thumbnail: the unit's name and one figure, legible at 168 × 94 pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model import quantities
from reviewkit.model.change import Change
from reviewkit.model.episode import Episode
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Finding
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Unit
from reviewkit.render.cards.frame import SHORTEN_NAME
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.look import SAFE_BOTTOM, SAFE_LEFT, SAFE_RIGHT, SAFE_TOP, Look
from reviewkit.render.cards.needle import place_needle, pointer_overhang
from reviewkit.render.cards.paint import NO_FONTS, Fonts, make_measure, paint
from reviewkit.render.cards.png import encode_png
from reviewkit.render.cards.scene import LayoutFault, Page, Stroke
from reviewkit.render.cards.typeset import Setting, fit_text

WIDTH = 1280  # pixels
LEAST = 92.0  # of 1920: eight pixels when shown 168 wide
_WIDTH = SAFE_RIGHT - SAFE_LEFT
_FIGURE_SIZES = tuple(float(size) for size in range(400, 179, -10))
_WORDS_SIZES = (108.0, 100.0, LEAST)
_TOP = SAFE_TOP + 26.0
_NEEDLE_Y, _SCALE_Y = SAFE_BOTTOM - 98.0, SAFE_BOTTOM - 44.0
_OVER_NEEDLE, _OVER_SCALE = 132.0, 128.0  # what a notch or a long tick takes, and some room
_TICKS, _TICKS_PER_LONG = 48, 8
_NEWS = math.log(2)  # a figure that the repair changed by less is not what the episode is about
_NEARLY = math.log(1.25)  # changes as large as the largest but for this: the one of them that says most


@dataclass(frozen=True)
class ThumbnailFigure:
    """The figure of a thumbnail.

    Attributes
    ----------
    words
        What it is, from the longest wording to the shortest.
    verdict, position
        Of the needle, if there is one.
    """

    figure: str
    words: tuple[str, ...] = ()
    verdict: str = ""
    position: float | None = None


# ------------------------------------------------------------------ which figure


def choose_figure(episode: Episode) -> ThumbnailFigure:
    """Choose the figure: the largest change by the repair, else the rated power as measured.

    Failing that, the first verdict's figure; failing that, the year.
    """
    changed = _largest_fall(episode.changes)
    if changed:
        return changed
    measured = [v for v in episode.verdicts if v.measured]
    for verdict in sorted(measured, key=lambda v: v.rating.quantity != "power"):
        figure, _, spot = verdict.measured.rpartition(" at ")
        where = f" at {spot}" if figure else ""
        name, rated = RULES[verdict.rating.quantity].label, f"rated {verdict.limit}"
        words = (f"{verdict.label}{where}, {rated}", f"{name}{where}, {rated}")
        return ThumbnailFigure(figure or verdict.measured, words, verdict.verdict, verdict.position)
    year = episode.session.unit.year
    return ThumbnailFigure(str(year) if year else "")


def _largest_fall(changes: Sequence[Change]) -> ThumbnailFigure | None:
    """Return the distortion that fell most, comparing the worse channels before and after.

    Where a tone has THD+N its cards quote that, and so does the thumbnail.
    """
    spots: dict[tuple[object, ...], list[Change]] = {}
    with_noise = {change.after.measurement for change in changes if change.after.quantity == "thd_plus_noise"}
    for change in changes:
        beside = change.after.quantity == "thd" and change.after.measurement in with_noise
        if change.after.quantity in quantities.DISTORTIONS and not beside:
            spots.setdefault(
                (change.after.quantity, change.after.measurement, *_operating_point(change.after)), []
            ).append(change)
    falls = []
    for both in spots.values():
        before = max((change.before for change in both), key=lambda f: f.value)
        after = max((change.after for change in both), key=lambda f: f.value)
        if before.value > 0 and after.value > 0:
            falls.append((math.log(before.value / after.value), before, after))
    most = max((fall for fall, _, _ in falls), default=0.0)
    if most < _NEWS:
        return None
    near = [(before, after) for fall, before, after in falls if fall >= most - _NEARLY]
    before, after = min(near, key=lambda pair: quantities.DISTORTIONS.index(pair[1].quantity))
    name = str(after.at.get("figure", "")) or quantities.quantity_of(after).name
    return ThumbnailFigure(f"{quantities.number(before)} → {quantities.show(after)}", (f"{name}, before → after", name))


def _operating_point(finding: Finding) -> tuple[object, ...]:
    """Return what distinguishes two figures of one measurement.

    Frequencies are rounded, since channels are driven to nearly the same level.
    """
    limit, frequency = finding.at.get("limit"), finding.at.get("frequency")
    return limit, round(math.log(frequency), 2) if isinstance(frequency, float) and frequency > 0 else frequency


# ------------------------------------------------------------------ layout


def draw_thumbnail(unit: Unit, what: ThumbnailFigure, look: Look, fonts: Fonts = NO_FONTS) -> bytes:
    """Draw the thumbnail as a PNG, 1280 × 720.

    Parameters
    ----------
    unit : Unit
        The unit, for its name.
    what : ThumbnailFigure
        The figure.
    look : Look
        The colours.
    fonts : Fonts
        The user's fonts, if any.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InputError
        If not even the model's name fits.
    """
    page = Page("thumbnail", look, make_measure("thumbnail", fonts))
    try:
        lay_out_thumbnail(page, unit, what)
    except LayoutFault as fault:
        raise InputError(Fault("session.toml", 0, str(fault))) from fault
    for problem in find_problems(page.items, LEAST):
        raise InputError(Fault("session.toml", 0, f"thumbnail: {problem.text} {problem.message}; {SHORTEN_NAME}"))
    flat = dict.fromkeys((look.ground, *(item.colour for item in page.items)))
    return encode_png(paint(page.items, look.ground, WIDTH, fonts), tuple(flat))


def lay_out_thumbnail(page: Page, unit: Unit, what: ThumbnailFigure) -> None:
    """Place name, figure and words above a dial scale.

    Raises
    ------
    LayoutFault
        If not even the model's name fits.
    """
    look = page.look
    floor = _NEEDLE_Y - _OVER_NEEDLE if what.verdict else _SCALE_Y - _OVER_SCALE
    name = _fit_name(page, unit)
    baseline = _TOP + page.cap(name.size, True)
    for index, line in enumerate(name.lines):
        baseline += name.size * 1.08 if index else 0.0
        page.add(page.text(line, SAFE_LEFT, baseline, name.size, look.ink, bold=True, remedy=SHORTEN_NAME))
    with page.part_of("reading"):
        _place_figure(page, what, baseline + 0.3 * name.size, floor)
    with page.part_of("needle"):
        if what.verdict:
            room = pointer_overhang(_WIDTH)
            place_needle(page, SAFE_LEFT + room, _NEEDLE_Y, _WIDTH - 2 * room, what.position, what.verdict, weight=3.0)
        else:
            _place_scale(page)


def _fit_name(page: Page, unit: Unit) -> Setting:
    """Fit maker and model on one line or two, else the model alone, as large as possible."""
    for text, sizes, lines in (
        (unit.name, (168.0, 156.0, 144.0, 132.0), 1),
        (unit.name, (138.0, 126.0, 114.0), 2),
        (unit.name, (106.0, 98.0, LEAST), 2),
        (unit.model, (132.0, 120.0, 108.0, 98.0, LEAST), 2),
    ):
        setting = fit_text(page, text, sizes, _WIDTH, bold=True, most=lines)
        if setting is not None:
            return setting
    setting = fit_text(page, unit.model, (LEAST,), _WIDTH, bold=True, most=3, anywhere=True)
    if setting is None:
        raise page.fault(unit.model, SHORTEN_NAME)
    return setting


def _place_figure(page: Page, what: ThumbnailFigure, top: float, floor: float) -> None:
    """Place words and figure in the middle of the room between the name and the scale."""
    look = page.look
    # better fewer words that are legible than all of them too small
    tried = ((text, size) for size in _WORDS_SIZES for text in what.words)
    words = next((found for text, size in tried if (found := fit_text(page, text, (size,), _WIDTH))), None)
    over = page.cap(words.size) + 0.62 * words.size if words else 0.0
    for size in _FIGURE_SIZES if what.figure else ():
        cap = page.cap(size, True)
        room = floor - top - over - cap
        if page.width(what.figure, size, True) > _WIDTH or room < 0:
            continue
        baseline = top + over + cap + room / 2
        if words:
            at = baseline - cap - 0.62 * words.size
            page.add(page.text(words.lines[0], SAFE_LEFT, at, words.size, look.soft))
        page.add(page.text(what.figure, SAFE_LEFT, baseline, size, look.ink, bold=True))
        return


def _place_scale(page: Page) -> None:
    """Place the dial scale across the picture."""
    look = page.look
    for tick in range(_TICKS + 1):
        x = SAFE_LEFT + 4 + (_WIDTH - 8) * tick / _TICKS
        long = tick % _TICKS_PER_LONG == 0
        end = _SCALE_Y - (84 if long else 44)
        page.add(Stroke("scale", ((x, _SCALE_Y), (x, end)), look.ink if long else look.soft, 8.0 if long else 5.0))
    page.add(Stroke("scale", ((SAFE_LEFT + 4, _SCALE_Y), (SAFE_RIGHT - 4, _SCALE_Y)), look.ink, 8.0))
