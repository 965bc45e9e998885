"""Table cards: horizontal rules only, under a dial line that carries the headers; figures end on the right."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from reviewkit.model.card import Card, Row, Rows
from reviewkit.render.cards.count import place_count
from reviewkit.render.cards.frame import SHORTEN_TITLE, place_frame, under_overline
from reviewkit.render.cards.paint import NO_FONTS, Fonts, make_measure
from reviewkit.render.cards.roles import ROLES
from reviewkit.render.cards.scene import LayoutFault, Page, Stroke
from reviewkit.render.cards.shape import WIDE, Shape
from reviewkit.render.cards.sizes import AXIS, LEAST, NOTE
from reviewkit.render.cards.typeset import Setting, fit_text
from reviewkit.verdict.verdict_words import MEETS

MOST_ROWS = 14  # of a card
_SIZES = (72.0, 64.0, 56.0, 48.0, 46.0, NOTE, 42.0, AXIS, 38.0, LEAST)
_GAP = 44.0  # between columns
_NOTE_GAP = 26.0  # from a name to its note on the same line
_LINE = 1.12  # pitch of a cell's lines, in em
_BELOW = 42.0  # pitch of the lines under a name
_WORD, _WORD_LINE = 48.0, 42.0 / 36.0  # a verdict below its row: its largest size; pitch of its line, in em
_EASY, _TIGHT = 0.75, 0.42  # the room above and below a row's lines together, in em
_TALLEST = 150.0  # a row, or each of its two lines, is no taller than this unless what is in it needs more
_MORE = 72.0  # for the number of rows left out
# but not "12 V rails", a title of the user's own
_COUNT = re.compile(r"(\d+(?: of \d+)?) ((?:(?:maker's )?ratings?|readings|as rated)\b.*)")
_COUNT_SHARE = 0.46  # of the height; the rows below are details
_LARGEST_DETAIL = 56.0
_ROW_LESS = 70.0  # by which a count is lower for each row under three
_OVER_COUNT, _UNDER_COUNT, _HEADERS = 44.0, 90.0, 30.0  # the last: more room where there are headers
_CHANNELS = {"left": "L", "right": "R"}  # headers in their channel's colour

SHORTEN_CELL = "shorten it where it comes from, or drop a column"


@dataclass(frozen=True)
class _LaidRow:
    """A row as set: its name, its other cells, its note next to the name or below it."""

    name: Setting
    cells: tuple[str, ...]
    note: Setting | None
    beside: bool  # the note, the name or in a narrow frame the verdict under it
    below: float  # height of the lines under the name
    height: float


@dataclass(frozen=True)
class _TableLayout:
    """A table as set: sizes and places, nothing placed yet; `rights`: right ends of the columns after the first."""

    size: float
    rights: tuple[float, ...]
    rows: tuple[_LaidRow, ...]
    more: float = 0.0  # extra height of each row
    above: bool = False  # each name has a line of its own, its cells below it
    beside: bool = False  # the verdict is on the line of its cells, not below them


def place_table(page: Page, card: Card, body: Rows) -> None:
    """Place frame and title, and a table under the dial line.

    Raises
    ------
    LayoutFault
        If it doesn't fit.
    """
    shape, look = page.shape, page.look
    line_y = _place_head(page, card)
    layout = _fit_table(page, body, line_y, _sizes(card))
    if layout is None:
        raise _fault(page, body)
    page.add(Stroke("dial", ((0.0, line_y), (float(shape.width), line_y)), look.ink, 4.0))
    for index, text in enumerate(body.headers):
        if text:
            x, anchor = (shape.safe.left, "left") if index == 0 else (layout.rights[index - 1], "right")
            colour, weight = (look.channel(_CHANNELS[text]), "bold") if text in _CHANNELS else (look.soft, "regular")
            page.add(page.text(text, x, line_y - 22.0, AXIS, colour, weight=weight, anchor=anchor, remedy=SHORTEN_CELL))
    y = line_y
    for index, (row, laid) in enumerate(zip(body.rows, layout.rows, strict=True)):
        height = laid.height + layout.more
        if index:
            page.add(Stroke("rule", ((shape.safe.left, y), (shape.safe.right, y)), look.rule, 2.0))
        detail = _has_count(card) and row.verdict in ("", MEETS)
        with page.part_of("reading"):
            _place_row(page, body, row, laid, layout, y + height / 2, detail=detail)
        y += height
    if body.more:
        page.add(page.text(body.more, shape.safe.left, y + _MORE - 20.0, AXIS, look.soft))


def _place_head(page: Page, card: Card) -> float:
    """Place frame and title; a title that begins with a count has it large. Return where the dial line is."""
    count = _COUNT.fullmatch(card.title)
    if count is None:
        return page.shape.high_dial + place_frame(page, card, card.title)
    top = under_overline(page.shape, place_frame(page, card, "")) + _OVER_COUNT + _lower(card)
    bottom = top + _COUNT_SHARE * (page.shape.safe.bottom - top)
    under = _UNDER_COUNT + (_HEADERS if isinstance(card.body, Rows) and any(card.body.headers) else 0.0)
    return place_count(page, count[1], count[2], page.look.ink, top, bottom, SHORTEN_TITLE) + under


def _lower(card: Card) -> float:
    """Return how much lower a count is over one row or two, which would leave the lower half empty."""
    return _ROW_LESS * max(3 - len(card.body.rows), 0) if isinstance(card.body, Rows) else 0.0


def _has_count(card: Card) -> bool:
    return _COUNT.fullmatch(card.title) is not None


def _sizes(card: Card) -> tuple[float, ...]:
    """Return the sizes of a table's rows: smaller below a count, unless there are only one or two."""
    most = _LARGEST_DETAIL if _has_count(card) and not _lower(card) else _SIZES[0]
    return tuple(size for size in _SIZES if size <= most)


# ------------------------------------------------------------------ pages


def split_table(card: Card, fonts: Fonts = NO_FONTS, shapes: Sequence[Shape] = (WIDE,)) -> tuple[Card, ...]:
    """Split a card whose table has more rows than one card can hold in each of some shapes.

    Parameters
    ----------
    card : Card
        Any card.
    fonts : Fonts
        The user's fonts, if any.
    shapes : sequence of Shape
        The shapes that it will be drawn in.

    Returns
    -------
    tuple of Card
        The card itself, or several with ids "table", "table-2" … and "1 of 2" in their conditions, their rows spread
        evenly; each carries all rows, so that all are set alike.

    Raises
    ------
    LayoutFault
        If even a single row doesn't fit.
    """
    body = card.body
    if not isinstance(body, Rows) or not body.rows:
        return (card,)
    for count in range(-(-len(body.rows) // MOST_ROWS), len(body.rows) + 1):
        ends = [len(body.rows) * at // count for at in range(count + 1)]
        pages = tuple(body.rows[start:stop] for start, stop in pairwise(ends))
        parts = (card,) if count == 1 else tuple(_part(card, body, pages, number) for number in range(count))
        if all(_fits_shape(parts[0], fonts, shape) for shape in shapes):
            return parts
    tight = next(shape for shape in shapes if not _fits_shape(parts[0], fonts, shape))
    raise _fault(Page(card.id, ROLES, make_measure(card.id, fonts), tight), body)


def _part(card: Card, body: Rows, pages: tuple[tuple[Row, ...], ...], number: int) -> Card:
    return replace(
        card,
        id=f"{card.id}-{number + 1}" if number else card.id,
        conditions=(*card.conditions, f"{number + 1} of {len(pages)}"),
        body=replace(body, rows=pages[number], pages=pages),
    )


def _fits_shape(card: Card, fonts: Fonts, shape: Shape) -> bool:
    page = Page(card.id, ROLES, make_measure(card.id, fonts), shape)
    return (
        isinstance(card.body, Rows) and _fit_table(page, card.body, _place_head(page, card), _sizes(card)) is not None
    )


# ------------------------------------------------------------------ layout


def _fit_table(page: Page, body: Rows, line_y: float, all_sizes: tuple[float, ...]) -> _TableLayout | None:
    """Find the largest layout that fits below the dial line; cells wrap only if no size lets them stay on one line.

    All pages of a table share it, so that columns, sizes and row heights stay put as the pages turn.
    """
    pages = body.pages or (body.rows,)
    rows = [row for own in pages for row in own]
    room = page.shape.safe.bottom - line_y - (_MORE if body.more else 0.0)
    forms = [(1, False, False, False), (2, False, False, False), (3, True, False, False)]
    if page.shape.stacked:
        # a name above its figures leaves both more room, and the verdict next to them is as large
        first = (
            [(1, False, True, True), (1, False, True, False)] if len(body.headers) > 2 or not any(body.headers) else []
        )
        forms = [*first, *forms, (3, True, True, False)]
    for most, anywhere, above, beside in forms:
        for padding, sizes in ((_EASY, all_sizes[:-2]), (_TIGHT, all_sizes)):
            for size in sizes:
                if beside and size < _WORD:
                    continue
                layout = _lay_out(page, body, rows, size, most, padding, anywhere=anywhere, above=above, beside=beside)
                if layout is None:
                    continue
                spare = [
                    (room - sum(row.height for row in layout.rows[part])) / max(part.stop - part.start, 1)
                    for part in _slices(pages)
                ]
                if min(spare, default=0.0) >= 0:
                    own = list(_slices(pages))[pages.index(body.rows)]
                    least = min((row.height for row in layout.rows), default=0.0)
                    more = min([*spare, max(_TALLEST * (1.4 if above else 1.0) - least, 0.0)])
                    return replace(layout, rows=layout.rows[own], more=more)
    return None


def _slices(pages: Sequence[Sequence[Row]]) -> Iterator[slice]:
    start = 0
    for rows in pages:
        yield slice(start, start + len(rows))
        start += len(rows)


def _lay_out(
    page: Page,
    body: Rows,
    rows: Sequence[Row],
    size: float,
    most: int,
    padding: float,
    *,
    anywhere: bool,
    above: bool = False,
    beside: bool = False,
) -> _TableLayout | None:
    """Lay out a table at one size; None if it is too wide.

    `most`: lines of a cell; `padding`: room between rows, in em; `anywhere`: long words may be broken; `above`: names
    have the whole width, their cells a line below them; `beside`: with the verdict before the cells.
    """
    safe = page.shape.safe
    count = max([len(body.headers), *(len(_cells(page, row)) for row in rows)], default=0)
    if page.shape.stacked and len(body.headers) == count and not any(row.cells[count - 1 :] for row in rows):
        count -= 1  # of the verdicts
    widths = [_column_width(page, body, rows, column, size) for column in range(1, count)]
    rights, right = [], safe.right
    for width in reversed(widths):
        rights.append(right)
        right -= width + _GAP
    words = max((page.width(row.verdict, size, "bold") + _GAP for row in rows if row.verdict), default=0.0)
    if right + _GAP < safe.left + (words if beside else 0.0):
        return None
    room = safe.width if above else right - safe.left
    laid = [
        _lay_out_row(page, row, size, room, most, padding, anywhere=anywhere, above=above, verdict=not beside)
        for row in rows
    ]
    if any(row is None for row in laid):
        return None
    set_rows = tuple(row for row in laid if row is not None)
    return _TableLayout(size, tuple(reversed(rights)), set_rows, above=above, beside=beside)


def _cells(page: Page, row: Row) -> tuple[str, ...]:
    """Return a row's cells, with its verdict as the last; in a narrow frame that goes below the name."""
    return (*row.cells, row.verdict) if row.verdict and not page.shape.stacked else row.cells


def _column_width(page: Page, body: Rows, rows: Sequence[Row], column: int, size: float) -> float:
    texts = [cells[column] for row in rows if len(cells := _cells(page, row)) > column]
    head = body.headers[column] if column < len(body.headers) else ""
    widths = [page.width(text, size, "bold") for text in texts if text]
    return max([*widths, page.width(head, AXIS, "bold") if head else 0.0], default=0.0)


def _lay_out_row(
    page: Page,
    row: Row,
    size: float,
    room: float,
    most: int,
    padding: float,
    *,
    anywhere: bool,
    above: bool,
    verdict: bool,
) -> _LaidRow | None:
    """Lay out a row; None if it is too wide. `verdict`: with its verdict on a line of its own, if there is one."""
    text = row.cells[0] if row.cells else ""
    name = fit_text(page, text, (size,), room, most=most, anywhere=anywhere) if room > 0 else None
    if name is None:
        return None
    note, beside = None, False
    word = row.verdict if verdict and page.shape.stacked else ""
    if row.note:
        whole = page.shape.safe.width
        left = (whole - page.width(word, _word_size(size), "bold") if word else room - name.width) - _NOTE_GAP
        if word or (len(name.lines) == 1 and not above):
            note = fit_text(page, row.note, (LEAST,) if word else (min(size, AXIS), LEAST), max(left, 0.0))
        beside = note is not None
        note = note or fit_text(page, row.note, (LEAST,), whole, most=max(most, 2), anywhere=anywhere)
        if note is None:
            return None
    below = (_word_size(size) * _WORD_LINE if word else 0.0) + (
        len(note.lines) * _BELOW if note and not beside else 0.0
    )
    lines = (len(name.lines) - 1 + above) * size * _LINE + below
    return _LaidRow(name, _cells(page, row)[1:], note, beside, below, page.cap(size) + lines + size * padding)


def _word_size(size: float) -> float:
    """Return the size of a verdict below its row."""
    return max(min(size, _WORD), LEAST)


def _fault(page: Page, body: Rows) -> LayoutFault:
    longest = max((cell for row in body.rows for cell in row.cells), key=len, default="")
    if _lay_out(page, body, body.rows, LEAST, 3, _TIGHT, anywhere=True, above=page.shape.stacked) is None:
        return page.fault(longest, SHORTEN_CELL, "leaves the other columns no room")
    return page.fault(longest, "split the table", f"is in a table of {len(body.rows)} rows that does not fit")


# ------------------------------------------------------------------ placing


def _place_row(
    page: Page, body: Rows, row: Row, laid: _LaidRow, layout: _TableLayout, middle: float, *, detail: bool
) -> None:
    """Place a row, its lines and its note centred together. `detail`: nothing of it is loud."""
    look, left = page.look, page.shape.safe.left
    loud = "regular" if detail else "bold"
    size, cap = layout.size, page.cap(layout.size)
    high = cap + (len(laid.name.lines) - 1 + layout.above) * size * _LINE + laid.below
    baseline = first = middle - high / 2 + cap
    for index, line in enumerate(laid.name.lines):
        baseline = first + index * size * _LINE
        page.add(page.text(line, left, baseline, size, look.soft if detail else look.ink, remedy=SHORTEN_CELL))
    if layout.above:
        baseline = first = baseline + size * _LINE
    x = left + laid.name.width + _NOTE_GAP
    if row.verdict and page.shape.stacked:
        high = size if layout.beside else _word_size(size)
        baseline += 0.0 if layout.beside else high * _WORD_LINE
        word = page.text(row.verdict, left, baseline, high, look.status(row.verdict), weight="bold")
        page.add(word)
        x = word.box.right + _NOTE_GAP
    for line in laid.note.lines if laid.note else ():
        if not laid.beside:
            baseline += _BELOW
        at = x if laid.beside else left
        note_size = laid.note.size if laid.note else LEAST
        page.add(page.text(line, at, baseline, note_size, look.soft, remedy=SHORTEN_CELL))
    for column, cell in enumerate(laid.cells, start=1):
        if not cell:
            continue
        verdict = column >= len(row.cells)
        measured = column == body.strong or not _CHANNELS.keys().isdisjoint(body.headers[column : column + 1])
        colour = look.status(row.verdict) if verdict else look.ink if measured else look.soft
        weight = loud if verdict or column == body.strong else "regular"
        right = layout.rights[column - 1]
        page.add(page.text(cell, right, first, size, colour, weight=weight, anchor="right", remedy=SHORTEN_CELL))
