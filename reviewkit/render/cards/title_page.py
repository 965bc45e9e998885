"""The opening card: the hook large, then the name and what it is, the photograph, the prices on a dial of years."""

from __future__ import annotations

from dataclasses import dataclass, replace

from reviewkit.model.card import TitlePage
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.frame import SHORTEN_NAME, picture, place_mark
from reviewkit.render.cards.price_card import place_years
from reviewkit.render.cards.scene import Page, Stroke
from reviewkit.render.cards.shape import SQUARE, TALL, WIDE
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE, OVERLINE
from reviewkit.render.cards.typeset import Setting, fit_block, fit_text, line_pitch, place_lines

# where the photograph is, up to the frame's edges
_PHOTO = {
    WIDE.name: Box(960.0, 0.0, 1920.0, 756.0),
    TALL.name: Box(0.0, 860.0, 1080.0, 1330.0),
    SQUARE.name: Box(0.0, 500.0, 1080.0, 730.0),
}
_HOOKS = tuple(float(size) for size in range(320, 51, -4))
_WITH_PHOTO = 184.0  # the largest hook next to a photograph
_LEADING = 0.96
_ABOVE = 10.0  # above the hook's capitals nothing is nearer
_NAME_GAP, _WHAT = 36.0, 60.0  # from the hook to the name, at least; pitch of the lines below it
_WHATS = (48.0, NOTE, AXIS, LEAST)
_OVER_PHOTO, _LEAST_PHOTO = 28.0, 120.0
_NAMES = (64.0, 58.0, 52.0, 46.0, AXIS)

SHORTEN_HOOK = "shorten the title in [episode]"
SHORTEN_WHAT = "shorten what = … in [unit]"
SHORTEN_PRESENTER = "shorten the presenter"


def place_title_page(page: Page, body: TitlePage, mark: bytes = b"") -> None:
    """Place the opening card.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    shape, look = page.shape, page.look
    safe, photo = shape.safe, _PHOTO[shape.name] if body.photo else None
    beside = photo is not None and not shape.stacked
    width = (photo.left - 60.0 if photo and beside else safe.right) - safe.left
    if body.price:
        bottom = place_years(page, body.price)
    else:
        page.add(Stroke("dial", ((0.0, shape.dial), (float(shape.width), shape.dial)), look.ink, 4.0))
        bottom = shape.dial - 60.0
    top = _place_presenter(page, body, mark, width)
    texts = _TitleTexts.of(page, body, width)
    if not photo or beside:
        hook = _fit_hook(page, body.hook, width, bottom - top - texts.height, _WITH_PHOTO if photo else _HOOKS[0])
        if hook is None:
            raise page.fault(body.hook, SHORTEN_HOOK)
    else:  # above the photograph, which is less high if they need its room
        most, least = photo.top - _OVER_PHOTO - top, photo.bottom - _LEAST_PHOTO - _OVER_PHOTO - top
        hook = _fit_hook(page, body.hook, width, most - texts.height, _WITH_PHOTO)
        hook = hook or _fit_hook(page, body.hook, width, least - texts.height, _WITH_PHOTO)
        if hook is None:
            raise page.fault(body.hook, SHORTEN_HOOK)
    pitch = line_pitch(page, hook, "black", _LEADING)
    high = _rise(page, hook) + (len(hook.lines) - 1) * pitch
    baseline = top + _rise(page, hook)
    if not photo:
        baseline += max(bottom - top - texts.height - high - _drop(page, hook) - _gap(hook), 0.0) / 2
    with page.part_of("reading"):
        place_lines(page, hook, safe.left, baseline, pitch, look.ink, weight="black", remedy=SHORTEN_HOOK)
    last = texts.place(page, baseline + high - _rise(page, hook) + _drop(page, hook) + _gap(hook))
    if photo:
        photo = photo if beside else replace(photo, top=max(photo.top, last + _OVER_PHOTO))
        page.add(picture("photo", photo, body.photo, page))


@dataclass(frozen=True)
class _TitleTexts:
    """The unit's name and what it is, as set; `height` from the top of the name's capitals to the last descender."""

    name: Setting | None
    what: Setting | None
    height: float

    @classmethod
    def of(cls, page: Page, body: TitlePage, width: float) -> _TitleTexts:
        """Set both.

        Raises
        ------
        LayoutFault
            If one of them doesn't fit.
        """
        name = fit_text(page, body.name, _NAMES, width, weight="bold", most=2, anywhere=True) if body.name else None
        if body.name and name is None:
            raise page.fault(body.name, SHORTEN_NAME)
        what = fit_text(page, body.what, _WHATS, width, most=2, anywhere=True) if body.what else None
        if body.what and what is None:
            raise page.fault(body.what, SHORTEN_WHAT)
        height = page.cap(name.size, "bold") + (len(name.lines) - 1) * name.size * 1.06 if name else 0.0
        height += len(what.lines) * _WHAT if what else 0.0
        return cls(name, what, height + 10.0)

    def place(self, page: Page, top: float) -> float:
        """Place both; return the last baseline."""
        left, baseline = page.shape.safe.left, top
        if self.name:
            baseline += page.cap(self.name.size, "bold")
            pitch, ink = self.name.size * 1.06, page.look.ink
            baseline = place_lines(page, self.name, left, baseline, pitch, ink, weight="bold", remedy=SHORTEN_NAME)
        if self.what:
            soft = page.look.soft
            baseline = place_lines(page, self.what, left, baseline + _WHAT, _WHAT, soft, remedy=SHORTEN_WHAT)
        return baseline


def _fit_hook(page: Page, text: str, width: float, height: float, most: float) -> Setting | None:
    """Fit the hook on at most three lines, a long one on four, with the gap below it; None if it doesn't fit."""
    sizes = [size for size in _HOOKS if size <= most]
    for lines, anywhere in ((3, False), (4, False), (3, True)):
        # words are broken only if there is no other way, and then any size will do
        for size in sizes[::8] if anywhere else sizes:
            hook = fit_block(page, text, (size,), width, height, most=lines, leading=_LEADING, anywhere=anywhere)
            if hook is None:
                continue
            pitch = line_pitch(page, hook, "black", _LEADING)
            high = _rise(page, hook) + (len(hook.lines) - 1) * pitch + _drop(page, hook)
            if high + _gap(hook) <= height:
                return hook
    return None


def _gap(hook: Setting) -> float:
    """Return the room between hook and name."""
    return max(_NAME_GAP, 0.28 * hook.size)


def _rise(page: Page, hook: Setting) -> float:
    """Return the height of the first line: of its capitals, or of a "k" or an accent that is far above them."""
    return max(page.cap(hook.size, "black"), page.measure(hook.lines[0], hook.size, "black")[1] - _ABOVE)


def _drop(page: Page, hook: Setting) -> float:
    """Return how far the last line's letters reach below the baseline."""
    return page.measure(hook.lines[-1], hook.size, "black")[2]


def _place_presenter(page: Page, body: TitlePage, mark: bytes, width: float) -> float:
    """Place the user's mark and the presenter above the hook; return where the hook may begin."""
    shape = page.shape
    left = shape.safe.left
    if mark:
        left += place_mark(page, mark, left, shape.overline)
    if body.presenter:
        setting = fit_text(
            page, body.presenter, (OVERLINE, LEAST), shape.safe.left + width - left, most=2, anywhere=True
        )
        if setting is None:
            raise page.fault(body.presenter, SHORTEN_PRESENTER)
        soft = page.look.soft
        return 40.0 + place_lines(page, setting, left, shape.overline, 46.0, soft, remedy=SHORTEN_PRESENTER)
    return shape.overline + 40.0 if mark else shape.safe.top + 10.0
