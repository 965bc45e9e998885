"""A table: horizontal rules only, one column strong, the needles and the words at its end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model import Row, Rows
from reviewkit.render.look import LABEL, LEAST
from reviewkit.render.needle import drop, needle, rise
from reviewkit.render.scene import Box, LayoutFault, Page, Stroke
from reviewkit.render.typeset import set_in

_SIZES = (50.0, 48.0, 46.0, 44.0, 42.0, 40.0, 38.0, LEAST)
_GAP = 36.0  # between columns
_NEEDLE, _NEEDLE_GAP = 150.0, 36.0
_LINE = 1.18  # pitch of a cell's lines, in em
_EASY, _TIGHT = 1.15, 0.7  # the room above and below a row's lines together, in em
_TALLEST = 116.0  # a row takes no more than this, or what its lines need
_NOTE_PITCH = 44.0

SHORTEN_CELL = "shorten it where it comes from, or drop a column"


@dataclass(frozen=True)
class _Cell:
    lines: tuple[str, ...]
    width: float


@dataclass(frozen=True)
class Table:
    """A table set out for a region: sizes and places, nothing drawn yet."""

    size: float
    lefts: tuple[float, ...]
    cells: tuple[tuple[_Cell, ...], ...]
    notes: tuple[tuple[str, ...], ...]
    heights: tuple[float, ...]  # what each row needs at least
    head: float
    word_left: float
    word_size: float

    @property
    def height(self) -> float:
        """What the whole needs at least."""
        return self.head + sum(self.heights)


def fits(page: Page, body: Rows, region: Box) -> bool:
    """Whether a table stands whole in a region."""
    return _fitting(page, body, region) is not None


def table(page: Page, body: Rows, region: Box) -> None:
    """Place a table in a region. Raises LayoutFault where it does not fit."""
    made = _fitting(page, body, region)
    if made is None:
        raise _blame(page, body, region)
    _place(page, body, made, region)


def _fitting(page: Page, body: Rows, region: Box) -> Table | None:
    """The largest setting whose columns and rows fit; cells wrap only where no size lets them stand on one line."""
    for most in (1, 2, 3):
        for padding, sizes in ((_EASY, _SIZES[:-2]), (_TIGHT, _SIZES)):
            for size in sizes:
                made = set_out(page, body, region, size, most, padding)
                if made is not None and made.height <= region.height:
                    return made
    return None


def _blame(page: Page, body: Rows, region: Box) -> LayoutFault:
    longest = max((cell for row in body.rows for cell in row.cells), key=len, default="")
    if set_out(page, body, region, LEAST, 3, _TIGHT) is None:
        return page.fault(longest, SHORTEN_CELL, "leaves the other columns no room")
    return page.fault(longest, "split the table", f"stands in a table of {len(body.rows)} rows that does not fit")


def _own_word(row: Row) -> bool:
    """Whether the verdict's word needs a place of its own (not where it already is the last cell)."""
    return bool(row.verdict) and (not row.cells or row.cells[-1] != row.verdict)


def set_out(page: Page, body: Rows, region: Box, size: float, most: int, padding: float) -> Table | None:
    """A table at one size, its cells on up to `most` lines, `padding` em between rows; None where it is too wide."""
    count = max([len(body.widths), *(len(row.cells) for row in body.rows)])
    words = [row.verdict for row in body.rows if _own_word(row)]
    word_size = min(size, 40.0)
    tail = max((page.width(word, word_size, True) for word in words), default=0.0)
    if words and count < len(body.headers):
        tail = max(tail, page.width(body.headers[count], LABEL))
    if body.needles and words:
        tail += _NEEDLE + _NEEDLE_GAP
    room = region.width - (tail + _GAP if tail else 0.0) - _GAP * (count - 1)
    widths = _column_widths(page, body, size, count, room, most)
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
            bold = column == body.strong
            made = set_in(page, text, (size,), widths[column], bold=bold, most=1 if bold else most) if text else None
            if text and made is None:
                return None
            line.append(_Cell(made.lines, made.width) if made else _Cell((), 0.0))
        cells.append(tuple(line))
        note = set_in(page, row.note, (LABEL,), region.width - tail - _GAP, most=2) if row.note else None
        if row.note and note is None:
            return None
        notes.append(note.lines if note else ())
        heights.append(_needed(page, line, len(notes[-1]), size, bool(body.needles and words), padding))
    head = LABEL + 16 if any(body.headers) else 0.0
    return Table(size, tuple(lefts), tuple(cells), tuple(notes), tuple(heights), head, region.right - tail, word_size)


def _needed(page: Page, cells: Sequence[_Cell], notes: int, size: float, needles: bool, padding: float) -> float:
    """A row's height: rows without a needle are as tall as those with one, so that a table keeps its beat."""
    lines = max((len(cell.lines) for cell in cells), default=1)
    high = page.cap(size) + (max(lines, 1) - 1) * size * _LINE
    if needles:
        high = max(high, rise(_NEEDLE) + drop(_NEEDLE) - 8)
    return high + notes * _NOTE_PITCH + size * padding


def _column_widths(page: Page, body: Rows, size: float, count: int, room: float, most: int) -> list[float] | None:
    """Each column's width: what its cells need on one line, wide ones cut back where the sum is too much.

    What is left over goes out by the relative widths that the table asks for.
    """
    natural = [0.0] * count
    words = [0.0] * count
    for row in body.rows:
        for column, text in enumerate(row.cells):
            bold = column == body.strong
            natural[column] = max(natural[column], page.width(text, size, bold) if text else 0.0)
            parts = [text] if bold or most == 1 else text.split(" ")
            words[column] = max([words[column], *(page.width(part, size, bold) for part in parts if part)])
    for column, text in enumerate(body.headers[:count]):
        needed = page.width(text, LABEL) if text else 0.0
        natural[column], words[column] = max(natural[column], needed), max(words[column], needed)
    if sum(natural) > room:
        if most == 1 or sum(words) > room:
            return None
        # every column keeps its longest word; the rest is shared by what each still lacks
        lacking = [whole - least for whole, least in zip(natural, words, strict=True)]
        spare = (room - sum(words)) / max(sum(lacking), 1e-9)
        return [least + lack * min(spare, 1.0) for least, lack in zip(words, lacking, strict=True)]
    asked = [max(body.widths[column], 0.0) if column < len(body.widths) else 0.0 for column in range(count)]
    total = sum(asked) or 1.0
    wanted = [room * part / total for part in asked]
    lacking = [max(whole - want, 0.0) for whole, want in zip(natural, wanted, strict=True)]
    spare_of = [max(want - whole, 0.0) for whole, want in zip(natural, wanted, strict=True)]
    take = sum(lacking) / max(sum(spare_of), 1e-9)
    return [
        max(want, whole) if lack else want - spare * take
        for want, whole, lack, spare in zip(wanted, natural, lacking, spare_of, strict=True)
    ]


def _place(page: Page, body: Rows, made: Table, region: Box) -> None:
    look = page.look
    y = region.top
    if made.head:
        baseline = y + page.cap(LABEL)
        for column, text in enumerate(body.headers):
            x = made.lefts[column] if column < len(made.lefts) else made.word_left
            if text:
                page.add(page.text(text, x, baseline, LABEL, look.soft, remedy=SHORTEN_CELL))
        y += made.head
        page.add(Stroke("rule", ((region.left, y), (region.right, y)), look.rule, 2.0))
    spare = (region.height - made.height) / max(len(body.rows), 1)
    more = min(spare, max(_TALLEST - min(made.heights, default=0.0), 0.0))
    for index, row in enumerate(body.rows):
        height = made.heights[index] + more
        _place_row(page, body, made, index, Box(region.left, y, region.right, y + height))
        y += height
        if row is not body.rows[-1]:
            page.add(Stroke("rule", ((region.left, y), (region.right, y)), look.rule, 2.0))


def _place_row(page: Page, body: Rows, made: Table, index: int, box: Box) -> None:
    look, row = page.look, body.rows[index]
    cap = page.cap(made.size)
    notes = made.notes[index]
    # lines and note are centred together
    middle = (box.top + box.bottom - len(notes) * _NOTE_PITCH) / 2
    last = middle + cap / 2
    for column, cell in enumerate(made.cells[index]):
        bold = column == body.strong
        verdict = row.cells[column] == row.verdict and column == len(row.cells) - 1 and bool(row.verdict)
        colour = look.ink if bold or column == 0 else look.soft
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
        page.add(page.text(text, box.left, baseline, LABEL, look.soft, remedy=SHORTEN_CELL))
    if not _own_word(row):
        return
    word_left = made.word_left
    if body.needles:
        line_y = middle + (rise(_NEEDLE) - drop(_NEEDLE)) / 2 + 2
        needle(page, word_left, line_y, _NEEDLE, row.position, row.verdict)
        word_left += _NEEDLE + _NEEDLE_GAP
    word_cap = page.cap(made.word_size, True)
    page.add(
        page.text(
            row.verdict,
            word_left,
            middle + word_cap / 2,
            made.word_size,
            look.status(row.verdict),
            bold=True,
            remedy=SHORTEN_CELL,
        )
    )
