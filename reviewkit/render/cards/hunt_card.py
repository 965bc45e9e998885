"""The hunt, one long needle whose tip is the failed part; and the fix, what that part read before and after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from reviewkit.model.card import Fix, Hunt, HuntReading
from reviewkit.render.cards.hero import arrow, bare
from reviewkit.render.cards.scene import Area, Page, Stroke
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import Setting, cut_text, fit_text, place_lines

_WORDS = (NOTE, AXIS, LEAST)  # of the readings before the part
_PART = tuple(float(size) for size in range(320, 71, -4))
_NAMES = (48.0, NOTE, AXIS, LEAST)
_FINE_NAMES = (AXIS, LEAST)  # of what led to the part
_GAP = 11.0  # between the needle's pieces
_TIP = 0.6  # the part's own piece, of a reading's
_COLUMN_GAP = 28.0
_PART_WIDTH = 600.0
_TWO_LINES = 150.0  # pitch of rows from which a name may take two lines
_LINE = 1.08  # pitch of a name's lines, in em
_HALF, _EDGE_GAP = 190.0, 40.0  # half the needle's width at its blunt end; from its edge to a text
_ARROW, _ARROW_GAP, _ARROW_HALF = 90.0, 40.0, 4.0  # the last: half its line
_STACK = 1.1  # pitch of figures one above the other, in em
_EXPECTED = 66.0  # from a name to what was expected
_OVER_OTHERS = 30.0  # from the figures to what the others read, or to the dial line
_PAIR = tuple(float(size) for size in range(300, 39, -4))  # of the fix

SHORTEN_POINT = "shorten the point in repair.csv"
SHORTEN_READING = "shorten the reading in repair.csv"


def place_hunt(page: Page, body: Hunt, lower: float, title: str) -> None:
    """Place the readings along the needle, the part at its tip. Only the part has a figure; a word only what was OK.

    `title`: the card's; what it says isn't said again.

    Raises
    ------
    LayoutFault
        If a name or a reading doesn't fit.
    """
    word = "" if body.part.word.casefold() in title.casefold() else body.part.word
    body = replace(body, part=replace(body.part, word=word))
    safe = page.shape.safe
    if not body.readings:  # a needle would have nothing to narrow
        with page.part_of("step 1"):
            _place_part(page, body.part, safe.left, (page.shape.chart[0] + lower + safe.bottom) / 2, safe.width)
    elif page.shape.stacked:
        _place_down(page, body, lower)
    else:
        _place_across(page, body, lower)


# ------------------------------------------------------------------ from left to right


def _place_across(page: Page, body: Hunt, lower: float) -> None:
    safe = page.shape.safe
    part_left = safe.right - _PART_WIDTH
    count = len(body.readings)
    tip = part_left - 50.0
    step = (tip - safe.left) / (count + _TIP)
    width = step - _COLUMN_GAP
    centre = 585.0 + lower / 2
    edges = [0.0, *(safe.left + step * (index + 1) for index in range(count)), tip]
    words = _words(body.readings)
    size = _word_size(page, words, width)
    for index, (reading, (word, before)) in enumerate(zip(body.readings, words, strict=True)):
        left = safe.left + step * index
        away = _HALF * (tip - left) / tip + _EDGE_GAP
        with page.part_of(f"step {index + 1}"):
            page.add(_piece(_piece_colour(page, reading), edges[index], edges[index + 1], tip, centre))
            name = _fit_reading_name(page, reading, width)
            pitch = name.size * _LINE
            if word and before:  # of several, below the needle
                start = left - step * before
                below = centre + _HALF * (tip - start) / tip + _EDGE_GAP + page.cap(size)
                page.add(page.text(word, start, below, size, page.look.soft))
            elif word:
                page.add(page.text(word, left, centre - away, size, page.look.soft))
                away += size * _LINE
            first = centre - away - (len(name.lines) - 1) * pitch
            place_lines(page, name, left, first, pitch, page.look.soft, remedy=SHORTEN_POINT)
    with page.part_of(f"step {count + 1}"):
        page.add(_piece(page.look.status("too low"), edges[count], tip, tip, centre))
        _place_part(page, body.part, part_left, centre, safe.right - part_left)


def _words(readings: Sequence[HuntReading]) -> list[tuple[str, int]]:
    """Return the word next to each reading, and how many before it that is for, too.

    Of neighbours that were OK the last has it for all: "both OK". Those that were not have none: a second fault would
    compete with the part's.
    """
    words: list[tuple[str, int]] = []
    for out, group in groupby(readings, key=lambda reading: reading.out):
        own = [reading.word for reading in group]
        many = {1: "", 2: "both "}.get(len(own), "all ")
        words += [*[("", 0)] * (len(own) - 1), ("" if out else f"{many}{own[-1]}", len(own) - 1)]
    return words


def _piece_colour(page: Page, reading: HuntReading) -> str:
    """Return the colour of a reading's piece: the part alone, at the tip, has that of a fault."""
    return page.look.soft if reading.out else page.look.hunt


def _fit_reading_name(page: Page, reading: HuntReading, width: float, most: int = 2) -> Setting:
    """Fit the name of a reading before the part."""
    return _fit_name(page, reading.point, width, _FINE_NAMES, most, "regular")


def _piece(colour: str, left: float, right: float, tip: float, centre: float) -> Area:
    """Return a piece of the needle between two places along it."""
    start, stop = left + (_GAP / 2 if left else 0.0), right - (_GAP / 2 if right < tip else 0.0)

    def off(at: float) -> float:
        return _HALF * (tip - at) / tip

    corners = (
        (start, centre - off(start)),
        (stop, centre - off(stop)),
        (stop, centre + off(stop)),
        (start, centre + off(start)),
    )
    return Area("hunt", corners, colour)


def _fit_name(
    page: Page, name: str, width: float, sizes: Sequence[float] = _NAMES, most: int = 2, weight: str = "bold"
) -> Setting:
    """Fit a point's name, without what comes after its first comma if it is too long, in the end cut off."""
    head = name.split(",")[0]
    setting = fit_text(page, name, sizes, width, weight=weight)
    for size in sizes:
        setting = setting or fit_text(page, head, (size,), width, weight=weight, most=most)
    return setting or cut_text(page, head, sizes[-1], width, weight)


def _word_size(page: Page, words: Sequence[tuple[str, int]], width: float) -> float:
    """Return the size at which the words of all readings before the part fit.

    Raises
    ------
    LayoutFault
        If there is none.
    """
    for size in _WORDS:
        if all(page.width(word, size) <= width for word, _ in words):
            return size
    raise page.fault(max((word for word, _ in words), key=len), SHORTEN_READING)


def _place_part(page: Page, part: HuntReading, left: float, centre: float, width: float) -> None:
    """Place the failed part: its reading at the needle's tip, its name above, its word below."""
    look = page.look
    figure = fit_text(page, part.reading, [size for size in _PART if size <= 280.0], width, weight="black")
    if figure is None:
        raise page.fault(part.reading, SHORTEN_READING)
    cap = page.cap(figure.size, "black")
    page.add(page.text(part.reading, left, centre + cap / 2, figure.size, look.status("too low"), weight="black"))
    top = min(centre - cap / 2 - 70.0, centre - 122.0 - 44.0)
    if part.expected:
        expected = fit_text(page, f"expected {part.expected}", (NOTE, AXIS, LEAST), width)
        if expected is None:
            raise page.fault(part.expected, SHORTEN_READING)
        page.add(page.text(expected.lines[0], left, top, expected.size, look.soft, remedy=SHORTEN_READING))
        top -= _EXPECTED
    name = _fit_name(page, part.point, width, (62.0, 56.0, 50.0, *_NAMES))
    for index, line in enumerate(reversed(name.lines)):
        at = top - index * name.size * _LINE
        page.add(page.text(line, left, at, name.size, look.ink, weight="bold", remedy=SHORTEN_POINT))
    if part.word and part.word != part.reading:
        baseline = max(centre + cap / 2 + 90.0, centre + 122.0 + 80.0)
        page.add(page.text(part.word, left, baseline, 62.0, look.ink, weight="bold"))


# ------------------------------------------------------------------ from top to bottom


def _place_down(page: Page, body: Hunt, lower: float) -> None:
    """Place the readings next to a needle that points down, the part under its tip."""
    shape = page.shape
    safe, tall = shape.safe, shape.height > shape.width
    top = (560.0 if tall else 232.0) + lower
    bottom = safe.bottom - 60.0
    tip = bottom - (400.0 if tall else 290.0)
    count = len(body.readings)
    step = (tip - top) / (count + _TIP)
    half = 90.0
    needle = (top, tip, safe.left + half, half)
    left = safe.left + 2 * half + 40.0
    beside = safe.right - (safe.right - left) * 0.4
    words = _words(body.readings)
    size = _word_size(page, words, safe.right - beside)
    for index, (reading, (word, before)) in enumerate(zip(body.readings, words, strict=True)):
        start, stop = top + step * index, top + step * (index + 1)
        with page.part_of(f"step {index + 1}"):
            page.add(_piece_down(_piece_colour(page, reading), start, stop, needle))
            name = _fit_reading_name(page, reading, beside - left - _COLUMN_GAP, 2 if step >= _TWO_LINES else 1)
            pitch, baseline = name.size * _LINE, (start + stop) / 2 + 14.0
            first = baseline - (len(name.lines) - 1) * pitch / 2
            place_lines(page, name, left, first, pitch, page.look.soft, remedy=SHORTEN_POINT)
            if word:
                middle = baseline - step * before / 2
                page.add(page.text(word, beside, middle, size, page.look.soft))
    with page.part_of(f"step {count + 1}"):
        page.add(_piece_down(page.look.status("too low"), top + step * count, tip, needle))
        _place_part_below(page, body.part, tip + 24.0, bottom - 10.0)


def _piece_down(colour: str, start: float, stop: float, needle: tuple[float, float, float, float]) -> Area:
    top, tip, centre, half = needle
    start += _GAP / 2 if start > top else 0.0
    stop -= _GAP / 2 if stop < tip else 0.0

    def off(at: float) -> float:
        return half * (tip - at) / (tip - top)

    corners = (
        (centre - off(start), start),
        (centre + off(start), start),
        (centre + off(stop), stop),
        (centre - off(stop), stop),
    )
    return Area("hunt", corners, colour)


def _place_part_below(page: Page, part: HuntReading, top: float, bottom: float) -> None:
    """Place the failed part below the needle: name and what was expected, then its reading as large as fits."""
    safe, look = page.shape.safe, page.look
    expected = f"expected {part.expected}" if part.expected else ""
    beside = page.width(expected, AXIS) + 40.0 if expected else 0.0
    if beside > safe.width / 2:
        raise page.fault(part.expected, SHORTEN_READING)
    name = _fit_name(page, part.point, safe.width - beside, (62.0, 56.0, 50.0, *_NAMES))
    baseline = top + page.cap(name.size, "bold")
    if expected:
        page.add(page.text(expected, safe.right, baseline, AXIS, look.soft, anchor="right"))
    pitch = name.size * _LINE
    baseline = place_lines(page, name, safe.left, baseline, pitch, look.ink, weight="bold", remedy=SHORTEN_POINT)
    word = part.word if part.word != part.reading else ""
    beside = page.width(word, 62.0, "bold") + 40.0 if word else 0.0
    _, rise, drop, _ = page.measure(part.reading, 100.0, "black")
    room = bottom - baseline - 50.0
    sizes = [size for size in _PART if size * (rise + drop) / 100.0 <= room] or [_PART[-1]]
    figure = fit_text(page, part.reading, sizes, safe.width - beside, weight="black")
    if figure is None:
        raise page.fault(part.reading, SHORTEN_READING)
    at = baseline + 50.0 + figure.size * rise / 100.0
    page.add(page.text(part.reading, safe.left, at, figure.size, look.status("too low"), weight="black"))
    if word:
        page.add(page.text(word, safe.right, at, 62.0, look.ink, weight="bold", anchor="right"))


# ------------------------------------------------------------------ the fix


def place_fix(page: Page, body: Fix, lower: float) -> None:
    """Place the part's reading before and after, what was done on the dial line, and above it what the others read.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    shape, look, reading = page.shape, page.look, body.reading
    safe = shape.safe
    top = {"wide": 260.0, "tall": 580.0, "square": 236.0}[shape.name] + lower
    page.add(Stroke("dial", ((0.0, shape.dial), (float(shape.width), shape.dial)), look.ink, 4.0))
    what = f"What was done: {body.done}"
    done = fit_text(page, what, (56.0, *_NAMES), safe.width) or cut_text(page, what, LEAST, safe.width)
    page.add(page.text(done.lines[0], safe.left, shape.numbers, done.size, look.ink))
    foot = _place_others(page, body.others) if body.others else shape.dial
    with page.part_of("step 1"):
        word = reading.word if reading.out else ""
        beside = page.width(word, NOTE, "bold") + 50.0 if word else 0.0
        name = _fit_name(page, reading.point.split(",")[0], safe.width - beside, (56.0, *_NAMES), 1)
        expected = fit_text(page, f"expected {reading.expected}", (NOTE, AXIS, LEAST), safe.width)
        if expected is None:
            raise page.fault(reading.expected, SHORTEN_READING)
        head = page.cap(name.size, "bold") + (_EXPECTED if reading.expected else 0.0) + 70.0
        room = foot - _OVER_OTHERS - top - head
        size, high = _fit_pair(page, body, room)
        top += (room - high) / 2
        first = top + page.cap(name.size, "bold")
        page.add(page.text(name.lines[0], safe.left, first, name.size, look.ink, weight="bold"))
        if word:
            colour = look.status(word)
            page.add(page.text(word, safe.right, first, NOTE, colour, weight="bold", anchor="right"))
        if reading.expected:
            page.add(page.text(expected.lines[0], safe.left, first + _EXPECTED, expected.size, look.soft))
        _place_pair(page, body, top + head, size)


def _place_others(page: Page, text: str) -> float:
    """Place what the others read above the dial line, on two lines if need be; return its upper end."""
    safe = page.shape.safe
    setting = fit_text(page, text, (NOTE, AXIS, LEAST), safe.width, most=2) or cut_text(page, text, LEAST, safe.width)
    pitch = setting.size * _LINE
    first = page.shape.dial - 44.0 - (len(setting.lines) - 1) * pitch
    with page.part_of("step 2"):
        place_lines(page, setting, safe.left, first, pitch, page.look.soft)
    return first - page.measure(setting.lines[0], setting.size, "regular").rise


def _fit_pair(page: Page, body: Fix, room: float) -> tuple[float, float]:
    """Return the size of the figures before and after, and how high they are: in a narrow frame, one above the other.

    Raises
    ------
    LayoutFault
        If they don't fit.
    """
    stacked, safe, new = page.shape.stacked, page.shape.safe, body.reading.reading
    for size in _PAIR:
        old, after = page.measure(_old(body), size, "light"), page.measure(new, size, "black")
        beside = (
            max(old.width, _ARROW_HALF + _ARROW + _ARROW_GAP + after.width)
            if stacked
            else old.width + _ARROW + 2 * _ARROW_GAP + after.width
        )
        high = page.cap(size, "black") + (size * _STACK if stacked else 0.0)
        drop = after.drop if stacked else max(old.drop, after.drop)  # of "µ", over what is below
        if beside <= safe.width and high + drop <= room:
            return size, high + drop
    raise page.fault(max(new, body.before, key=len), SHORTEN_READING)


def _old(body: Fix) -> str:
    return bare(body.before, body.reading.reading)


def _place_pair(page: Page, body: Fix, top: float, size: float) -> None:
    """Place the reading before, an arrow, and that after it."""
    look, cap = page.look, page.cap(size, "black")
    old = page.text(_old(body), page.shape.safe.left, top + cap, size, look.soft, weight="light")
    page.add(old)
    stacked = page.shape.stacked
    baseline = old.baseline + (size * _STACK if stacked else 0.0)
    x = page.shape.safe.left + _ARROW_HALF if stacked else old.box.right + _ARROW_GAP
    arrow(page, x, baseline - cap / 2, _ARROW)
    x += _ARROW + _ARROW_GAP
    page.add(page.text(body.reading.reading, x, baseline, size, look.ink, weight="black", remedy=SHORTEN_READING))
