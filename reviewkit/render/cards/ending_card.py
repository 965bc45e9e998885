"""The ending: one word, what changed most, and how the ratings came out, as a tally on the dial line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.model.card import Ending, Hero
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.frame import under_overline
from reviewkit.render.cards.hero import arrow, bare
from reviewkit.render.cards.scene import Area, Page, Stroke
from reviewkit.render.cards.shape import SQUARE, TALL, WIDE
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import cut_text, fit_block, fit_text, place_lines

# the largest sizes of word, change and count, and the room between them
_SIZES = {WIDE.name: (310, 180, 150, 56.0), TALL.name: (310, 240, 180, 90.0), SQUARE.name: (190, 116, 92, 36.0)}
_SHARES = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5)  # of these
_FIGURE_SHARE = 0.8  # of the word's size: the word is what is read first
_LEAST_GAP = 30.0
_OVER_FOOT = 16.0  # below lines that may be left out
_UNDER_WORD = 0.12  # of the word's size: the least room for what is said below it
_LINE = 50.0
_MARK, _HIGH, _RING = 14.0, 46.0, 10.0  # width of a tally's mark, how high, a hollow one's radius
_MOST_STEP, _LEAST_STEP, _GROUP_GAP = 60.0, 34.0, 70.0  # from mark to mark, if there is room; between groups
_NAMES = {"falls short": "missed", "too close to call": "too close to call", "meets": "met"}
_SHORT_NAMES = {"falls short": "missed", "too close to call": "too close", "meets": "met"}
_ARROW, _ARROW_GAP = 84.0, 32.0
_WORD, _CHANGE, _TALLY = "step 1", "step 2", "step 3"  # the order in which a clip shows them

SHORTEN = "shorten the rating's input or condition in [[rated]]"


def place_ending(page: Page, body: Ending, lower: float) -> None:
    """Place word, change and tally, as large as fits.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    shape, look = page.shape, page.look
    page.add(Stroke("dial", ((0.0, shape.dial), (float(shape.width), shape.dial)), look.ink, 4.0))
    foot = shape.dial - 40.0
    if _has_tally(body):
        with page.part_of(_TALLY):
            _place_tally(page, body.tally)
        foot = shape.dial - _HIGH - (90.0 if body.unchecked else 70.0)
    if body.unchecked:
        line = fit_text(page, _unchecked(body.unchecked), (NOTE, AXIS, LEAST), shape.safe.width, most=2)
        if line is None:
            raise page.fault(body.unchecked[0], SHORTEN)
        pitch = 1.2 * line.size
        foot -= (len(line.lines) - 1) * pitch
        with page.part_of(_TALLY):
            place_lines(page, line, shape.safe.left, foot, pitch, look.ink)
        foot -= page.cap(line.size) + 30.0
    before = len(page.items)
    top = under_overline(page.shape, lower) + 52.0
    for share in _SHARES:
        del page.items[before:]
        if _place_parts(page, body, top, foot, share) <= foot:
            return
    raise page.fault(body.pending or body.word, SHORTEN, "leaves the rest of the card no room")


def _place_parts(page: Page, body: Ending, top: float, bottom: float, share: float) -> float:
    """Place word, change and count at a share of their largest sizes; return the last baseline."""
    shape, look = page.shape, page.look
    safe = shape.safe
    largest, figure, count, gap = (size * share for size in _SIZES[shape.name])
    sizes = [float(size) for size in range(int(largest), 79, -6)]
    word = fit_block(page, body.word, sizes, safe.width, 300.0, most=1)
    if word is None:
        raise page.fault(body.word, SHORTEN)
    figure = min(figure, _FIGURE_SHARE * word.size)
    baseline = top + page.cap(word.size, "black")
    drop = page.measure(body.word, word.size, "black")[2]
    with page.part_of(_WORD):
        page.add(page.text(body.word, safe.left, baseline, word.size, look.ink, weight="black"))
        last = baseline + drop
        if body.pending:
            last = max(last, baseline + _UNDER_WORD * word.size)
            last = _place_lines(page, ((body.pending, look.soft),), replace(safe, top=last + 24.0)) + 20.0
    room = replace(safe, top=last + gap, bottom=bottom)
    if not shape.stacked and body.hero and body.of:
        left = replace(room, right=safe.left + 0.5 * safe.width - 30)
        with page.part_of(_CHANGE):
            beside, last = _place_hero(page, body.hero, left, figure)
        with page.part_of(_TALLY):
            right = replace(room, left=safe.left + 0.53 * safe.width)
            return max(last, _place_score(page, body, right, beside, count))
    if body.hero:
        with page.part_of(_CHANGE):
            last = _place_hero(page, body.hero, room, figure)[1]
    if body.of:
        with page.part_of(_TALLY):
            return _place_score(page, body, replace(room, top=last + max(gap, _LEAST_GAP)), 0.0, count)
    return last


def _unchecked(names: Sequence[str]) -> str:
    """Return which safety readings are lacking, plainly: "Still to check: bias, electrical safety"."""
    return f"Still to check: {', '.join(name.split(',')[0] for name in names)}"


def _place_tally(page: Page, words: Sequence[str]) -> None:
    """Place a mark for each rating, those of one verdict together under its name.

    Missed hangs below the line, too close lies across it, met stands on it; a ring could not be compared.
    """
    shape, look = page.shape, page.look
    counts = Counter("not judged" if word not in _NAMES else word for word in words)
    names = {word: (_NAMES.get(word, word), _SHORT_NAMES.get(word, word)) for word in counts}
    for size, form, gap in ((AXIS, 0, _GROUP_GAP), (AXIS, 1, _GROUP_GAP), (LEAST, 1, 24.0)):
        widths = {word: page.width(names[word][form], size) for word in counts}
        room = shape.safe.width - sum(widths.values()) - gap * (len(counts) - 1)
        # a group of many takes more than its name
        step = _MOST_STEP
        while sum(max(step * (counts[word] - 1) + _MARK - widths[word], 0.0) for word in counts) > room and step > 1.0:
            step *= 0.9
        if room >= 0 and step >= _LEAST_STEP:
            break
    left = shape.safe.left
    for word, count in counts.items():
        for index in range(count):
            _place_mark(page, word, left + _MARK / 2 + step * index, min(_MARK / 2, step * 0.3))
        colour = look.status(word) if word == "falls short" else look.soft
        page.add(page.text(names[word][form], left, shape.dial - _HIGH - 18.0, size, colour))
        left += max(widths[word], step * (count - 1) + _MARK) + gap


def _place_mark(page: Page, word: str, x: float, half: float) -> None:
    y, look = page.shape.dial, page.look
    top, bottom = {
        "falls short": (y - 2.0, y + _HIGH),
        "too close to call": (y - _HIGH / 2, y + _HIGH / 2),
        "meets": (y - _HIGH, y + 2.0),
    }.get(word, (0.0, 0.0))
    if bottom:
        corners = ((x - half, top), (x + half, top), (x + half, bottom), (x - half, bottom))
        page.add(Area("needle", corners, look.status(word)))
        return
    radius = min(_RING, half * 1.4)
    page.add(Area("tally", ring(x, y, radius + 2.0), look.soft), Area("tally", ring(x, y, radius - 2.0), look.ground))


def ring(x: float, y: float, radius: float) -> tuple[tuple[float, float], ...]:
    """Return the corners of a circle."""
    from math import cos, pi, sin

    turns = [2 * pi * index / 24 for index in range(24)]
    return tuple((x + radius * cos(turn), y + radius * sin(turn)) for turn in turns)


def _place_hero(page: Page, hero: Hero, box: Box, largest: float) -> tuple[float, float]:
    """Place what changed most, or the rating nearest to its limit; return the figure's baseline and the last one.

    Raises
    ------
    LayoutFault
        If it doesn't fit.
    """
    look = page.look
    caption = None
    if hero.caption:
        caption = fit_text(page, hero.heading, (48.0, NOTE, AXIS, LEAST), box.width, most=2)
        caption = caption or cut_text(page, hero.heading, LEAST, box.width)
    old = bare(hero.before, hero.figure) if hero.before else ""
    for size in range(int(largest), 43, -4):
        before = page.width(old, size, "light") + _ARROW + 2 * _ARROW_GAP if old else 0.0
        beside = 20 + page.width(hero.addition, NOTE) if hero.addition else 0.0
        if before + page.width(hero.figure, size, "black") + beside <= box.width:
            break
    else:
        raise page.fault(hero.figure, SHORTEN)
    y = box.top
    for index, line in enumerate(caption.lines if caption else ()):
        y += page.cap(NOTE) + (18.0 if index else 0.0)
        page.add(page.text(line, box.left, y, caption.size if caption else NOTE, look.soft))
    cap, x = page.cap(size, "black"), box.left
    y += cap + 36.0
    if old:
        text = page.text(old, x, y, size, look.soft, weight="light")
        page.add(text)
        arrow(page, text.box.right + _ARROW_GAP, y - cap / 2, _ARROW)
        x = text.box.right + 2 * _ARROW_GAP + _ARROW
    figure = page.text(hero.figure, x, y, size, look.ink, weight="black", remedy=SHORTEN)
    page.add(figure)
    if hero.addition:
        page.add(page.text(hero.addition, figure.box.right + 20, y, NOTE, look.ink))
    colour = look.status("falls short") if hero.note.startswith("missed") else look.ink
    if not hero.note:
        return y, y
    note = fit_text(page, hero.note, (72.0, 64.0, 56.0, NOTE, AXIS, LEAST), box.width, weight="bold", most=2)
    note = note or cut_text(page, hero.note, LEAST, box.width, "bold")
    pitch = 1.2 * note.size
    return y, place_lines(page, note, box.left, y + 44.0 + page.cap(note.size, "bold"), pitch, colour, weight="bold")


def _place_score(page: Page, body: Ending, box: Box, baseline: float, largest: float) -> float:
    """Place how many ratings were met of those compared, then the misses; return the last baseline.

    `baseline`: of the figure next to it, at least.
    """
    look = page.look
    for size in range(int(largest), 39, -8):
        large = page.width(body.met, size, "black")
        of = fit_text(page, body.of, (64.0, 58.0, 52.0, 46.0, AXIS), box.width - large - 24, weight="bold")
        if of is not None:
            break
    else:
        raise page.fault(body.of, SHORTEN)
    y = max(box.top + max(page.cap(size, "black"), page.measure(body.of, of.size, "bold").rise), baseline)
    colour = look.status("meets") if body.met != "0" and body.of.endswith(" met") else look.ink
    page.add(page.text(body.met, box.left, y, size, colour, weight="black"))
    page.add(page.text(body.of, box.left + large + 24, y, of.size, look.ink, weight="bold"))
    others = [(text, look.soft) for text in _others(body)]
    room = box.bottom - y - 24.0
    lines = _missed_lines(page, body, len(body.missed))
    while others and _lines_height(page, [*lines, *others], box.width) > room - _OVER_FOOT:
        others.pop()
    shown = len(body.missed)
    while shown and _lines_height(page, lines, box.width) > room:
        shown -= 1
        lines = _missed_lines(page, body, shown)
    return _place_lines(page, [*lines, *others], replace(box, top=y + 24.0))


def _has_tally(body: Ending) -> bool:
    """Return whether marks say more than the count: not without a miss, nor of one judged rating."""
    return "falls short" in body.tally and sum(word in _NAMES for word in body.tally) > 1


def _others(body: Ending) -> list[str]:
    """Return how many were undecided, unless the tally or the large figure says so."""
    said = bool(body.hero and "too close to call" in body.hero.note)
    close = body.tally.count("too close to call")
    return [f"{close} undecided"] if close > said and not _has_tally(body) else []


def _missed_lines(page: Page, body: Ending, count: int) -> list[tuple[str, str]]:
    """Return the lines under the count with their colours: some misses by name, how many more."""
    short, names = page.look.status("falls short"), body.missed[:count]
    lines = [(f"missed: {name}", short) for name in names]
    more = len(body.missed) - count
    if more:
        lines.append((f"and {more} more missed" if names else f"{more} missed", short))
    return lines


def _settings(page: Page, text: str, width: float) -> tuple[float, tuple[str, ...]]:
    """Return a line's size and parts: on one line, on two, or cut off."""
    setting = fit_text(page, text, (NOTE, AXIS, LEAST), width) or fit_text(page, text, (LEAST,), width, most=2)
    setting = setting or cut_text(page, text, LEAST, width)
    return setting.size, setting.lines


def _lines_height(page: Page, lines: Sequence[tuple[str, str]], width: float) -> float:
    return sum(_LINE * len(_settings(page, text, width)[1]) for text, _ in lines)


def _place_lines(page: Page, lines: Sequence[tuple[str, str]], box: Box) -> float:
    """Place lines of text with their colours; return the last baseline."""
    y = box.top
    for text, colour in lines:
        size, parts = _settings(page, text, box.width)
        for part in parts:
            y += _LINE
            page.add(page.text(part, box.left, y, size, colour, remedy=SHORTEN))
    return y
