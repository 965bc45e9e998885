"""Table cards: horizontal rules only, one emphasised column, needles and verdicts at the end."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from reviewkit.render.cards.year_scale import amounts_height, place_amounts

from reviewkit.model.card import Row, Rows
from reviewkit.render.cards.look import LABEL, LEAST
from reviewkit.render.cards.needle import notch_height, place_needle, pointer_depth
from reviewkit.render.cards.scene import Box, LayoutFault, Page, Stroke
from reviewkit.render.cards.typeset import fit_text

_SIZES = (50.0, 48.0, 46.0, 44.0, 42.0, 40.0, 38.0, LEAST)
_GAP = 36.0  # between columns
_NEEDLE, _NEEDLE_GAP = 150.0, 36.0
_MARGIN_GAP = 20.0  # from a verdict's word to its margin
_UNBROKEN = 14  # a cell with no more letters, such as a number with its unit, stays on one line
_PIECES = rf"[^ ]{{1,{_UNBROKEN}}}"
_LOUD = 5.0  # the width of the rule under a row that must be seen
_LINE = 1.18  # pitch of a cell's lines, in em
_EASY, _TIGHT = 1.15, 0.7  # the room above and below a row's lines together, in em
_TALLEST = 116.0  # a row is no taller than this, unless its lines need more
_NOTE_PITCH = 44.0

_CHANNELS = {"left": "L", "right": "R"}  # headers in their channel's colour

SHORTEN_CELL = "shorten it where it comes from, or drop a column"


@dataclass(frozen=True)
class _Cell:
    lines: tuple[str, ...]
    width: float


@dataclass(frozen=True)
class TableLayout:
    """A table laid out for a region: sizes and places, nothing drawn yet."""

    size: float
    lefts: tuple[float, ...]
    cells: tuple[tuple[_Cell, ...], ...]
    notes: tuple[tuple[str, ...], ...]
    heights: tuple[float, ...]  # least height of each row
    head: float
    word_left: float
    word_size: float
    more: float = 0.0  # extra height of each row


def fits(page: Page, body: Rows, region: Box) -> bool:
    """Tell whether a table fits in a region; for a split table, whether all its pages do."""
    return _fit_table(page, body, _rows_region(page, body, region)) is not None


def place_table(page: Page, body: Rows, region: Box) -> None:
    """Place a table in a region.

    Raises
    ------
    LayoutFault
        If it doesn't fit.
    """
    room = _rows_region(page, body, region)
    made = _fit_table(page, body, room)
    if made is None:
        raise _fault(page, body, room)
    _place(page, body, made, room)
    if body.amounts:
        with page.part_of("reading"):
            place_amounts(page, body.amounts, body.years, replace(region, top=room.bottom))


def _rows_region(page: Page, body: Rows, region: Box) -> Box:
    """Return the room that the amounts leave for the rows."""
    return replace(region, bottom=region.bottom - amounts_height(page, body.years)) if body.amounts else region


def _fit_table(page: Page, body: Rows, region: Box) -> TableLayout | None:
    """Find the largest layout that fits; cells wrap only if no size lets them stay on one line.

    All pages of a table share it, so that columns, sizes and row heights stay put as the pages turn.
    """
    pages = body.pages or (body.rows,)
    whole = replace(body, rows=tuple(row for rows in pages for row in rows))
    for most, anywhere in ((1, False), (2, False), (3, False), (3, True)):
        for padding, sizes in ((_EASY, _SIZES[:-2]), (_TIGHT, _SIZES)):
            for size in sizes:
                made = lay_out_table(page, whole, region, size, most, padding, anywhere)
                if made is not None and min(_spare_heights(made, pages, region)) >= 0:
                    return _page_layout(made, body, pages, region)
    return None


def _slices(pages: Sequence[Sequence[Row]]) -> Iterator[slice]:
    start = 0
    for rows in pages:
        yield slice(start, start + len(rows))
        start += len(rows)


def _spare_heights(made: TableLayout, pages: Sequence[Sequence[Row]], region: Box) -> list[float]:
    """Return the height that each page leaves free, per row."""
    room = region.height - made.head
    return [(room - sum(made.heights[part])) / max(part.stop - part.start, 1) for part in _slices(pages)]


def _page_layout(made: TableLayout, body: Rows, pages: Sequence[tuple[Row, ...]], region: Box) -> TableLayout:
    """Select the rows of one page from the layout of the whole table."""
    part = list(_slices(pages))[pages.index(body.rows)]
    more = min(*_spare_heights(made, pages, region), max(_TALLEST - min(made.heights, default=0.0), 0.0))
    return replace(made, cells=made.cells[part], notes=made.notes[part], heights=made.heights[part], more=more)


def _fault(page: Page, body: Rows, region: Box) -> LayoutFault:
    longest = max((cell for row in body.rows for cell in row.cells), key=len, default="")
    if lay_out_table(page, body, region, LEAST, 3, _TIGHT, anywhere=True) is None:
        return page.fault(longest, SHORTEN_CELL, "leaves the other columns no room")
    return page.fault(longest, "split the table", f"stands in a table of {len(body.rows)} rows that does not fit")


def _has_own_word(row: Row) -> bool:
    """Tell whether the verdict's word needs its own place, because it isn't the last cell already."""
    return bool(row.verdict) and (not row.cells or row.cells[-1] != row.verdict)


def _is_bold(body: Rows, row: Row, column: int) -> bool:
    """Tell whether a cell is bold: the strong column, and name and verdict of a loud row."""
    return column == body.strong or (row.loud and column in (0, len(row.cells) - 1))


def _tail_width(page: Page, body: Rows, size: float) -> float:
    """Return the width of what follows the columns: needle, word, margin."""
    rows = [row for row in body.rows if _has_own_word(row)]
    tail = max((page.width(row.verdict, size, True) for row in rows), default=0.0)
    with_margin = [row for row in rows if row.margin]
    behind = (page.width(row.verdict, size, True) + page.width(row.margin, size) for row in with_margin)
    return max(tail, max(behind, default=-_MARGIN_GAP) + _MARGIN_GAP)


def lay_out_table(
    page: Page, body: Rows, region: Box, size: float, most: int, padding: float, anywhere: bool = False
) -> TableLayout | None:
    """Lay out a table at one size.

    Parameters
    ----------
    page : Page
        The card.
    body : Rows
        The table.
    region : Box
        The room for it.
    size : float
        Text size in pixels.
    most : int
        Largest number of lines in a cell.
    padding : float
        Room between rows, in em.
    anywhere : bool
        True if long words may be broken.

    Returns
    -------
    TableLayout or None
        None if it is too wide.
    """
    count = max([len(body.widths), *(len(row.cells) for row in body.rows)])
    words = any(_has_own_word(row) for row in body.rows)
    word_size = min(size, 40.0)
    tail = _tail_width(page, body, word_size)
    if words and count < len(body.headers):
        tail = max(tail, page.width(body.headers[count], LABEL))
    if body.needles and words:
        tail += _NEEDLE + _NEEDLE_GAP
    room = region.width - (tail + _GAP if tail else 0.0) - _GAP * (count - 1)
    widths = _column_widths(page, body, size, count, room, most, anywhere)
    if widths is None:
        return None
    lefts, x = [], region.left
    for width in widths:
        lefts.append(x)
        x += width + _GAP
    cells, notes, heights = [], [], []
    for row in body.rows:
        line = []
        for column, text in enumerate(row.cells):
            bold, lines = _is_bold(body, row, column), 1 if column == body.strong else most
            made = None
            if text:
                made = fit_text(page, text, (size,), widths[column], bold=bold, most=lines, anywhere=anywhere)
            if text and made is None:
                return None
            line.append(_Cell(made.lines, made.width) if made else _Cell((), 0.0))
        cells.append(tuple(line))
        note, beside = None, region.width - tail - _GAP
        if row.note:
            note = fit_text(page, row.note, (LABEL,), beside, most=max(most, 2), anywhere=anywhere)
        if row.note and note is None:
            return None
        notes.append(note.lines if note else ())
        heights.append(_row_height(page, line, len(notes[-1]), size, body.needles and words, padding))
    head = LABEL + 16 if any(body.headers) else 0.0
    return TableLayout(
        size, tuple(lefts), tuple(cells), tuple(notes), tuple(heights), head, region.right - tail, word_size
    )


def _row_height(page: Page, cells: Sequence[_Cell], notes: int, size: float, needles: bool, padding: float) -> float:
    """Return a row's height. Rows with and without a needle are equally tall, for an even rhythm."""
    lines = max((len(cell.lines) for cell in cells), default=1)
    high = page.cap(size) + (max(lines, 1) - 1) * size * _LINE
    if needles:
        high = max(high, notch_height(_NEEDLE) + pointer_depth(_NEEDLE) - 8)
    return high + notes * _NOTE_PITCH + size * padding


def _column_widths(
    page: Page, body: Rows, size: float, count: int, room: float, most: int, anywhere: bool
) -> list[float] | None:
    """Return the column widths: what the cells need on one line, the wide ones reduced if that is too much.

    Spare width is shared by the relative widths that the table asks for.
    """
    natural = [0.0] * count
    words = [0.0] * count
    for row in body.rows:
        for column, text in enumerate(row.cells):
            bold = _is_bold(body, row, column)
            natural[column] = max(natural[column], page.width(text, size, bold) if text else 0.0)
            whole = column == body.strong or most == 1 or len(text) <= _UNBROKEN
            parts = [text] if whole else re.findall(_PIECES if anywhere else r"[^ ]+", text)
            words[column] = max([words[column], *(page.width(part, size, bold) for part in parts if part)])
    for column, text in enumerate(body.headers[:count]):
        needed = page.width(text, LABEL, text in _CHANNELS) if text else 0.0
        natural[column], words[column] = max(natural[column], needed), max(words[column], needed)
    if sum(natural) > room:
        if most == 1 or sum(words) > room:
            return None
        # every column keeps its longest word; the rest is shared in proportion to what each lacks
        lacking = [whole - least for whole, least in zip(natural, words, strict=True)]
        spare = (room - sum(words)) / max(sum(lacking), 1e-9)
        return [least + lack * min(spare, 1.0) for least, lack in zip(words, lacking, strict=True)]
    asked = [max(body.widths[column], 0.0) if column < len(body.widths) else 0.0 for column in range(count)]
    total = sum(asked) or 1.0
    wanted = [room * part / total for part in asked]
    lacking = [max(whole - want, 0.0) for whole, want in zip(natural, wanted, strict=True)]
    spare_of = [max(want - whole, 0.0) for whole, want in zip(natural, wanted, strict=True)]
    reduction = sum(lacking) / max(sum(spare_of), 1e-9)
    return [
        max(want, whole) if lack else want - spare * reduction
        for want, whole, lack, spare in zip(wanted, natural, lacking, spare_of, strict=True)
    ]


def _place(page: Page, body: Rows, made: TableLayout, region: Box) -> None:
    look = page.look
    y = region.top
    if made.head:
        baseline = y + page.cap(LABEL)
        for column, text in enumerate(body.headers):
            x = made.lefts[column] if column < len(made.lefts) else made.word_left
            if text:
                colour = look.channel(_CHANNELS[text]) if text in _CHANNELS else look.soft
                page.add(page.text(text, x, baseline, LABEL, colour, bold=text in _CHANNELS, remedy=SHORTEN_CELL))
        y += made.head
        page.add(Stroke("rule", ((region.left, y), (region.right, y)), look.rule, 2.0))
    # a loud row is underlined only: with a rule above it too, a good row between two loud ones would be framed
    loud = ""
    for index, row in enumerate(body.rows):
        if index:
            colour = look.status(loud) if loud else look.rule
            page.add(Stroke("rule", ((region.left, y), (region.right, y)), colour, _LOUD if loud else 2.0))
        loud = row.verdict if row.loud else ""
        height = made.heights[index] + made.more
        _place_row(page, body, made, index, Box(region.left, y, region.right, y + height))
        y += height
    if loud:
        page.add(Stroke("rule", ((region.left, y), (region.right, y)), look.status(loud), _LOUD))


def _place_row(page: Page, body: Rows, made: TableLayout, index: int, box: Box) -> None:
    look, row = page.look, body.rows[index]
    cap = page.cap(made.size)
    notes = made.notes[index]
    # lines and note are centred together
    middle = (box.top + box.bottom - len(notes) * _NOTE_PITCH) / 2
    last = middle + cap / 2
    for column, cell in enumerate(made.cells[index]):
        bold = _is_bold(body, row, column)
        verdict = row.cells[column] == row.verdict and column == len(row.cells) - 1 and bool(row.verdict)
        colour = look.ink if bold or column == 0 or body.strong is None else look.soft
        verdict = verdict or (row.loud and column == body.strong)
        if column == 0 and row.cells[0] in ("L", "R"):
            colour = look.channel(row.cells[0])
        if verdict:
            colour = look.status(row.verdict)
        first = middle + cap / 2 - (len(cell.lines) - 1) * made.size * _LINE / 2
        last = max(last, first + (len(cell.lines) - 1) * made.size * _LINE)
        for line, text in enumerate(cell.lines):
            baseline = first + line * made.size * _LINE
            page.add(page.text(text, made.lefts[column], baseline, made.size, colour, bold=bold, remedy=SHORTEN_CELL))
    for line, text in enumerate(notes):
        baseline = last + (line + 1) * _NOTE_PITCH
        page.add(page.text(text, box.left, baseline, LABEL, look.ink if row.loud else look.soft, remedy=SHORTEN_CELL))
    if not _has_own_word(row):
        return
    word_left = made.word_left
    if body.needles:
        line_y = middle + (notch_height(_NEEDLE) - pointer_depth(_NEEDLE)) / 2 + 2
        with page.part_of("needle"):
            place_needle(page, word_left, line_y, _NEEDLE, row.position, row.verdict)
        word_left += _NEEDLE + _NEEDLE_GAP
    size, status = made.word_size, look.status(row.verdict)
    base = middle + page.cap(size, True) / 2
    page.add(page.text(row.verdict, word_left, base, size, status, bold=True, remedy=SHORTEN_CELL))
    if row.margin:
        page.add(page.text(row.margin, box.right, base, size, look.ink, anchor="right", remedy=SHORTEN_CELL))
