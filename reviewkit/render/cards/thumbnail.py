"""Thumbnails: few words and one figure, legible at 168 × 94 pixels; of the figure, of the pair, of the photograph."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from reviewkit.episode.bounds import word_bound
from reviewkit.episode.score import change_hero, judged_figure
from reviewkit.episode.session_cards import find_hook
from reviewkit.episode.stills import changed_most
from reviewkit.episode.wording import lower_first
from reviewkit.model import quantities
from reviewkit.model.card import Card, Chart, Hero, Panel, Trace
from reviewkit.model.change import Change
from reviewkit.model.episode import Episode
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Session
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.chart import place_room
from reviewkit.render.cards.colours import Look
from reviewkit.render.cards.frame import SHORTEN_NAME, picture, place_mark
from reviewkit.render.cards.hero import arrow, bare, small
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.paint import NO_FONTS, Fonts, make_measure, paint
from reviewkit.render.cards.png import encode_png
from reviewkit.render.cards.scene import LayoutFault, Page, Stroke
from reviewkit.render.cards.shape import WIDE
from reviewkit.render.cards.sizes import DASH
from reviewkit.render.cards.traces import clip_trace, to_pixels, whole_dashes
from reviewkit.render.cards.typeset import fit_block, fit_text, line_pitch, place_lines
from reviewkit.verdict.verdict import MEETS

PREVIEW = "thumbnail.png"  # what a link to the page shows
WIDTH = 1280  # pixels
LEAST = 92.0  # of 1920: eight pixels when shown 168 wide
MOST_WORDS = 4  # with those that say what the figure is
_PICTURE = Box(1104.0, 0.0, 1920.0, 606.0)
_CURVES = Box(1140.0, 84.0, 1800.0, 560.0)
_WORDS = tuple(float(size) for size in range(250, int(LEAST) - 1, -4))
_FIGURES = tuple(float(size) for size in range(480, int(LEAST) - 1, -4))
_TOP, _BASELINE = 90.0, 900.0  # a player's clock covers the lower right corner (common practice, no source)
_CURVE, _GHOST = 18.0, 10.0  # line widths
_ARROW, _ARROW_GAP, _BESIDE = 130.0, 44.0, 36.0
_MARK = 84.0
_ASCENDER = 0.06  # of a type's size, above its capitals


@dataclass(frozen=True, eq=False)
class Thumbnail:
    """A thumbnail as data.

    Attributes
    ----------
    words
        The hook, or the unit's name.
    what
        What the figure is: "distortion".
    before
        The same figure before the repair.
    bound
        After the figure, "or less" or "or more" if it is a bound.
    panel
        The pair's curves.
    photo, mark
        Bytes of the user's own pictures.
    """

    words: str
    what: str
    figure: str
    before: str = ""
    bound: str = ""
    panel: Panel | None = None
    photo: bytes = field(default=b"", repr=False)
    mark: bytes = field(default=b"", repr=False)


# ------------------------------------------------------------------ what is on them


def choose_thumbnails(episode: Episode, photo: bytes = b"", mark: bytes = b"") -> dict[str, Thumbnail]:
    """Return the thumbnails to choose from, by file name: the figure, the pair, the photograph. The one that the
    session chooses is thumbnail.png.

    The figure is what the repair changed most; without a repair, the rated power as measured, else what is met.
    """
    improved = _improved(episode.cards)
    if improved is not None:
        pair, change = improved
        hero, what = word_bound(change_hero(change)), quantities.quantity_of(change.after).plain_name
        own = Thumbnail(_words(episode.session, what), what, hero.figure, bound=hero.bound, mark=mark)
        both = replace(own, before=bare(hero.before, hero.figure))
        panel = pair.body.panels[0] if isinstance(pair.body, Chart) else None
        made = {"figure": own, "pair": replace(both, panel=panel)}
    else:
        own = both = _without_repair(episode, mark)
        made = {"figure": own}
    made |= {"photo": replace(both, photo=photo)} if photo else {}
    chosen = episode.session.episode.thumbnail
    first = made.pop(chosen if chosen in made else "figure")
    return {PREVIEW: first, **{f"thumbnail-{name}.png": each for name, each in made.items()}}


def remark_on_thumbnail(session: Session, cards: Sequence[Card], photo: bytes) -> tuple[str, ...]:
    """Return what the thumbnail lacks that the session chooses, if it can't be made."""
    chosen = session.episode.thumbnail
    lacking = {"pair": "a figure that the repair improved", "photo": "a photo in [episode]"}
    if chosen == "figure" or (photo if chosen == "photo" else _improved(cards)):
        return ()
    return (f'no thumbnail "{chosen}" without {lacking[chosen]}: {PREVIEW} shows the figure',)


def _improved(cards: Sequence[Card]) -> tuple[Card, Change] | None:
    """Return the pair of cards whose figure the repair changed most, and the change, if it improved."""
    pair = changed_most(cards)
    change: Change | None = pair.finding.facts["change"] if pair is not None and pair.finding is not None else None
    return (pair, change) if pair is not None and change is not None and change.improved else None


def _without_repair(episode: Episode, mark: bytes) -> Thumbnail:
    measured = [v for v in episode.verdicts if v.measured and v.findings]
    verdict = min(measured, key=lambda v: (v.verdict != MEETS, v.rating.quantity != "power"), default=None)
    if verdict is not None:
        what, hero = lower_first(rule_of(verdict.rating).label), word_bound(Hero(judged_figure(verdict)))
        return Thumbnail(_words(episode.session, what), what, hero.figure, bound=hero.bound, mark=mark)
    year = episode.session.unit.year
    return Thumbnail(_words(episode.session, ""), "", str(year) if year else "", mark=mark)


def _words(session: Session, what: str) -> str:
    """Return the hook if it fits next to the figure's name, else the unit's name, else its model."""
    room = MOST_WORDS - len(what.split())
    tried = (find_hook(session), session.unit.name, session.unit.short_name, session.unit.model)
    return next((text for text in tried if len(text.split()) <= room), session.unit.model)


# ------------------------------------------------------------------ layout


def draw_thumbnail(what: Thumbnail, look: Look, fonts: Fonts = NO_FONTS) -> bytes:
    """Draw a thumbnail as a PNG, 1280 × 720.

    Parameters
    ----------
    what : Thumbnail
        What is on it.
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
        If a text doesn't fit.
    """
    page = Page("thumbnail", look, make_measure("thumbnail", fonts), WIDE)
    try:
        lay_out_thumbnail(page, what)
    except LayoutFault as fault:
        raise InputError(Fault("session.toml", 0, str(fault))) from fault
    for problem in find_problems(page.items, WIDE, LEAST):
        raise InputError(Fault("session.toml", 0, f"thumbnail: {problem.text} {problem.message}; {SHORTEN_NAME}"))
    pixels = paint(page.items, look.ground, WIDTH, fonts)
    return encode_png(pixels, [look.ground, *(item.colour for item in page.items)])


def lay_out_thumbnail(page: Page, what: Thumbnail) -> None:
    """Place words, figure and picture; the lower right corner stays empty.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    look, safe = page.look, page.shape.safe
    beside = bool(what.photo) or (what.panel is not None and _place_curves(page, what.panel))
    if what.photo:
        page.add(picture("photo", _PICTURE, what.photo, page))
    low = _place_figure(page, what, 300.0 if beside else 480.0)
    width = (_PICTURE.left - 50.0 if beside else safe.right) - safe.left
    low = min(_PICTURE.bottom - 50.0, low) if beside else low
    most, height = 3 if beside else 2, low - 40.0 - _TOP
    words = fit_block(page, what.words, _WORDS, width, height, most=most, leading=0.98, anywhere=True)
    if words is None:
        raise page.fault(what.words, SHORTEN_NAME)
    baseline, pitch = _TOP + page.cap(words.size, "black"), line_pitch(page, words, "black", 0.98)
    place_lines(page, words, safe.left, baseline, pitch, look.ink, weight="black", remedy=SHORTEN_NAME)
    if what.mark:
        place_mark(page, what.mark, safe.left, safe.bottom - 36.0, high=_MARK)


def _place_figure(page: Page, what: Thumbnail, largest: float) -> float:
    """Place the figure with what it is above it; return the top of that."""
    if not what.figure:
        return _BASELINE
    look, safe = page.look, page.shape.safe
    for size in _FIGURES:
        before = page.width(what.before, size, "light") + _ARROW + 2 * _ARROW_GAP if what.before else 0.0
        after = max(small(size), LEAST)
        bound = _BESIDE + page.width(what.bound, after) if what.bound else 0.0
        if size <= largest and before + page.width(what.figure, size, "black") + bound <= safe.width:
            break
    else:
        raise page.fault(what.figure, SHORTEN_NAME)
    cap, x = page.cap(size, "black"), safe.left
    with page.part_of("reading"):
        if what.before:
            old = page.text(what.before, x, _BASELINE, size, look.soft, weight="light")
            page.add(old)
            arrow(page, old.box.right + _ARROW_GAP, _BASELINE - cap / 2, _ARROW)
            x = old.box.right + _ARROW + 2 * _ARROW_GAP
        figure = page.text(what.figure, x, _BASELINE, size, look.ink, weight="black")
        page.add(figure)
        if what.bound:
            page.add(page.text(what.bound, figure.box.right + _BESIDE, _BASELINE, after, look.ink))
        if not what.what:
            return _BASELINE - cap
        words = fit_text(page, what.what, (110.0, 100.0, LEAST), safe.width)
        if words is None:
            return _BASELINE - cap
        rise = _ASCENDER * size if set("bdfhkl") & set(what.figure) else 0.0  # "dBf" is higher than its capitals
        baseline = _BASELINE - cap - rise - 0.42 * words.size
        page.add(page.text(what.what, safe.left, baseline, words.size, look.soft))
    return baseline - page.cap(words.size)


def _place_curves(page: Page, panel: Panel) -> bool:
    """Place the curves before and after, and the room between them; False if there are none."""
    if panel.room is None or place_room(page, panel, _CURVES) is None:
        return False
    for trace, width in _curves(panel):
        points = to_pixels(clip_trace(panel.x, panel.y, trace), _CURVES)
        dash = whole_dashes(points, (DASH[0] * width, DASH[1] * width)) if trace.channel[:1] == "R" else None
        page.add(Stroke("curve", points, page.look.curve(trace.channel, trace.role), width, dash))
    return True


def _curves(panel: Panel) -> Iterator[tuple[Trace, float]]:
    if panel.room is not None:
        yield panel.room.one, _GHOST
        yield panel.room.other, _CURVE
