"""The hunt, one long needle whose tip is the failed part; and the fix, what was read before and after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reviewkit.model.card import Fix, Hunt, HuntReading
from reviewkit.render.cards.hero import arrow
from reviewkit.render.cards.scene import Area, Page, Stroke, Text
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import Setting, cut_text, fit_text, place_lines

_WORDS = (56.0, 52.0, 48.0, NOTE, AXIS, LEAST)  # of the readings before the part
_PART = tuple(float(size) for size in range(320, 71, -4))
_NAMES = (48.0, NOTE, AXIS, LEAST)
_GAP = 11.0  # between the needle's pieces
_COLUMN_GAP = 28.0
_PART_WIDTH = 600.0
_TWO_LINES = 150.0  # pitch of rows from which a name may take two lines
_LINE = 1.08  # pitch of a name's lines, in em
_ARROW, _ARROW_GAP = 90.0, 40.0

SHORTEN_POINT = "shorten the point in repair.csv"
SHORTEN_READING = "shorten the reading in repair.csv"


def place_hunt(page: Page, body: Hunt, lower: float) -> None:
    """Place the readings along the needle, the part at its tip. Only the part has its figure, the others their word.

    Raises
    ------
    LayoutFault
        If a name or a reading doesn't fit.
    """
    if page.shape.stacked:
        _place_down(page, body, lower)
    else:
        _place_across(page, body, lower)


# ------------------------------------------------------------------ from left to right


def _place_across(page: Page, body: Hunt, lower: float) -> None:
    safe = page.shape.safe
    part_left = safe.right - _PART_WIDTH
    count = len(body.readings)
    tip = part_left - 50.0
    step = (tip - safe.left) / max(count, 1)
    width = step - _COLUMN_GAP
    centre, half = 585.0 + lower / 2, 122.0
    edges = [0.0, *(safe.left + step * (index + 1) for index in range(count))]
    size = _word_size(page, body.readings, width)
    for index, reading in enumerate(body.readings):
        left = safe.left + step * index
        with page.part_of(f"step {index + 1}"):
            page.add(_piece(page, reading, edges[index], edges[index + 1], tip, centre, half, last=index == count - 1))
            name = _fit_name(page, reading.point, width, weight="regular")
            pitch = name.size * _LINE
            first = centre - half - 44.0 - (len(name.lines) - 1) * pitch
            place_lines(page, name, left, first, pitch, page.look.ink, remedy=SHORTEN_POINT)
            page.add(_word(page, reading, left, centre + half + 80.0, size))
    with page.part_of(f"step {count + 1}"):
        _place_part(page, body.part, part_left, centre, safe.right - part_left)


def _piece(
    page: Page,
    reading: HuntReading,
    left: float,
    right: float,
    tip: float,
    centre: float,
    half: float,
    *,
    last: bool,
) -> Area:
    """Return a piece of the needle between two places along it; the last one ends in the tip."""
    start, stop = left + (_GAP / 2 if left else 0.0), right if last else right - _GAP / 2

    def off(at: float) -> float:
        return half * (tip - at) / tip

    corners = (
        (start, centre - off(start)),
        (stop, centre - off(stop)),
        (stop, centre + off(stop)),
        (start, centre + off(start)),
    )
    return Area("hunt", corners, page.look.status("too low") if reading.out else page.look.hunt)


def _fit_name(
    page: Page, name: str, width: float, sizes: Sequence[float] = _NAMES, most: int = 2, weight: str = "bold"
) -> Setting:
    """Fit a point's name, without what comes after its first comma if it is too long, in the end cut off."""
    head = name.split(",")[0]
    setting = fit_text(page, name, sizes[:1], width, weight=weight)
    for size in sizes:
        setting = setting or fit_text(page, head, (size,), width, weight=weight, most=most)
    return setting or cut_text(page, head, sizes[-1], width, weight)


def _word_size(page: Page, readings: Sequence[HuntReading], width: float) -> float:
    """Return the size at which the words of all readings before the part fit.

    Raises
    ------
    LayoutFault
        If there is none.
    """
    words = [reading.word for reading in readings]
    for size in _WORDS:
        if all(page.width(word, size) <= width for word in words):
            return size
    raise page.fault(max(words, key=len), SHORTEN_READING)


def _word(page: Page, reading: HuntReading, left: float, baseline: float, size: float) -> Text:
    """Return the word of a reading before the part, quieter than the part's."""
    look = page.look
    return page.text(reading.word, left, baseline, size, look.status("too low") if reading.out else look.soft)


def _place_part(page: Page, part: HuntReading, left: float, centre: float, width: float) -> None:
    """Place the failed part: its reading at the needle's tip, its name above, its word below."""
    look = page.look
    figure = fit_text(page, part.reading, [size for size in _PART if size <= 280.0], width, weight="black")
    if figure is None:
        raise page.fault(part.reading, SHORTEN_READING)
    cap = page.cap(figure.size, "black")
    page.add(page.text(part.reading, left, centre + cap / 2, figure.size, look.status("too low"), weight="black"))
    top = min(centre - cap / 2 - 70.0, centre - 122.0 - 44.0)
    name = _fit_name(page, part.point, width, (62.0, 56.0, 50.0, *_NAMES))
    if part.expected:
        expected = fit_text(page, f"expected {part.expected}", (NOTE, AXIS, LEAST), width)
        if expected is None:
            raise page.fault(part.expected, SHORTEN_READING)
        page.add(page.text(expected.lines[0], left, top, expected.size, look.soft, remedy=SHORTEN_READING))
        top -= 66.0
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
    step = (tip - top - 20.0) / max(count, 1)
    half = 66.0
    left = safe.left + 2 * half + 50.0
    words = safe.right - (safe.right - left) * 0.4
    size = _word_size(page, body.readings, safe.right - words)
    for index, reading in enumerate(body.readings):
        start, stop = top + step * index, top + step * (index + 1)
        with page.part_of(f"step {index + 1}"):
            needle = (top, tip, safe.left + half, half)
            page.add(_piece_down(page, reading, start, stop, needle, last=index == count - 1))
            sizes, most = ((NOTE, AXIS, LEAST), 2) if step >= _TWO_LINES else ((AXIS, LEAST), 1)
            width = words - left - _COLUMN_GAP
            name = _fit_name(page, reading.point, width, sizes, most, "regular")
            pitch, baseline = name.size * _LINE, (start + stop) / 2 + 14.0
            first = baseline - (len(name.lines) - 1) * pitch / 2
            place_lines(page, name, left, first, pitch, page.look.ink, remedy=SHORTEN_POINT)
            page.add(_word(page, reading, words, baseline, size))
    with page.part_of(f"step {count + 1}"):
        _place_part_below(page, body.part, tip + 24.0, bottom - 10.0)


def _piece_down(
    page: Page,
    reading: HuntReading,
    start: float,
    stop: float,
    needle: tuple[float, float, float, float],
    *,
    last: bool,
) -> Area:
    top, tip, centre, half = needle
    start += 0.0 if start == top else _GAP / 2
    stop = tip if last else stop - _GAP / 2

    def off(at: float) -> float:
        return half * (tip - at) / (tip - top)

    corners = (
        (centre - off(start), start),
        (centre + off(start), start),
        (centre + off(stop), stop),
        (centre - off(stop), stop),
    )
    return Area("hunt", corners, page.look.status("too low") if reading.out else page.look.hunt)


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
    """Place each reading before and after what was done, and that on the dial line.

    Raises
    ------
    LayoutFault
        If a text doesn't fit.
    """
    if not any(reading.out for reading in body.readings):  # the title says that all are OK
        body = replace(body, readings=tuple(replace(reading, word="") for reading in body.readings))
    shape, look = page.shape, page.look
    safe = shape.safe
    top = {"wide": 250.0, "tall": 580.0, "square": 236.0}[shape.name] + lower
    page.add(Stroke("dial", ((0.0, shape.dial), (float(shape.width), shape.dial)), look.ink, 4.0))
    done = fit_text(page, f"{body.part}: {body.done}", (48.0, NOTE, AXIS, LEAST), safe.width)
    done = done or fit_text(page, body.done, (NOTE, AXIS), safe.width) or cut_text(page, body.done, LEAST, safe.width)
    page.add(page.text(done.lines[0], safe.left, shape.numbers, done.size, look.ink))
    room = shape.dial - 40.0 - top
    step = min(room / max(len(body.readings), 1), 300.0)
    size, name, old = _fix_sizes(page, body.readings, step)
    start = top + (room - step * len(body.readings)) / 2
    for index, reading in enumerate(body.readings):
        with page.part_of(f"step {index + 1}"):
            _place_change(page, reading, start + step * index, step, size, name, old)


def _fix_sizes(page: Page, readings: Sequence[HuntReading], step: float) -> tuple[float, float, float]:
    """Return the size of the figures, the room for the names before them (0: they are above), the old figures' width.

    Raises
    ------
    LayoutFault
        If the figures don't fit.
    """
    safe = page.shape.safe
    above = page.shape.stacked or len(readings) == 1
    for size in range(260, 39, -4):
        if page.cap(size, "black") > step * (0.42 if above else 0.6):
            continue
        old = max((page.width(r.expected, size, "light") for r in readings), default=0.0)
        new = max((page.width(r.reading, size, "black") for r in readings), default=0.0)
        words = 0.0 if above else _words_width(page, readings)
        rest = safe.width - old - _ARROW - 2 * _ARROW_GAP - new - words
        if above and rest >= 0:
            return float(size), 0.0, old
        if rest >= 420.0:
            return float(size), min(rest, 620.0), old
    raise page.fault(max((r.reading for r in readings), key=len), SHORTEN_READING)


def _words_width(page: Page, readings: Sequence[HuntReading]) -> float:
    """Return the room that the verdicts' words take, with the gap before them."""
    return max((page.width(r.word, NOTE, "bold") + 50.0 for r in readings if r.word), default=0.0)


def _place_change(
    page: Page, reading: HuntReading, top: float, step: float, size: float, room: float, old: float
) -> None:
    """Place a reading before and after: its name before it, or above it if `room` is 0."""
    safe, look = page.shape.safe, page.look
    cap = page.cap(size, "black")
    # above the figures there is room for one line, which ends in the verdict's word
    width = room - 40.0 if room else safe.width - _words_width(page, [reading])
    name = _fit_name(page, reading.point, width, (56.0, *_NAMES), 2 if room else 1)
    if room:
        baseline = top + (step + cap) / 2
        first = top + step / 2 + page.cap(name.size, "bold") / 2 - (len(name.lines) - 1) * name.size * _LINE / 2
    else:
        first = top + (step - cap - 30.0 - page.cap(name.size, "bold")) / 2 + page.cap(name.size, "bold")
        baseline = first + 30.0 + cap
    place_lines(page, name, safe.left, first, name.size * _LINE, look.ink, weight="bold", remedy=SHORTEN_POINT)
    x = safe.left + room
    if reading.expected:
        page.add(page.text(reading.expected, x, baseline, size, look.soft, weight="light"))
        arrow(page, x + old + _ARROW_GAP, baseline - cap / 2, _ARROW)
    x += old + _ARROW + 2 * _ARROW_GAP
    page.add(page.text(reading.reading, x, baseline, size, look.ink, weight="black", remedy=SHORTEN_READING))
    if reading.word:
        colour = look.status(reading.word)
        at = baseline if room else first
        page.add(page.text(reading.word, safe.right, at, NOTE, colour, weight="bold", anchor="right"))
