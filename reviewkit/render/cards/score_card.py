"""The score: every judged rating on one dial; below it what was missed, undecided and not judged, and what was met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from reviewkit.model.card import Score, ScoreRow
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.hero import bare, small
from reviewkit.render.cards.look import AXIS, LEAST, NOTE
from reviewkit.render.cards.scene import Page, Stroke
from reviewkit.render.cards.score_dial import PARTS, place_score_dial
from reviewkit.render.cards.typeset import Setting, cut_text, fit_text

_UNDER_DIAL = 100.0
_HEAD, _ROW, _LINE = 66.0, 60.0, 46.0  # heights of a heading, a row, a line
_BLOCK_GAP, _TEXT_GAP, _COLUMN_GAP = 18.0, 28.0, 36.0
_LEAST_LABEL = 120.0
_LABELS = (AXIS, 38.0, LEAST)
_ALL = 99
# what is left out until it fits: size of the first figure and of the second (0: set like all rows), most rows missed,
# too close, not judged, met; of none, only their number is given
_Plan = tuple[float, float, int, int, int, int]
_IN_TWO_COLUMNS: tuple[_Plan, ...] = (
    *((first, second, _ALL, _ALL, _ALL, 9) for first, second in ((240.0, 140.0), (190.0, 120.0), (140.0, 92.0))),
    (140.0, 0.0, _ALL, _ALL, _ALL, 9),
    (140.0, 0.0, _ALL, _ALL, 3, 9),
    (140.0, 0.0, _ALL, _ALL, 2, 8),
    (140.0, 0.0, _ALL, _ALL, 0, 8),
    (92.0, 0.0, _ALL, _ALL, 0, 7),
    (92.0, 0.0, 4, 2, 0, 6),
    (92.0, 0.0, 3, 1, 0, 5),
    (92.0, 0.0, 2, 0, 0, 4),
    (0.0, 0.0, 2, 0, 0, 3),
    (0.0, 0.0, 1, 0, 0, 2),
)
_IN_ONE: tuple[_Plan, ...] = (
    *((first, second, _ALL, _ALL, _ALL, 9) for first, second in ((240.0, 140.0), (190.0, 120.0), (140.0, 92.0))),
    *((140.0, 92.0, _ALL, _ALL, 0, met) for met in (9, 7, 5, 4)),
    *((140.0, 0.0, _ALL, _ALL, 0, met) for met in (5, 4, 3)),
    *((92.0, 0.0, _ALL, 2, 0, met) for met in (3, 2)),
    (140.0, 0.0, 2, 1, 0, 0),
    (92.0, 0.0, 4, 1, 0, 0),
    (92.0, 0.0, 3, 1, 0, 0),
    (92.0, 0.0, 2, 1, 0, 0),
    (0.0, 0.0, 2, 0, 0, 0),
    (0.0, 0.0, 1, 0, 0, 0),
)
_HEADINGS = {"falls short": "missed", "too close to call": "too close to call", "": "not judged", "meets": "met"}

SHORTEN_LABEL = "shorten the input or the condition of this [[rated]] table"


@dataclass(frozen=True)
class _Block:
    """Ratings of one verdict ("": not judged).

    Attributes
    ----------
    more
        How many it leaves out.
    coloured
        How many are in the verdict's colour.
    heading
        If it isn't the verdict's.
    """

    word: str
    rows: tuple[ScoreRow, ...]
    more: int = 0
    coloured: int = _ALL
    heading: str = ""


@dataclass(frozen=True)
class _SetRow:
    """A row as set: a large figure with its texts, a row of the table, or lines of text."""

    row: ScoreRow
    label: Setting
    height: float
    size: float = 0.0  # of the figure, if it is large
    ink: bool = False  # not in the verdict's colour


def place_score(page: Page, body: Score, lower: float) -> None:
    """Place the dial, and the ratings below it in the order in which verdicts are given.

    Raises
    ------
    LayoutFault
        If a rating doesn't fit.
    """
    shape = page.shape
    safe, line_y = shape.safe, shape.high_dial + lower
    place_score_dial(page, body, line_y)
    room = replace(safe, top=line_y + _UNDER_DIAL)
    coloured = _ALL if body.met else 1  # everything missed: only the worst
    blocks = [
        _Block("falls short", body.missed, coloured=coloured),
        _Block("too close to call", body.close),
        _Block("", body.unjudged),
        _Block("meets", body.met, body.more),
    ]
    if body.met and not body.missed and not body.close:  # the smallest margin is the large one
        blocks[:1] = [_Block("meets", body.met[:1], heading="closest to its limit")]
        blocks[-1] = _Block("meets", body.met[1:], body.more)
    blocks = [block for block in blocks if block.rows]
    if shape.stacked or len(blocks) == 1:
        columns = [(blocks, room)]
    else:
        left, right = (blocks[:-1], blocks[-1:]) if body.met else (blocks[:1], blocks[1:])
        columns = [
            (left, replace(room, right=safe.left + 0.47 * safe.width)),
            (right, replace(room, left=safe.left + 0.53 * safe.width)),
        ]
    for index, (own, box) in enumerate(columns):
        _place_column(page, own, box, first=index == 0)


# ------------------------------------------------------------------ the columns


def _place_column(page: Page, blocks: Sequence[_Block], box: Box, *, first: bool) -> None:
    """Place blocks below each other, as much of them as fits.

    Raises
    ------
    LayoutFault
        If not even the least of them fits.
    """
    for plan in _IN_ONE if page.shape.stacked else _IN_TWO_COLUMNS:
        column = []
        for index, block in enumerate(blocks):
            undecided = index == 1 and block.word == "too close to call"
            size = plan[index] if first and block.word and (index == 0 or undecided) else 0.0
            column.append((block, _set_block(page, block, plan, box.width, size)))
        high = sum(_block_height(block, lines) for block, lines in column)
        if high + _BLOCK_GAP * (len(column) - 1) <= box.height:
            break
    else:
        raise page.fault(blocks[0].rows[0].label, SHORTEN_LABEL)
    y = box.top
    for block, lines in column:
        with page.part_of(PARTS[block.word]):
            y = _place_block(page, block, lines, replace(box, top=y)) + _BLOCK_GAP


def _block_height(block: _Block, lines: Sequence[_SetRow]) -> float:
    if not lines:
        return _LINE
    more = _LINE if _left_out(block, lines) else 0.0
    return _HEAD + sum(line.height for line in lines) + more


def _left_out(block: _Block, lines: Sequence[_SetRow]) -> int:
    return block.more + len(block.rows) - len(lines)


def _set_block(page: Page, block: _Block, plan: _Plan, width: float, size: float) -> list[_SetRow]:
    """Set as many rows of a block as a plan allows, the first of them large if `size` isn't 0."""
    lines = []
    most = dict(zip(_HEADINGS, plan[2:], strict=True))[block.word]
    for index, row in enumerate(block.rows[: int(most)]):
        line = _set_large(page, row, size, width) if size and index == 0 else None
        if line is None:
            line = _set_row(page, row, block, width) if block.word else _set_text(page, row, width)
        lines.append(replace(line, ink=index >= block.coloured))
    return lines


def _set_large(page: Page, row: ScoreRow, size: float, width: float) -> _SetRow | None:
    """Set a large figure with its label and note on the right; None if these have no room."""
    for tried in (size, size * 0.85, size * 0.7, size * 0.55):
        figure = page.width(row.measured, tried, "black")
        if row.uncertainty:
            figure += 24 + page.width(row.uncertainty, small(tried))
        room = width - figure - _COLUMN_GAP
        label = _label_lines(page, row, room)
        if label is not None and (not row.note or page.width(row.note, AXIS) <= room):
            texts = len(label.lines) + bool(row.note)
            return _SetRow(row, label, max(page.cap(tried, "black") + 50.0, texts * 52.0 + 14.0), tried)
    return None


def _label_lines(page: Page, row: ScoreRow, room: float) -> Setting | None:
    """Return a label and its rating, on one line or with the rating on a line of its own; None if they don't fit."""
    rated = f"rated {row.rated}"
    one = fit_text(page, f"{row.label}, {rated}", (NOTE, AXIS), room, weight="bold")
    if one is not None:
        return one
    label = fit_text(page, row.label, (NOTE, AXIS, LEAST), room, weight="bold", most=2)
    if label is None or page.width(rated, label.size, "bold") > room:
        return None
    return Setting(label.size, (*label.lines, rated), room)


def _set_text(page: Page, row: ScoreRow, width: float) -> _SetRow:
    """Set a rating that isn't judged as text, on a second line why."""
    text = f"{row.label}, {row.rated}: {row.note}" if row.note else f"{row.label}, {row.rated}"
    setting = fit_text(page, text, (38.0, LEAST), width)
    if setting is None and row.note:
        head = cut_text(page, f"{row.label}, {row.rated}:", LEAST, width).lines[0]
        setting = Setting(LEAST, (head, cut_text(page, row.note, LEAST, width).lines[0]), width)
    setting = setting or cut_text(page, text, LEAST, width)
    return _SetRow(row, setting, len(setting.lines) * _LINE)


def _set_row(page: Page, row: ScoreRow, block: _Block, width: float) -> _SetRow:
    """Set a rating as a row of the table: label, measured, rated.

    Raises
    ------
    LayoutFault
        If the figures leave its label no room.
    """
    room = width - sum(_column_widths(page, block)) - 2 * _TEXT_GAP
    if room < _LEAST_LABEL:
        raise page.fault(row.measured, SHORTEN_LABEL)
    setting = fit_text(page, row.label, _LABELS, room) or fit_text(page, _short(row.label), _LABELS, room)
    setting = setting or fit_text(page, row.label, (LEAST,), room, most=2)
    setting = setting or cut_text(page, row.label, LEAST, room)
    return _SetRow(row, setting, _ROW + (len(setting.lines) - 1) * 42.0)


def _column_widths(page: Page, block: _Block) -> tuple[float, float]:
    """Return the widths of the columns of what was measured and of what was rated."""
    measured = max(page.width(_measured(row), AXIS, "bold") for row in block.rows)
    rated = max(page.width(_rated(row), AXIS) for row in block.rows)
    return max(measured, page.width("measured", AXIS)), max(rated, page.width("rated", AXIS))


def _short(label: str) -> str:
    """Return a label without its conditions, but with what sets it apart from another: "Signal to noise (mono)"."""
    head, _, rest = label.partition(",")
    apart = rest[rest.rfind(" (") :] if rest.endswith(")") else ""
    return head + apart


def _measured(row: ScoreRow) -> str:
    return " ".join(filter(None, (row.measured, row.uncertainty)))


def _rated(row: ScoreRow) -> str:
    """Return what was rated, without the unit that the measured figure has, and without what the label says already."""
    limit, _, more = row.rated.partition(" (")
    return bare(limit if more and more.removesuffix(")") in row.label else row.rated, row.measured)


def _place_block(page: Page, block: _Block, lines: Sequence[_SetRow], box: Box) -> float:
    """Place a heading and what is under it; return where that ends."""
    look = page.look
    y = box.top
    if not lines:
        text = f"{len(block.rows) + block.more} {_HEADINGS[block.word]}"
        if block.word == "meets":
            closest = f"{text}; the closest: {block.rows[0].label.split(',')[0]}, {block.rows[0].measured}"
            text = closest if page.width(closest, AXIS) <= box.width else text
        page.add(page.text(text, box.left, y + 36, AXIS, look.soft))
        return y + _LINE
    colour = look.status(block.word) if block.word else look.soft
    heading, room = block.heading or _HEADINGS[block.word], box.width
    rows = [line for line in lines if block.word and not line.size]
    rated = _column_widths(page, block)[1] if rows else 0.0
    if rows and len(rows) == len(lines):
        measured = page.text("measured", box.right - rated - _TEXT_GAP, y + 42, AXIS, look.soft, anchor="right")
        page.add(measured)
        page.add(page.text("rated", box.right, y + 42, AXIS, look.soft, anchor="right"))
        room = measured.box.left - _TEXT_GAP - box.left
    size = next((size for size in (NOTE, AXIS) if page.width(heading, size, "bold") <= room), LEAST)
    page.add(page.text(heading, box.left, y + 42, size, colour, weight="bold"))
    y += 58.0
    page.add(Stroke("rule", ((box.left, y), (box.right, y)), look.rule, 2.0))
    y += _HEAD - 58.0
    for index, line in enumerate(lines):
        if line.size:
            _place_large(page, line, box, y)
        elif not block.word:
            for at, text in enumerate(line.label.lines):
                page.add(page.text(text, box.left, y + 38 + at * _LINE, line.label.size, look.soft))
        else:
            _place_row(page, line, box, y, rated)
            if index + 1 < len(lines):
                under = y + line.height - 6
                page.add(Stroke("rule", ((box.left, under), (box.right, under)), look.rule, 2.0))
        y += line.height
    left_out = _left_out(block, lines)
    if left_out:
        text = f"and {left_out} more, all met" if block.word == "meets" else f"and {left_out} more"
        page.add(page.text(text, box.left, y + 36, AXIS, look.soft))
        y += _LINE
    return y


def _place_large(page: Page, line: _SetRow, box: Box, top: float) -> None:
    """Place a large figure, on its right the label with the rating and the margin."""
    look, row = page.look, line.row
    cap = page.cap(line.size, "black")
    baseline = top + (line.height + cap) / 2 - 2
    colour = look.ink if line.ink else look.status(row.verdict)
    figure = page.text(row.measured, box.left, baseline, line.size, colour, weight="black", remedy=SHORTEN_LABEL)
    page.add(figure)
    right = figure.box.right
    if row.uncertainty:
        uncertainty = page.text(row.uncertainty, right + 24, baseline, small(line.size), look.ink)
        page.add(uncertainty)
        right = uncertainty.box.right
    left = right + _COLUMN_GAP
    texts = [(text, line.label.size, "bold") for text in line.label.lines]
    if row.note:
        texts.append((row.note, AXIS, "regular"))
    first = baseline - cap / 2 + page.cap(NOTE) / 2 - (len(texts) - 1) * 26.0
    for index, (line_text, size, weight) in enumerate(texts):
        page.add(page.text(line_text, left, first + index * 52.0, size, look.ink, weight=weight, remedy=SHORTEN_LABEL))


def _place_row(page: Page, line: _SetRow, box: Box, top: float, rated: float) -> None:
    look, row = page.look, line.row
    baseline = top + 38.0
    for index, text in enumerate(line.label.lines):
        page.add(page.text(text, box.left, baseline + index * 42.0, line.label.size, look.ink, remedy=SHORTEN_LABEL))
    at = box.right - rated - _TEXT_GAP
    page.add(page.text(_measured(row), at, baseline, AXIS, look.ink, weight="bold", anchor="right"))
    page.add(page.text(_rated(row), box.right, baseline, AXIS, look.soft, anchor="right"))
